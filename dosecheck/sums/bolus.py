"""Boluses by weight: each under the name of what it is for, since the sources differ twofold."""

from __future__ import annotations

from typing import NamedTuple

from dosecheck.body.age import Age
from dosecheck.quantity import Quantity
from dosecheck.reading import read_weight
from dosecheck.reading.figures import reader_of, word_of
from dosecheck.sums.child import AGE_IF_TOLD, WEIGHT
from dosecheck.sums.frame import Answer, Doubt, Field, NotCovered, Result, Sum
from dosecheck.working import TIMES, Step

_read_volume = reader_of(("volume", "volume/weight"), "volume", "10 mL/kg")


class Bolus(NamedTuple):
    """`from_months`: completed months of the youngest whom the source means."""

    per_kg: Quantity
    most: Quantity | None
    from_months: int
    how: str
    source: str


BOLUSES = {
    "resuscitation": Bolus(
        _read_volume("10 mL/kg"),
        None,
        0,
        "over less than 10 minutes; a fluid without glucose",
        "NICE guideline NG29, updated 2020, as set out on a study page (guidelinegenius.com): 10 mL/kg over less than 10 minutes",
    ),
    "shock with dehydration": Bolus(
        _read_volume("20 mL/kg"),
        None,
        1,
        "Ringer's lactate or sodium chloride 0.9 %; not in severe acute malnutrition",
        "Guidelines for management of dehydration, table after the WHO pocket book 2013, BMJ Open: 20 mL/kg from 1 month, without severe acute malnutrition",
    ),
    "ketoacidosis": Bolus(
        _read_volume("10 mL/kg"),
        _read_volume("500 mL"),
        0,
        "only where the ketoacidosis is severe",
        "Management of diabetic ketoacidosis in children, table 1, PMC10497885, 2023: severe, 10 mL/kg, at most 500 mL",
    ),
}
_SMALL = read_weight("2.5 kg")  # our own line
_LARGE = _read_volume("500 mL")  # where one source stops; a doubt for those that print no most


def bolus(weight: Quantity, rule: str, age: Age | None) -> Answer:
    """One bolus by a named rule."""
    asked = BOLUSES[rule]
    if age and age.months_lo < asked.from_months:
        raise NotCovered("This rule is for children from 1 month. For a younger one go by local guidance for newborn babies.")
    exact = asked.per_kg * weight
    steps = [Step("bolus", (asked.per_kg, TIMES, weight), exact)]
    held = asked.most is not None and exact > asked.most
    if held:
        steps.append(Step("held at the most", ("the smaller of", exact, "and", asked.most), asked.most))
    volume = asked.most if held else exact
    doubts = []
    if volume > _LARGE:
        doubts.append(Doubt("large-bolus", "It is more than 500 mL, at which another source stops: look again."))
    if weight < _SMALL:
        doubts.append(Doubt("small-baby", "So small a baby may be born early, whom the source does not mean: go by the neonatal unit."))
    if age is None and asked.from_months:
        doubts.append(Doubt("age-not-told", "The rule is for children from 1 month: give the age."))
    notes = (asked.how[:1].upper() + asked.how[1:] + ".", "Look at the child again after each bolus, before another.")
    return Answer((Result("bolus", volume, "the source's most" if held else ""),), tuple(steps), tuple(doubts), notes, (asked.source,))


SUMS = {
    "fluid-bolus": Sum(
        "Fluid bolus",
        (WEIGHT, Field("rule", word_of(tuple(BOLUSES), "rule"), "resuscitation", f"what for: {', '.join(BOLUSES)}"), AGE_IF_TOLD),
        bolus,
    ),
}
