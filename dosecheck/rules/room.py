"""What the doses told leave for one order: for the dose now, and the next dose that fits."""

from __future__ import annotations

from fractions import Fraction
from typing import NamedTuple

from dosecheck.formulary.measures import Ratio
from dosecheck.formulary.medicine import Regimen
from dosecheck.quantity import Quantity
from dosecheck.rules.case import Case, Reading
from dosecheck.rules.doubtful_doses import doubtful
from dosecheck.rules.next_dose import NextDose, bounds_of, most_now, next_dose
from dosecheck.rules.supply import measurable
from dosecheck.rules.verdict import Suggestion
from dosecheck.rules.windows import DAY, Timed, last_given, window
from dosecheck.rules.with_earlier import later_doses
from dosecheck.showing import show, show_length


class Next(NamedTuple):
    """The next dose of one order: `at` in seconds from now, `when` in words, `most` at that moment (None: not bounded).

    `measured`: the most that the product in hand can measure of it; None without a product.
    """

    at: Fraction | int
    when: str
    most: Quantity | None
    regimen: Regimen
    measured: Suggestion | None


def left_now(case: Case, reading: Reading) -> Fraction | None:
    """The largest dose now by one regimen, with the doses told and the order's own repeats; 0 where it is too soon."""
    doses = _doses(case, reading)
    bounds = bounds_of(reading.regimen, reading.upper) if doses else None
    if bounds is None:
        return None
    later = () if case.once else later_doses(case.order, Fraction(0))
    return most_now(bounds, doses, [dose.first for dose in later])


def next_of(case: Case, readings: list[Reading]) -> Next | None:
    """The next dose by every regimen that was read: the latest of their earliest moments, the least of their most."""
    read = [r for r in readings if r.amount and r.regimen and not r.regimen.span.continuous]
    found = [(r, _next_by(case, r)) for r in read]
    if not found or any(next_ is None for _, next_ in found):
        return None
    at = max(next_.at for _, next_ in found)
    again = [(r, _next_by(case, r, at)) for r in read]
    if any(next_ is None for _, next_ in again):
        return None
    reading, least = min(again, key=lambda pair: (pair[1].most is None, pair[1].most or 0))
    unit = reading.amount.high.unit
    most = None if least.most is None else Quantity(least.most, reading.regimen.kind, unit)
    measured = measurable(case.product, reading.regimen, reading.upper, least.most) if case.product and least.most else None
    return Next(at, case.history.said(at), most, reading.regimen, measured)


def _next_by(case: Case, reading: Reading, start: Fraction | int = 0) -> NextDose | None:
    bounds = bounds_of(reading.regimen, reading.upper)
    return bounds and next_dose(bounds, _doses(case, reading), reading.amount.high.value, start)


def _doses(case: Case, reading: Reading) -> list[Timed]:
    ingredient = case.medicine.ingredient(reading.regimen.ingredient)
    return [entry.timed for entry in case.history.entries(ingredient, reading.regimen.kind)]


def room_for(case: Case, regimen: Regimen, facts: dict[str, Ratio], low: Quantity | None) -> tuple[Fraction | None, tuple[str, ...]]:
    """For a regimen without an order's dose: what is left at the earliest time for a dose of at least `low`, and sentences."""
    if regimen.span.continuous:
        return None, ("How doses given before add to an infusion is not worked out.",) if case.history.doses else ()
    ingredient = case.medicine.ingredient(regimen.ingredient)
    entries = case.history.entries(ingredient, regimen.kind)
    if not entries:
        return None, (f"No dose of {ingredient.id} was given before, as told.",)
    said = [f.message for f in doubtful(case, ingredient, regimen, entries, facts)]
    doses = [entry.timed for entry in entries]
    bounds = bounds_of(regimen, facts)
    found = bounds and next_dose(bounds, doses, low.value if low else None)
    if not found:
        return Fraction(0), (*said, "What the doses given leave cannot be said: an amount or a weight is missing, or no dose fits.")
    last = show_length(-last_given(doses))
    count = len(window(doses, 0, DAY).doses)
    said.append(f"Given before: {count} dose{'s' * (count != 1)} of {ingredient.id} in the last 24 hours, the last {last} ago.")
    most = (
        show(Quantity(found.most, regimen.kind, regimen_unit(regimen)), down=True)
        if found.most is not None
        else "no amount that is bounded"
    )
    when = case.history.said(found.at)
    said.append(f"Next dose: {when}{', at the earliest' * (found.at > 0)}; at most {most}{' then' * (found.at > 0)}.")
    return found.most, tuple(said)


def regimen_unit(regimen: Regimen) -> str:
    """The unit that the regimen's doses are written in."""
    return (regimen.span.high or regimen.span.low).unit.split("/")[0]
