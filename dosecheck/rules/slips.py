"""Slips: named, known ways of getting a dose wrong, each as the factor from the right figure to the wrong one.

When an order is far out, a slip explains it if undoing the factor brings the dose into the regimen's range.  A hint
to look at, never a correction.  The drill and the formulary's stress test use the same list.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from fractions import Fraction
from typing import NamedTuple

from dosecheck.formulary.measures import AT_LEAST
from dosecheck.formulary.medicine import Medicine, Product, Regimen
from dosecheck.quantity import UNITS, Quantity
from dosecheck.records import WITHIN
from dosecheck.rules.case import Case, Reading
from dosecheck.rules.explain import allowed, lacks_weight, most_for_one_dose

_ROUNDED = Fraction(1, 50)
FAR = Fraction(3, 2)  # so many times the most for one dose, or so many times below the least: far out


class Situation(NamedTuple):
    """What a slip may depend on; None where it is not known."""

    weight_kg: Fraction | None
    age_years: int | None
    doses: Fraction | None
    regimen: Regimen
    medicine: Medicine
    product: Product | None
    ordered_in: str
    per_kg_written: bool
    continuous: bool
    in_hand: Quantity | None = None  # the strength of what is in hand, where no product of the formulary is

    @property
    def mg_per_ml(self) -> Fraction | None:
        strength = self.in_hand or (self.product.strengths.get(self.regimen.ingredient) if self.product else None)
        return strength.to("mg/mL").number if strength is not None and strength.kind == "mass/volume" else None


Factors = Callable[[Situation], Iterator[Fraction]]


class Slip(NamedTuple):
    """`factors(situation)`: wrong figure / right figure; `says` finishes "It would fit if ..."."""

    name: str
    says: str
    factors: Factors


def _tenfold(_: Situation) -> Iterator[Fraction]:
    yield Fraction(10)
    yield Fraction(1, 10)


def _thousandfold(_: Situation) -> Iterator[Fraction]:
    yield Fraction(1000)
    yield Fraction(1, 1000)


def _pounds(s: Situation) -> Iterator[Fraction]:
    if _by_weight(s.regimen) and not s.per_kg_written:
        yield Fraction(UNITS["weight"]["kg"], UNITS["weight"]["lb"])


def _day_at_once(s: Situation) -> Iterator[Fraction]:
    counts = s.regimen.entry.get("doses_a_day", []) if s.regimen.per == "day" else []
    yield from (Fraction(n) for n in sorted({*counts, *([s.doses] if s.doses else [])}) if n > 1)


def _per_kg_as_dose(s: Situation) -> Iterator[Fraction]:
    if s.weight_kg and _by_weight(s.regimen):
        yield s.weight_kg if s.per_kg_written else 1 / s.weight_kg


def _age_as_weight(s: Situation) -> Iterator[Fraction]:
    if s.weight_kg and s.age_years and _by_weight(s.regimen) and not s.per_kg_written:
        yield s.age_years / s.weight_kg


def _volume_for_mass(s: Situation) -> Iterator[Fraction]:
    if s.mg_per_ml and s.ordered_in == "volume":
        yield s.mg_per_ml
    elif s.mg_per_ml and s.ordered_in == "mass":
        yield 1 / s.mg_per_ml


def _other_strength(s: Situation) -> Iterator[Fraction]:
    if s.product is None or s.ordered_in == "mass":
        return
    this = s.product.strengths.get(s.regimen.ingredient)
    for other in s.medicine.products:
        strength = other.strengths.get(s.regimen.ingredient)
        if this and strength and strength.kind == this.kind and strength != this and set(other.routes) & set(s.product.routes):
            yield this.value / strength.value


def _minute_for_hour(s: Situation) -> Iterator[Fraction]:
    if s.continuous:
        yield Fraction(60)
        yield Fraction(1, 60)


SLIPS = (
    Slip("tenfold", "the decimal point or a zero has slipped (ten times)", _tenfold),
    Slip("pounds", "the weight was taken in pounds as though it were kilograms", _pounds),
    Slip("day-at-once", "the dose of a whole day was written as one dose", _day_at_once),
    Slip("per-kg-as-dose", "the figure per kg and the dose itself were mixed up", _per_kg_as_dose),
    Slip("age-as-weight", "the age in years was used as the weight in kg", _age_as_weight),
    Slip("thousandfold", "milligrams and micrograms (or g and mg) were mixed up", _thousandfold),
    Slip("volume-for-mass", "millilitres and milligrams were mixed up", _volume_for_mass),
    Slip("other-strength", "it is meant for another strength of this medicine", _other_strength),
    Slip("minute-for-hour", "per minute and per hour were mixed up", _minute_for_hour),
)


def _by_weight(regimen: Regimen) -> bool:
    return any("weight" in limit.main.measure for limit in regimen.limits)


def explain_by_slips(case: Case, readings: list[Reading]) -> tuple[str, ...]:
    """The slips that would explain an order whose dose is far out; nothing for one that is near, or fits one reading."""
    said: list[str] = []
    fitting = {r.regimen.ingredient for r in readings if r.regimen and r.outcome == WITHIN}
    for reading in readings:
        ends = _range(reading) if reading.amount and reading.regimen and reading.regimen.ingredient not in fitting else None
        if ends is None or not _far_out(reading, *ends):
            continue
        situation = _situation(case, reading.regimen)
        said += [slip.says for slip in SLIPS if any(_fits(reading, f, *ends) for f in slip.factors(situation))]
        said += _other_routes(case, reading)
    return tuple(dict.fromkeys(said))


def explain_ratio(case: Case, regimen: Regimen, ratio: Fraction, strength: Quantity | None = None) -> tuple[str, ...]:
    """The slips that would make an answer so many times the right one, give or take a rounding of 1 in 50.

    Args:
        strength: of what is in hand, where the case has no product.
    """
    situation = _situation(case, regimen)
    if strength is not None:
        situation = situation._replace(in_hand=strength, ordered_in="volume")
    found = (slip.says for slip in SLIPS if any(abs(ratio / factor - 1) <= _ROUNDED for factor in slip.factors(situation)))
    return tuple(found)


def _range(reading: Reading) -> tuple[Fraction, Fraction] | None:
    """The regimen's right single doses for this child, low to high; half the high where the source has no low."""
    if reading.regimen.span.continuous:
        bounds = [_by_time(limit, reading) for limit in reading.regimen.limits if limit.name == "dose"]
    else:
        bounds = [most_for_one_dose(limit, reading.upper) for limit in reading.regimen.limits]
    known = [b for b in bounds if b is not None]
    if not known or lacks_weight(reading.regimen, reading.upper):
        return None
    high = min(known)
    lows = [
        _by_time(limit, reading) or allowed(limit.main, reading.upper)
        for limit in reading.regimen.limits
        if limit.name == "low end" and limit.main.sense == AT_LEAST
    ]
    low = min([b for b in lows if b is not None], default=high / 2)
    return min(low, high), high


def _by_time(limit, reading: Reading) -> Fraction | None:
    """An infusion's limit as an amount a second."""
    if limit.main.measure not in ("rate", "rate/weight"):
        return None
    weight = Fraction(*reading.upper["weight"]) if limit.main.measure == "rate/weight" and "weight" in reading.upper else None
    if limit.main.measure == "rate/weight" and weight is None:
        return None
    return Fraction(limit.main.p, limit.main.q) * (weight or 1)


def _far_out(reading: Reading, low: Fraction, high: Fraction) -> bool:
    return reading.amount.high.value > high * FAR or reading.amount.low.value * FAR < low


def _fits(reading: Reading, factor: Fraction, low: Fraction, high: Fraction) -> bool:
    return low <= reading.amount.low.value / factor and reading.amount.high.value / factor <= high


def _situation(case: Case, regimen: Regimen) -> Situation:
    dose, age = case.order.dose, case.body.age
    return Situation(
        weight_kg=case.child.weight.to("kg").number if case.child.weight else None,
        age_years=age.months_lo // 12 if age else None,
        doses=case.given.doses,
        regimen=regimen,
        medicine=case.medicine,
        product=case.product,
        ordered_in=dose.kind.split("/")[0],
        per_kg_written="weight" in dose.kind,
        continuous=dose.per == "time",
    )


def _other_routes(case: Case, reading: Reading) -> list[str]:
    """Other routes whose regimens would hold this dose for this child."""
    if reading.regimen.span.continuous:
        return []
    found = set()
    for other in case.medicine.regimens:
        if other.route == case.order.route or other.kind != reading.regimen.kind or other.span.continuous:
            continue
        if all(band.holds(case.body.intervals.get(band.fact)) for band in other.bands):
            ends = _range(reading._replace(regimen=other))
            if ends and _fits(reading, Fraction(1), *ends):
                found.add(other.route)
    return [f"the figure is that of another route ({route})" for route in sorted(found)]
