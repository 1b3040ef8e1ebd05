"""Wrong orders: each slip of `rules/slips.py` applied to a right order, and slips of what goes into a dose.

The wrong dose is the right one times the slip's factor, to four significant figures, exactly as then written.
"""

from __future__ import annotations

from collections.abc import Iterator
from fractions import Fraction
from typing import NamedTuple

from dosecheck.formulary.measures import AT_LEAST, AT_MOST
from dosecheck.quantity import COUNTED, UNITS
from dosecheck.rules.slips import SLIPS, Situation
from dosecheck.workshop.stress.draw import decimal
from dosecheck.workshop.stress.right import Right
from dosecheck.workshop.stress.writing import figure_step

OVER, UNDER, NEITHER = "over", "under", ""
_POUNDS = Fraction(UNITS["weight"]["kg"], UNITS["weight"]["lb"])
_SHORT = Fraction(1, 10**6)  # below it nothing is written
INPUTS = {
    "weight-pounds": "the weight was written down in pounds as though it were kilograms, and the dose reckoned from it",
    "gap-too-short": "it was ordered twice as often",
    "route": "it was ordered by another route of this medicine",
}
SAYS = {slip.name: slip.says for slip in SLIPS} | INPUTS
ORDER = (*(slip.name for slip in SLIPS), *INPUTS)


class Seeded(NamedTuple):
    """A wrong order: which slip; `way`, whether the dose becomes more or less ("": the dose is not what was mistaken); its texts."""

    slip: str
    way: str
    fields: dict[str, str]


def seeded(right: Right) -> Iterator[Seeded]:
    """Every slip that the order allows for; nothing that leaves it as it was."""
    situation = _situation(right)
    for slip in SLIPS:
        for factor in dict.fromkeys(slip.factors(situation)):
            text = _wrong(right, factor)
            if text and text != right.written.text:
                yield Seeded(slip.name, OVER if factor > 1 else UNDER, {**right.fields, "dose": text})
    yield from _pounds_on_the_chart(right)
    yield from _too_often(right)
    yield from _other_routes(right)


def _situation(right: Right) -> Situation:
    kind = right.written.kind
    return Situation(
        weight_kg=right.drawn.weight_kg,
        age_years=right.drawn.age_years,
        doses=Fraction(right.doses),
        regimen=right.regimen,
        medicine=right.medicine,
        product=right.product,
        ordered_in=kind.split("/")[0],
        per_kg_written="weight" in kind,
        continuous=right.regimen.span.continuous,
    )


def _wrong(right: Right, factor: Fraction) -> str | None:
    number = _four_figures(right.written.number * factor)
    if right.written.kind in COUNTED and number.denominator != 1:
        return None  # nobody orders a part of a puff
    return right.written._replace(number=number).text if number >= _SHORT else None


def _four_figures(number: Fraction) -> Fraction:
    step = figure_step(number, 4)
    return round(number / step) * step


def _pounds_on_the_chart(right: Right) -> Iterator[Seeded]:
    """Weight and dose are wrong alike, so that the dose per kg looks right."""
    if not any("weight" in limit.main.measure for limit in right.regimen.limits):
        return
    weight = f"{decimal(round(right.drawn.weight_kg * _POUNDS * 10) / Fraction(10))} kg"
    dose = right.written.text if "weight" in right.written.kind else _wrong(right, _POUNDS)
    yield Seeded("weight-pounds", NEITHER, {**right.fields, "weight": weight, "dose": dose})


def _too_often(right: Right) -> Iterator[Seeded]:
    if "times_a_day" in right.fields:
        yield Seeded("gap-too-short", NEITHER, {**right.fields, "times_a_day": str(2 * right.doses)})
    elif "every" in right.fields:
        hours = Fraction(right.fields["every"].split(" ")[0])
        yield Seeded("gap-too-short", NEITHER, {**right.fields, "every": f"{decimal(hours / 2)} hours"})


def _other_routes(right: Right) -> Iterator[Seeded]:
    for route in sorted({regimen.route for regimen in right.medicine.regimens} - {right.regimen.route}):
        fields = {name: text for name, text in right.fields.items() if name != "product" or route in right.product.routes}
        if fields.get("product") or right.written.kind != "volume":
            yield Seeded("route", NEITHER, {**fields, "route": route})


def looked_at(right: Right, slip: str, way: str) -> bool:
    """Some limit of the regimen bears on what the slip changes; whether it is tight enough is another question."""
    limits = right.regimen.limits
    if slip == "gap-too-short":
        return any({"gap", "doses", "daily", "mean doses"} & {limit.main.measure.split("/")[0]} for limit in limits)
    if slip in INPUTS:
        return True  # another route is held against its own regimens, and the weight against the age where a reference has it
    sense = AT_MOST if way == OVER else AT_LEAST
    bases = ("dose", "daily", "average", "rate")
    return any(limit.main.sense == sense and limit.main.measure.split("/")[0] in bases for limit in limits)
