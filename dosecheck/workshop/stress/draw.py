"""Draws that are the same on every machine, and the children whom a regimen is for.

Only `random()` of a `random.Random` that a text seeds is used: Python promises that it never changes, whatever the hash
seed.  Floats pick; what is picked is exact.
"""

from __future__ import annotations

import random
from collections.abc import Sequence
from decimal import Decimal
from fractions import Fraction
from typing import Any, NamedTuple

from dosecheck.body.growth import lms_at
from dosecheck.body.lms import value_at
from dosecheck.formulary.medicine import AgeLimit, Medicine, Regimen
from dosecheck.quantity import UNITS
from dosecheck.records import Child
from dosecheck.rules.facts import body_of

_TRIES = 1000
_FINE = 1000  # a part of a range is drawn in thousandths
_Z = tuple(map(Decimal, ("-2", "-1.5", "-1", "-0.5", "0", "0", "0.5", "1", "1.5", "2")))
_LIGHT = Decimal(-2)  # at most so for a baby born early: the reference begins at term
_MONTHS = 216  # to the 18th birthday
_TERM, _EARLY = "39 weeks", "33 weeks"


class Draw:
    """One regimen's draws; `seed` is a text."""

    def __init__(self, seed: str) -> None:
        self._random = random.Random(f"dosecheck stress 1/{seed}").random

    def pick(self, things: Sequence[Any]) -> Any:
        return things[int(self._random() * len(things))]

    def whole(self, least: int, most: int) -> int:
        return least + int(self._random() * (most - least + 1))

    def part(self) -> Fraction:
        """From 0 to 1, both included."""
        return Fraction(self.whole(0, _FINE), _FINE)


class Drawn(NamedTuple):
    """A child inside a regimen's bands: as texts, and what slips need of it.  `z`: of the weight."""

    texts: dict[str, str]
    weight_kg: Fraction
    age_years: int
    z: Decimal
    child: Child


def draw_child(draw: Draw, medicine: Medicine, regimen: Regimen) -> Drawn | None:
    """None where no child that the growth reference knows was found inside the bands and outside the age limits."""
    for _ in range(_TRIES):
        drawn = _any_child(draw, regimen)
        if drawn and _inside(drawn.child, medicine, regimen):
            return drawn
    return None


def _months(regimen: Regimen) -> tuple[int, int]:
    """The first and the last completed month of the regimen's age; months that days allow are tried as well."""
    least, most = 0, _MONTHS - 1
    for band in regimen.bands:
        if band.fact in ("months", "days"):
            per = 1 if band.fact == "months" else 30
            least = max(least, (band.low or 0) // per)
            most = min(most, -(-(band.high or _MONTHS * per) // per) - 1)
    return least, max(least, most)


def _any_child(draw: Draw, regimen: Regimen) -> Drawn | None:
    months, days, sex, z = draw.whole(*_months(regimen)), draw.whole(0, 27), draw.pick(("female", "male")), draw.pick(_Z)
    early = draw.whole(0, 1) and any(band.fact == "gestation" or " " in band.fact for band in regimen.bands)
    z = min(z, _LIGHT) if early else z
    day = days if months == 0 else months * 487 // 16 + 15
    weight, height = (_at(sex, day, measure, by) for measure, by in (("weight", z), ("height", z / 2)))
    kg = _scales(Fraction(weight)) if weight and height else Fraction(0)
    if not kg or not _weighs(regimen, kg):
        return None
    texts = {"weight": f"{decimal(kg)} kg", "age": _age_text(months, days), "sex": sex, "height": f"{round(height)} cm"}
    if months < 24:  # corrected and post-menstrual ages are asked for below two years only
        texts["gestation"] = _EARLY if early else _TERM
    return Drawn(texts, kg, months // 12, z, Child(**texts))


def _weighs(regimen: Regimen, kg: Fraction) -> bool:
    weight = kg * UNITS["weight"]["kg"]
    return all(band.holds((weight, weight)) for band in regimen.bands if band.fact == "weight")


def _at(sex: str, day: int, measure: str, z: Decimal) -> Decimal | None:
    lms = lms_at("who", sex, day, measure)
    return lms and value_at(z, lms)


def _scales(kg: Fraction) -> Fraction:
    """As it is written down: to 0.01 kg below 5 kg, to 0.1 kg below 20 kg, else to 0.5 kg."""
    step = Fraction(1, 100) if kg < 5 else Fraction(1, 10) if kg < 20 else Fraction(1, 2)
    return round(kg / step) * step


def _age_text(months: int, days: int) -> str:
    if months == 0:
        return f"{days} days"
    years, rest = divmod(months, 12)
    parts = [f"{years} year{'s' * (years != 1)}"] * bool(years) + [f"{rest} month{'s' * (rest != 1)}"] * bool(rest)
    return " ".join(parts)


def _inside(child: Child, medicine: Medicine, regimen: Regimen) -> bool:
    intervals = body_of(child).intervals
    if not all(band.holds(intervals.get(band.fact)) for band in regimen.bands):
        return False
    return not any(_stopped(limit, regimen, intervals) for limit in medicine.age_limits)


def _stopped(limit: AgeLimit, regimen: Regimen, intervals: dict[str, tuple[int, int]]) -> bool:
    """The age limit is about this regimen, and the child may be below all that it states."""
    told = limit.condition is None or limit.condition in regimen.conditions
    about = (
        told
        and (not limit.routes or regimen.route in limit.routes)
        and (not limit.purposes or bool({*limit.purposes} & {*regimen.purposes}))
    )
    return about and not any(
        c.measure in intervals and Fraction(intervals[c.measure][0]) >= Fraction(c.p, c.q) for c in limit.limit.comparisons
    )


def decimal(number: Fraction) -> str:
    """The exact decimal; the number must have one within nine places."""
    whole, rest = divmod(number * 10**9, 10**9)
    return f"{whole}.{int(rest):09d}".rstrip("0").rstrip(".")
