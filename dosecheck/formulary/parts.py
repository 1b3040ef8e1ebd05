"""The small tables inside the entries of a formulary: bands, doses, maxima, sources; and the rows of daily bands.

Each is strict: no unknown key, no coercion.  The entries themselves are in `models.py`.
"""

from __future__ import annotations

from datetime import date
from typing import Annotated, Any, Literal

from pydantic import BaseModel, ConfigDict, Field, model_validator

from dosecheck.formulary.cells import Band
from dosecheck.formulary.fields import (
    AgeEdge,
    Bound,
    DoseText,
    FactorEnd,
    Figure,
    Filtration,
    Id,
    Line,
    MassAmount,
    Over,
    Print,
    Text,
    Volume,
    Weeks,
    Weight,
    Word,
    either,
    read_edge,
    refuse,
)
from dosecheck.formulary.meets import in_days
from dosecheck.reading import read_filtration, read_weeks, read_weight
from dosecheck.records import CHILD_FIELDS, ORDER_FIELDS, OUTCOMES


class Table(BaseModel):
    model_config = ConfigDict(extra="forbid", strict=True)


Some = Field(min_length=1)
Words = Annotated[list[Word], Some]
Bounds = Annotated[list[Bound], Some]


class Source(Table):
    id: Id
    place: Line


class Checked(Table):
    by: Line
    on: date
    figures: Print


Checks = Annotated[list[Checked], Some]


class Ends(Table):
    """A band: at least one end, and the first below the second."""

    @model_validator(mode="after")
    def _ordered(self) -> Ends:
        low, high = (self._number(getattr(self, end), end) for end in ("from_", "below"))
        if low is None and high is None:
            raise refuse("The band has no end.", 'Write { from = "...", below = "..." }, or one of them.')
        if low is not None and high is not None and low >= high:
            raise refuse(
                f'No child is from "{self.from_}" and below "{self.below}".', "Write the lower end first; below is outside the band."
            )
        return self

    def _number(self, text: str | None, end: str) -> Any:
        return None if text is None else self._read(text, end)


class AgeBand(Ends):
    from_: AgeEdge | None = Field(None, alias="from")
    below: AgeEdge | None = None

    @staticmethod
    def _read(text: str, end: str) -> int:
        fact, number = read_edge(text)
        band = in_days(Band(fact, number, None) if end == "from_" else Band(fact, None, number))
        return band.low if end == "from_" else band.high


class WeightBand(Ends):
    from_: Weight | None = Field(None, alias="from")
    below: Weight | None = None

    @staticmethod
    def _read(text: str, end: str) -> Any:
        return read_weight(text)


class WeeksBand(Ends):
    from_: Weeks | None = Field(None, alias="from")
    below: Weeks | None = None

    @staticmethod
    def _read(text: str, end: str) -> int:
        return read_weeks(text)


class FiltrationBand(Ends):
    from_: Filtration | None = Field(None, alias="from")
    below: Filtration | None = None

    @staticmethod
    def _read(text: str, end: str) -> Any:
        return read_filtration(text)


class DoseEnds(Table):
    low: Figure | None = None
    high: Figure | None = None

    @model_validator(mode="after")
    def _some(self) -> DoseEnds:
        if self.low is None and self.high is None:
            raise refuse("The dose has neither a low nor a high end.", 'Write dose = { low = "10 mg/kg", high = "15 mg/kg" }.')
        return self


class NoDaily(Table):
    none: Text


class Total(Table):
    over: Over
    max: Bounds


class Step(Table):
    up_to: Volume | None = None
    step: Volume


class Equals(Table):
    amount: FactorEnd
    is_: FactorEnd = Field(alias="is")
    source: Source


Dose = either((dict, DoseEnds), DoseText)
MaxDaily = either((dict, NoDaily), Bounds)


# ---- inhaled treatment ----

Device = Literal["metered-dose inhaler", "dry powder inhaler", "nebuliser"]
Output = Literal["metered", "delivered"]
Particle = Literal["standard", "extra-fine"]


class DayEnds(Table):
    from_: MassAmount | None = Field(None, alias="from")
    above: MassAmount | None = None
    to: MassAmount | None = None


class DailyBand(Table):
    id: Id
    age: AgeBand
    devices: Annotated[list[Device], Some] | None = None
    output: Output | None = None
    particle: Particle | None = None
    low: DayEnds | None = None
    medium: DayEnds | None = None
    high: DayEnds | None = None
    as_printed: bool | None = None
    note: Text | None = None
    source: Source
    checked: Checks | None = None


# ---- worked examples ----

Column = Literal[tuple(name.rstrip("_") for name in (*ORDER_FIELDS, *CHILD_FIELDS) if name != "medicine")]


class Expected(Table):
    outcome: Literal[OUTCOMES] | None = None
    codes: Annotated[list[Id], Some] | None = None
    least: Line | None = None
    largest: Line | None = None
    volume: Line | None = None


class Example(Table):
    """A printed example: an order of the medicine and its outcome, or a child and what the figures come to."""

    id: Id
    source: Source
    given: Annotated[dict[Column, Line], Some]
    expect: Expected

    @model_validator(mode="after")
    def _of_one_kind(self) -> Example:
        sizes = [self.expect.least, self.expect.largest, self.expect.volume]
        if "dose" in self.given and (self.expect.outcome is None or any(sizes)):
            raise refuse("An example with a dose expects an outcome, and no size.", 'Write expect = { outcome = "within" }.')
        if "dose" not in self.given and (not any(sizes) or self.expect.outcome or self.expect.codes):
            raise refuse(
                "An example without a dose expects a size, and no outcome.", 'Write expect = { largest = "240 mg" }, or give the dose.'
            )
        if self.expect.volume and "product" not in self.given:
            raise refuse("A volume is expected, and no product is given.", 'Write product = "..." in given.')
        return self
