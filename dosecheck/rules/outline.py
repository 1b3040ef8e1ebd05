"""Dose against weight: where one dose of a regimen is within, a query or a stop, as exact lines between exact corners.

Every limit of one dose is a straight line over the weight (so much per kg) or level (so much whatever the weight), so the
edge between two outcomes is straight between the weights at which two lines cross.  Nothing is sampled.  What
one dose is judged by besides (gaps, ages, totals) is not here.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from fractions import Fraction
from itertools import combinations
from typing import NamedTuple

from dosecheck.body.believable import GRAM, weight_limits
from dosecheck.body.growth import LAST_DAY, SEXES
from dosecheck.formulary.cells import days_to_complete
from dosecheck.formulary.limits import Limit
from dosecheck.formulary.measures import AT_MOST, Comparison, Ratio
from dosecheck.formulary.medicine import Regimen
from dosecheck.formulary.weight_z import ZBand
from dosecheck.quantity import UNITS, Quantity
from dosecheck.records import STOP
from dosecheck.rules.explain import allowed, fewest_doses
from dosecheck.rules.facts import ratio

KG = UNITS["weight"]["kg"]
_USUAL = (ZBand(0, -2, 2),)  # about 19 of 20 children of the growth references
_GROWN = 18 * 12  # months: the end of an age band that has none
Point = tuple[Fraction, Fraction]  # weight and dose, both in base units
Span = tuple[Fraction, Fraction]


class Line(NamedTuple):
    """`slope` times the weight, and `level`; one of the two is zero."""

    slope: Fraction
    level: Fraction

    def at(self, weight: Fraction) -> Fraction:
        return self.slope * weight + self.level


class Edge(NamedTuple):
    """One limit of one dose.  Above an upper one (below a lower one) of all its lines it is broken."""

    limit: Limit
    lines: tuple[Line, ...]

    def at(self, weight: Fraction) -> Fraction:
        pick = max if self.limit.main.sense == AT_MOST else min
        return pick(line.at(weight) for line in self.lines)


class Cap(NamedTuple):
    """A level maximum that holds the dose down from a weight on (`binds`, a weight inside the outline)."""

    limit: Limit
    dose: Quantity
    binds: Quantity


class Outline(NamedTuple):
    """One regimen over `weights` (from, to).  Corners from left to right, in base units of weight and dose.

    high: up to it (itself inside) one dose is within; stop: above it one dose is a stop, between the two a query.
    low: below it one dose is a query; empty where the source has no low end.
    """

    regimen: Regimen
    weights: Span
    high: tuple[Point, ...]
    stop: tuple[Point, ...]
    low: tuple[Point, ...]
    caps: tuple[Cap, ...]

    @property
    def unit(self) -> str:
        """Of the dose, or of the rate of an infusion."""
        return "/".join(part for part in self._figure.unit.split("/") if part not in ("kg", "m2"))

    @property
    def kind(self) -> str:
        return "/".join(part for part in self._figure.kind.split("/") if part not in ("weight", "surface"))

    @property
    def _figure(self) -> Quantity:
        return self.regimen.span.high or self.regimen.span.low

    def quantity(self, dose: Fraction) -> Quantity:
        return Quantity(dose, self.kind, self.unit)


def outline(regimen: Regimen, weights: Span, doses: int | None = None) -> Outline | None:
    """The outline of one dose, or of the rate of an infusion; None where no upper limit goes by weight alone (per m2).

    Args:
        weights: from and to, in base units.
        doses: how many a day; the fewest that the source lists, or one, when left out: a daily maximum holds one dose too.
    """
    count = ratio(doses or fewest_doses(regimen))
    facts = {"weight": (1, 1)} | ({} if regimen.span.continuous else {"doses": count, "average": count})
    edges = [
        edge
        for limit in regimen.limits
        if limit.main.measure.startswith("rate") == regimen.span.continuous and (edge := _edge(limit, facts))
    ]
    upper = [edge for edge in edges if edge.limit.main.sense == AT_MOST]
    stops = [edge for edge in upper if edge.limit.outcome == STOP]
    lower = [edge for edge in edges if edge.limit.main.sense != AT_MOST]
    if not stops or _by_surface(regimen):
        return None
    cuts = _cuts([line for edge in edges for line in edge.lines], weights)
    high, stop = (_corners(lambda w, of=of: min(edge.at(w) for edge in of), cuts) for of in (upper, stops))
    low = _corners(lambda w: max(edge.at(w) for edge in lower), cuts) if lower else ()
    made = Outline(regimen, weights, high, stop, low, ())
    return made._replace(caps=tuple(_caps(made, upper, cuts)))


def _by_surface(regimen: Regimen) -> bool:
    return any("surface" in limit.main.measure for limit in regimen.limits)


def _edge(limit: Limit, facts: dict[str, Ratio]) -> Edge | None:
    """The limit's lines; None where it does not bound one dose."""
    lines = [_line(comparison, facts) for comparison in limit.comparisons]
    return None if lines[0] is None else Edge(limit, tuple(line for line in lines if line is not None))


def _line(comparison: Comparison, facts: dict[str, Ratio]) -> Line | None:
    """What it allows at a weight of one base unit is its slope; a rate's figure is its own."""
    value = Fraction(comparison.p, comparison.q) if comparison.measure.startswith("rate") else allowed(comparison, facts)
    if value is None:
        return None
    return Line(value, Fraction(0)) if comparison.measure.endswith("/weight") else Line(Fraction(0), value)


def _cuts(lines: Iterable[Line], weights: Span) -> list[Fraction]:
    """Both ends, and every weight between them at which a line per kg meets a level one."""
    low, high = weights
    found = {low, high}
    for one, other in combinations(set(lines), 2):
        if one.slope != other.slope:
            meet = (other.level - one.level) / (one.slope - other.slope)
            found |= {meet} if low < meet < high else set()
    return sorted(found)


def _corners(value: Callable[[Fraction], Fraction], cuts: list[Fraction]) -> tuple[Point, ...]:
    """The ends and the bends of a line that is straight between `cuts`."""
    points = [(weight, value(weight)) for weight in cuts]
    bends = [b for a, b, c in zip(points, points[1:], points[2:], strict=False) if _bends(a, b, c)]
    return (points[0], *bends, points[-1])


def _bends(a: Point, b: Point, c: Point) -> bool:
    return (b[1] - a[1]) * (c[0] - b[0]) != (c[1] - b[1]) * (b[0] - a[0])


def _caps(made: Outline, upper: list[Edge], cuts: list[Fraction]) -> Iterable[Cap]:
    """Level maxima with the least weight at which nothing else is lower; of two alike the first."""
    seen: set[Fraction] = set()
    for edge in upper:
        level = edge.lines[0].level
        binds = next((w for w in cuts if edge.at(w) == min(other.at(w) for other in upper)), None)
        if level and edge.limit.name.endswith("maximum") and binds is not None and level not in seen:
            seen.add(level)
            yield Cap(edge.limit, made.quantity(level), Quantity(binds, "weight", "kg"))


def weights_of(regimen: Regimen, reference: str) -> Span:
    """The weights that the regimen is for, in base units: its own band, and where that is open the usual weights of its ages.

    Usual is from z -2 to z 2 of the growth reference, whichever the sex; rounded outwards to 0.1 kg.
    """
    band = next((band for band in regimen.bands if band.fact == "weight"), None)
    own_low, own_high = (band.low, band.high) if band else (None, None)
    held = weight_limits(_USUAL, reference, SEXES, _days(regimen))
    low, high = (Fraction(held.low // 100 * 100 * GRAM), Fraction(-(-held.high // 100) * 100 * GRAM))
    if own_low is not None:
        low, high = Fraction(own_low), high if high > own_low else Fraction(2 * own_low)
    if own_high is not None:
        low, high = low if low < own_high else Fraction(own_high, 2), Fraction(own_high)
    return low, high


def _days(regimen: Regimen) -> tuple[int, int]:
    """The ages of the regimen's band in days; from birth, and to 18 years, where it has no such end."""
    low, high = 0, days_to_complete(_GROWN)[1]
    for band in regimen.bands:
        if band.fact in ("months", "days"):
            ends = (
                (band.low, band.high) if band.fact == "days" else tuple(end and days_to_complete(end)[0] for end in (band.low, band.high))
            )
            low, high = max(low, ends[0] or 0), min(high, ends[1] or high)
    return min(low, LAST_DAY - 1), min(high, LAST_DAY)
