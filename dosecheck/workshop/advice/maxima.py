"""Maxima: one that is missing, one that can never bind, a day's that the doses pass."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date
from fractions import Fraction

from dosecheck.formulary.limits import Limit
from dosecheck.formulary.load import Formulary
from dosecheck.formulary.measures import AT_MOST
from dosecheck.formulary.medicine import Medicine, Regimen
from dosecheck.quantity import UNITS, Quantity
from dosecheck.rules.explain import most_for_one_dose
from dosecheck.showing import show
from dosecheck.workshop.advice.children import Weights, counts_of, facts_at, in_force, most_at, weights_of
from dosecheck.workshop.advice.line import Advice, Places

HEAVY = 50 * UNITS["weight"]["kg"]  # a child of an adult's weight, for whom a figure per kg alone has no end


def maxima_advice(medicine: Medicine, formulary: Formulary, places: Places, on: date) -> Iterator[Advice]:
    for regimen in in_force(medicine, on):
        weights = weights_of(regimen, formulary)
        if weights is None:
            continue
        for code, why in (*_missing(regimen, weights), *_idle(regimen, weights), *_passed(regimen, weights)):
            yield places.of(code, medicine, regimen, why)


def _missing(regimen: Regimen, weights: Weights) -> Iterator[tuple[str, str]]:
    upper = [limit.main.measure for limit in regimen.limits if limit.main.sense == AT_MOST]
    per_kg = any(measure.endswith("/weight") for measure in upper)
    if per_kg and not {"dose", "daily", "rate"} & set(upper) and not weights.bounded and weights.most > HEAVY:
        heaviest = show(Quantity(weights.most, "weight", "kg"))
        yield "no-absolute-maximum", f"Every maximum is per kg, and no weight ends it: its children may weigh {heaviest}."


def _idle(regimen: Regimen, weights: Weights) -> Iterator[tuple[str, str]]:
    """A maximum that others keep every dose below, at the lightest and at the heaviest child.

    Bounds are straight lines in the weight and the least of straight lines, so the two ends decide for all between.
    """
    if regimen.span.continuous:
        return
    most = max(counts_of(regimen), default=None)
    for limit in regimen.limits:
        doses = most if limit.name == "daily maximum" else None
        if limit.beyond or not (limit.name == "single maximum" or doses):
            continue
        if all(_stays_above(limit, regimen, weight, doses) for weight in (weights.least, weights.most)):
            yield "maximum-never-binds", f"The {limit.name}, {limit.text}, is above whatever the other figures allow, at every weight."


def _stays_above(limit: Limit, regimen: Regimen, weight: Fraction, doses: int | None) -> bool:
    facts = facts_at(weight, doses)
    bound = most_for_one_dose(limit, facts)
    others = [most_for_one_dose(one, facts) for one in regimen.limits if one.main != limit.main and not one.beyond]
    known = [one for one in others if one is not None]
    return bound is not None and bool(known) and bound > min(known)


def _passed(regimen: Regimen, weights: Weights) -> Iterator[tuple[str, str]]:
    """The largest single dose as often as it may be given passes the day's maximum: told where it is the most."""
    listed = counts_of(regimen)
    if regimen.span.continuous or max(listed, default=1) == 1 or regimen.per == "day":
        return
    most, unit = max(listed), (regimen.span.high or regimen.span.low).unit.split("/")[0]
    for weight in (weights.least, weights.most):
        single, shared = most_at(regimen, weight), most_at(regimen, weight, most)
        if single and shared and shared < single:
            child = show(Quantity(weight, "weight", "kg"))
            day, limit = (show(Quantity(one * most, regimen.kind, unit), down=True) for one in (single, shared))
            yield "day-below-its-doses", f"At {child} the largest single dose {most} times is {day}, and the day's maximum is {limit}."
            return
