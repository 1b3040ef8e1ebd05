"""The files of a formulary as pydantic models: which keys there are, and what each may hold.

Strict: no unknown key, no coercion.  The smaller tables inside an entry are in `parts.py`; what the keys must say of
each other is in `agree.py` and `medicine_lint.py`; the grammar in words is formulary/README.md.
"""

from __future__ import annotations

from datetime import date
from typing import Annotated, Literal

from pydantic import Field, TypeAdapter, model_validator

from dosecheck.formulary.fields import (
    Address,
    AgeEdge,
    Concentration,
    Count,
    Id,
    Line,
    PlainAmount,
    Rate,
    Share,
    Strength,
    Text,
    Time,
    Weeks,
    Weight,
    Word,
    ZScore,
    refuse,
)
from dosecheck.formulary.parts import (
    AgeBand,
    Bounds,
    Checks,
    DailyBand,
    Device,
    Dose,
    Equals,
    Example,
    FiltrationBand,
    MaxDaily,
    Output,
    Particle,
    Some,
    Source,
    Step,
    Table,
    Total,
    WeeksBand,
    WeightBand,
    Words,
)
from dosecheck.formulary.weight_z import first_day
from dosecheck.reading import read_z
from dosecheck.records import STEPS

Status = Literal["example", "draft", "approved"]
Release = Literal["immediate", "modified"]
Route = Literal[
    "oral",
    "rectal",
    "intravenous",
    "intramuscular",
    "subcutaneous",
    "intraosseous",
    "inhaled",
    "nebulised",
    "buccal",
    "intranasal",
    "topical",
    "infiltration",
    "nasal",
    "sublingual",
]
Form = Literal[
    "oral liquid",
    "tablet",
    "dispersible tablet",
    "capsule",
    "suppository",
    "inhaler",
    "nebuliser liquid",
    "injection",
    "infusion",
    "rectal solution",
    "oromucosal solution",
    "nasal solution",
    "gel",
    "powder",
]
Routes = Annotated[list[Route], Some]


# ---- entries ----


class BandRow(Table):
    age: AgeBand | None = None
    weight: WeightBand | None = None
    dose: Dose
    max_single: Bounds | None = None
    max_daily: MaxDaily | None = None
    max_doses: Count | None = None


class Ingredient(Table):
    id: Word
    aliases: list[Line] | None = None
    groups: list[Line] | None = None
    equals: Equals | None = None


class Product(Table):
    id: Id
    name: Line
    form: Form
    release: Release | None = None
    routes: Routes
    strength: Strength | None = None
    strengths: Annotated[dict[Word, Strength], Some] | None = None
    measure: Annotated[list[Step], Some] | None = None
    divides: Annotated[int, Field(ge=1, le=16)] | None = None
    device: Device | None = None
    output: Output | None = None
    particle: Particle | None = None
    puffs: Annotated[int, Field(ge=1, le=1000)] | None = None
    source: Source
    checked: Checks | None = None


class Regimen(Table):
    id: Id
    valid_from: date
    route: Route
    for_: Words = Field(alias="for")
    step: Literal[STEPS] | None = None
    age: AgeBand | None = None
    weight: WeightBand | None = None
    gestation: WeeksBand | None = None
    postmenstrual: WeeksBand | None = None
    corrected: AgeBand | None = None
    egfr: FiltrationBand | None = None
    conditions: Words | None = None
    release: Release | None = None
    products: Annotated[list[Id], Some] | None = None
    ingredient: Word | None = None
    covers: Words | None = None
    dose: Dose | None = None
    per: Literal["dose", "day"] | None = None
    doses_a_day: Annotated[list[Count], Some] | None = None
    band: Annotated[list[BandRow], Some] | None = None
    min_gap: Time | None = None
    max_doses: Count | None = None
    max_single: Bounds | None = None
    max_daily: MaxDaily | None = None
    floor: PlainAmount | None = None
    totals: Annotated[list[Total], Some] | None = None
    max_course: Time | None = None
    max_concentration: Concentration | None = None
    max_rate: Annotated[list[Rate], Some] | None = None
    min_duration: Time | None = None
    required: Annotated[list[Literal["rate", "concentration", "course"]], Some] | None = None
    query_up_to: Share | None = None
    goes_by: Literal["actual", "ideal", "adjusted", "lean"] | None = None
    rounding: Text | None = None
    ask_first: Annotated[list[Line], Field(min_length=1, max_length=3)] | None = None
    note: Text | None = None
    source: Source
    checked: Checks | None = None


class AgeLimit(Table):
    id: Id
    age_below: AgeEdge | None = None
    weight_below: Weight | None = None
    corrected_below: AgeEdge | None = None
    postmenstrual_below: Weeks | None = None
    condition: Word | None = None
    routes: Routes | None = None
    for_: Words | None = Field(None, alias="for")
    source: Source
    checked: Checks | None = None

    @model_validator(mode="after")
    def _some(self) -> AgeLimit:
        if not (self.age_below or self.weight_below or self.corrected_below or self.postmenstrual_below):
            raise refuse(
                "It states no bound, so it would stop nobody, or everybody.", 'Write age_below = "3 months", or another "..._below".'
            )
        return self


# ---- files ----


class MedicineFile(Table):
    id: Id
    name: Word
    aliases: list[Word] | None = None
    codes: dict[str, list[Line]] | None = None
    status: Status
    high_risk: bool | None = None
    basis: Literal["stated"] | None = None
    note: Text | None = None
    checked: Checks | None = None
    ingredient: Annotated[list[Ingredient], Some]
    product: list[Product] | None = None
    regimen: list[Regimen] | None = None
    age_limit: list[AgeLimit] | None = None
    daily_band: list[DailyBand] | None = None
    example: list[Example] | None = None


class LocalFile(Table):
    medicine: Id
    reason: Text
    status: Status | None = None
    withdraw: Annotated[list[Id], Some] | None = None
    checked: Checks | None = None
    regimen: list[Regimen] | None = None
    product: list[Product] | None = None
    age_limit: list[AgeLimit] | None = None
    daily_band: list[DailyBand] | None = None


class ShareLine(Table):
    value: Share
    reason: Text


class TimeLine(Table):
    value: Time
    reason: Text


class DateLine(Table):
    value: date
    reason: Text


class IdLine(Table):
    value: Id
    reason: Text


class ZRow(Table):
    from_: AgeEdge = Field(alias="from")
    low: ZScore
    high: ZScore

    @model_validator(mode="after")
    def _around_the_median(self) -> ZRow:
        if not read_z(self.low) < 0 < read_z(self.high):
            raise refuse("The least z-score is not below 0 and the greatest above it.", 'Write low = "-4", high = "4".')
        return self


class ZLine(Table):
    reason: Text
    bands: Annotated[list[ZRow], Some]

    @model_validator(mode="after")
    def _ascending(self) -> ZLine:
        days = [first_day(row.from_) for row in self.bands]
        if days != sorted(set(days)):
            raise refuse("The rows do not run from younger to older.", 'Write from = "0 months" first.')
        return self


class HighZLine(Table):
    value: ZScore
    reason: Text

    @model_validator(mode="after")
    def _above_the_median(self) -> HighZLine:
        if read_z(self.value) <= 0:
            raise refuse("A weight far above the centiles has a z-score above 0.", 'Write value = "3".')
        return self


class ListLine(Table):
    value: Annotated[list[Text], Some]
    reason: Text


class ReferenceLine(Table):
    value: Literal["who", "cdc"]
    reason: Text


class PolicyFile(Table):
    query_up_to: ShareLine
    point_allowance: ShareLine
    weight_age_infant: TimeLine
    weight_age_child: TimeLine
    weight_z: ZLine | None = None
    weight_far_above: HighZLine | None = None
    growth_reference: ReferenceLine | None = None
    one_at_a_time: ListLine | None = None
    most_step_down: ShareLine | None = None
    inhaled_table: IdLine | None = None
    clear_page_after: TimeLine | None = None
    review_by: DateLine | None = None


class SourceEntry(Table):
    title: Line
    organisation: Line
    year: Annotated[int, Field(ge=1800, le=2200)]
    address: Address | None = None
    grade: Literal["primary", "label reprint", "secondary"]


class Acceptance(Table):
    code: Id
    about: Annotated[list[Line], Some]
    reason: Text


class AcceptedFile(Table):
    accepted: list[Acceptance] | None = None


SourcesFile = TypeAdapter(dict[Id, SourceEntry])
