"""Measures: how an order is made into the number that a limit bounds.

A measure is a product of facts over a product of facts, so "is the limit kept" is one comparison of whole numbers,
without division.  This table is the only place that knows them: a new sort of limit is one line here, known at once
to the one-order engine and to the columns.  Facts are exact, as (numerator, denominator) in base units.
"""

from __future__ import annotations

from math import prod
from typing import Any, NamedTuple

AT_MOST, AT_LEAST = "at most", "at least"
Ratio = tuple[int, int]


class Measure(NamedTuple):
    """`over` facts stand above the stroke and `under` facts below; `power` 2 compares squares (surface area)."""

    over: tuple[str, ...]
    under: tuple[str, ...] = ()
    power: int = 1


# "dose" is the top of the order's range for upper limits and its bottom for lower ones; "doses" is the most in any
# 24 hours, "average" the mean; "surface" is Mosteller's area squared.
MEASURES: dict[str, Measure] = {
    "dose": Measure(("dose",)),
    "dose/weight": Measure(("dose",), ("weight",)),
    "dose/surface": Measure(("dose",), ("surface",), 2),
    "daily": Measure(("dose", "doses")),
    "daily/weight": Measure(("dose", "doses"), ("weight",)),
    "daily/surface": Measure(("dose", "doses"), ("surface",), 2),
    "average": Measure(("dose", "average")),
    "average/weight": Measure(("dose", "average"), ("weight",)),
    "average/surface": Measure(("dose", "average"), ("surface",), 2),
    "gap": Measure(("gap",)),
    "doses": Measure(("doses",)),
    "mean doses": Measure(("average",)),
    "rate": Measure(("dose",), ("over",)),
    "rate/weight": Measure(("dose",), ("over", "weight")),
    "rate/surface": Measure(("dose",), ("over", "surface"), 2),
    "duration": Measure(("over",)),
    "concentration": Measure(("dose",), ("volume",)),
    "course": Measure(("course",)),
    "total": Measure(("dose", "given")),
    "total/weight": Measure(("dose", "given"), ("weight",)),
    "total/surface": Measure(("dose", "given"), ("surface",), 2),
    "months": Measure(("months",)),
    "days": Measure(("days",)),
    "weight": Measure(("weight",)),
    "corrected months": Measure(("corrected months",)),
    "corrected days": Measure(("corrected days",)),
    "postmenstrual days": Measure(("postmenstrual days",)),
}

# The largest numerator and denominator of each fact for which both sides of a comparison must stay within MOST_BITS:
# 1 kg of medicine (10^12 base units of any kind), 300 doses, 500 kg of child, 10 L, a year, 120 years.
MOST_BITS = 126
CEILINGS: dict[str, Ratio] = {
    "dose": (10**12, 1),
    "doses": (300, 1),
    "average": (86_400, 31 * 86_400),
    "given": (300 * 366, 1),
    "weight": (500 * 10**12, 1),
    "volume": (10**10, 1),
    "gap": (366 * 86_400, 300),
    **dict.fromkeys(("over", "course"), (366 * 86_400, 1)),
    **dict.fromkeys(("months", "days", "corrected months", "corrected days", "postmenstrual days"), (44_000, 1)),
}


class Comparison(NamedTuple):
    """`measure`, at most or at least p/q in base units."""

    measure: str
    sense: str
    p: int
    q: int


def sides(comparison: Comparison, facts: dict[str, Any]) -> tuple[Any, Any] | str:
    """The two whole numbers to compare (measure, bound), or the name of the fact that is missing.

    Only multiplies, so facts and bounds may be whole numbers or columns of them.
    """
    measure = MEASURES[comparison.measure]
    power = measure.power
    left, right = _raised(comparison.q, power), _raised(comparison.p, power)
    for name in measure.over:
        value = facts.get(name)
        if value is None:
            return name
        left, right = left * _raised(value[0], power), right * _raised(value[1], power)
    for name in measure.under:
        value = facts.get(name)
        if value is None:
            return name
        exponent = 1 if name == "surface" else power
        left, right = left * _raised(value[1], exponent), right * _raised(value[0], exponent)
    return left, right


def _raised(number: Any, exponent: int) -> Any:
    return number if exponent == 1 else number * number


def holds(comparison: Comparison, facts: dict[str, Any]) -> Any:
    """True or False (a column of them, for columns); or the name of the fact that is missing."""
    both = sides(comparison, facts)
    if isinstance(both, str):
        return both
    return both[0] <= both[1] if comparison.sense == AT_MOST else both[0] >= both[1]


def bits_needed(comparison: Comparison) -> int:
    """The bits of the larger side at the stated ceilings; surface areas are compared as squares, one order at a time."""
    measure = MEASURES[comparison.measure]
    if measure.power == 2:
        return 0
    left = comparison.q * prod(CEILINGS[name][0] for name in measure.over) * prod(CEILINGS[name][1] for name in measure.under)
    right = comparison.p * prod(CEILINGS[name][1] for name in measure.over) * prod(CEILINGS[name][0] for name in measure.under)
    return max(left.bit_length(), right.bit_length())
