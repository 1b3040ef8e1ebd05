"""What is proven of one regimen, and how.

Children: those of its bands, from the least to the greatest weight that the policy believes at its ages (beyond them
an order is a query for the weight itself).  For each number of doses that the regimen allows for, every limit of one
dose is the greatest or the least of straight lines over the weight (`rules/outline.py`), so

- "children": somebody of its ages may have its weights, and no age limit stops them all.
- "room": at every weight some dose is allowed: the low ends stay at or below the upper limits.  The difference of two
  lines is straight between the weights at which lines cross, so looking at those weights and at both ends decides it
  for all others, exactly.
- "order": what asks comes no later than what stops, at every weight.
- "one way": each limit of a dose bounds it from one side only, exceptions included.  The doses that break an upper limit are then
  all above it, those that break a low end all below it: a larger dose never turns a stop into less, and what is within is one stretch.
- "offer": the dose that the tool offers is the least of the upper limits, so it breaks none; with a product it is rounded
  down, so it breaks none either, and a size that falls below the low end is withheld.  Held against the tool itself at every weight
  at which lines cross, at both ends, and one gram to either side.
- "spread": the numbers of doses that the regimen lists fit into a day at its shortest gap.
- "whole numbers": no comparison can pass the bits of the columns' whole numbers, at the stated ceilings of every input.

Not looked at: limits that hold only when stated (rate, concentration, course, totals), and ages: they bound no dose.
"""

from __future__ import annotations

from collections.abc import Iterator
from fractions import Fraction
from itertools import pairwise
from typing import NamedTuple

from dosecheck.body.believable import GRAM
from dosecheck.formulary.cells import days_to_complete
from dosecheck.formulary.load import Formulary
from dosecheck.formulary.measures import CEILINGS, MOST_BITS, Comparison, bits_needed
from dosecheck.formulary.medicine import Medicine, Regimen
from dosecheck.quantity import Quantity
from dosecheck.records import Child
from dosecheck.rules.explain import fewest_doses
from dosecheck.rules.outline import Outline, Span, outline
from dosecheck.rules.reckon import Figures, figures_at
from dosecheck.rules.supply import least_measurable

PROVEN, COUNTER, OPEN = "proven", "counter-example", "not proven"
_DAY = 86_400
_OF_DOSE = ("dose", "daily", "average", "rate")


class Result(NamedTuple):
    """`weight`, `dose` (base units) and `doses` are those of a counter-example, where it has them."""

    claim: str
    state: str
    why: str = ""
    weight: Fraction | None = None
    dose: Fraction | None = None
    doses: int | None = None
    bits: int = 0


def claims(formulary: Formulary, medicine: Medicine, regimen: Regimen, weights: Span, believed: bool = True) -> Iterator[Result]:
    """Every claim once: proven for all numbers of doses, or the first counter-example.

    Args:
        weights: from and to, in base units; surfaces for a regimen per m2.
        believed: somebody of its ages is believed to weigh that.
    """
    yield _children(medicine, regimen, believed)
    yield _one_way(regimen)
    yield _spread(regimen)
    yield _bits(regimen)
    if _by(regimen, "surface") and _by(regimen, "weight"):
        why = "Its limits go by weight and by surface, and both vary at once."
        yield from (Result(claim, OPEN, why) for claim in ("room", "order", "offer"))
        return
    found = [(count, outline(_by_one(regimen), weights, count)) for count in counts(regimen)]
    if any(made is None for _, made in found):
        yield from (Result(claim, OPEN, "It has no upper limit of one dose.") for claim in ("room", "order", "offer"))
        return
    yield _first("room", (_room(count, made) for count, made in found))
    yield _first("order", (_order(count, made) for count, made in found))
    if regimen.span.continuous or _by(regimen, "surface") or regimen.goes_by == "lean":
        yield Result("offer", PROVEN, "No size by weight is offered: it is an infusion, per m2, or by a lean weight.")
    elif regimen.goes_by not in ("", "actual"):
        yield Result("offer", OPEN, f"Its doses go by the {regimen.goes_by} weight, which the height decides too.")
    else:
        yield _offer(formulary, medicine, regimen, weights) or Result("offer", PROVEN)


def _first(claim: str, results: Iterator[Result | None]) -> Result:
    return next((result for result in results if result), Result(claim, PROVEN))


def counts(regimen: Regimen) -> list[int]:
    """The numbers of doses in 24 hours that the regimen allows for: those it lists, up to the most, or what its gap lets in.

    One for an infusion, and where neither is named: such a regimen covers one dose.
    """
    listed = sorted(regimen.entry.get("doses_a_day", []))
    if listed or regimen.span.continuous:
        return listed or [1]
    gap = _gap(regimen)
    most = regimen.entry.get("max_doses") or (-(-_DAY // gap) if gap else 1)
    return list(range(1, min(int(most), CEILINGS["doses"][0]) + 1))


def _by(regimen: Regimen, what: str) -> bool:
    return any(what in comparison.measure for limit in regimen.limits for comparison in limit.comparisons)


def _by_one(regimen: Regimen) -> Regimen:
    """A regimen per m2 with the surface in the place of the weight: its lines are straight over the surface too."""
    if not _by(regimen, "surface"):
        return regimen
    limits = [
        limit._replace(comparisons=tuple(c._replace(measure=c.measure.replace("surface", "weight")) for c in limit.comparisons))
        for limit in regimen.limits
    ]
    return regimen._replace(limits=tuple(limits))


def _one_way(regimen: Regimen) -> Result:
    for limit in regimen.limits:
        if limit.main.measure.split("/")[0] in _OF_DOSE and len({comparison.sense for comparison in limit.comparisons}) > 1:
            return Result("one way", COUNTER, f"The {limit.name} of {limit.text} bounds the dose from both sides.")
    return Result("one way", PROVEN)


def _gap(regimen: Regimen) -> Fraction | None:
    return next((limit.figure.value for limit in regimen.limits if limit.name == "shortest gap"), None)


def _children(medicine: Medicine, regimen: Regimen, believed: bool) -> Result:
    if not believed:
        return Result("children", COUNTER, "Nobody of its ages is believed to have its weights, so no child reaches it.")
    for limit in medicine.age_limits:
        applies = (
            (not limit.condition or limit.condition in regimen.conditions)
            and (not limit.routes or regimen.route in limit.routes)
            and (not limit.purposes or set(regimen.purposes) <= set(limit.purposes))
        )
        if applies and all(_below(regimen, comparison) for comparison in limit.limit.comparisons):
            return Result("children", COUNTER, f"The age limit {limit.id} ({limit.limit.text}) stops every child of it.")
    return Result("children", PROVEN)


def _below(regimen: Regimen, comparison: Comparison) -> bool:
    """Every child of the regimen lies below what the comparison asks for; months are held against days by the calendar."""
    for band in regimen.bands:
        if band.high is None:
            continue
        if band.fact == comparison.measure and band.high * comparison.q <= comparison.p:
            return True
        if band.fact == "months" and comparison.measure == "days" and days_to_complete(band.high)[1] <= comparison.p:
            return True
        if band.fact == "days" and comparison.measure == "months" and band.high <= days_to_complete(comparison.p)[0]:
            return True
    return False


def _spread(regimen: Regimen) -> Result:
    gap = _gap(regimen)
    for count in regimen.entry.get("doses_a_day", []):
        if gap is not None and count > 1 and gap * count > _DAY:
            return Result("spread", COUNTER, f"{count} doses a day at its shortest gap do not fit into 24 hours.", doses=count)
    return Result("spread", PROVEN)


def _bits(regimen: Regimen) -> Result:
    worst = max(bits_needed(comparison) for limit in regimen.limits for comparison in limit.comparisons)
    if worst > MOST_BITS:
        return Result("whole numbers", COUNTER, f"A comparison may need {worst} bits; {MOST_BITS} is the most.")
    return Result("whole numbers", PROVEN, bits=worst)


def _at(points: tuple[tuple[Fraction, Fraction], ...], weight: Fraction) -> Fraction:
    """The value at a weight of a line that is straight between its corners."""
    for (w0, d0), (w1, d1) in pairwise(points):
        if w0 <= weight <= w1:
            return d0 if w0 == w1 else d0 + (d1 - d0) * (weight - w0) / (w1 - w0)
    return points[-1][1]


def _cuts(made: Outline) -> list[Fraction]:
    return sorted({weight for points in (made.high, made.stop, made.low) for weight, _ in points})


def _room(count: int, made: Outline) -> Result | None:
    """Both sides are straight between the cuts, so the least difference stands at one of them."""
    if not made.low:
        return None
    weight = min(_cuts(made), key=lambda w: _at(made.high, w) - _at(made.low, w))
    high, low = _at(made.high, weight), _at(made.low, weight)
    if high >= low:
        return None
    return Result("room", COUNTER, f"{_times(count)} every dose is too small or too large.", weight, high, count)


def _order(count: int, made: Outline) -> Result | None:
    weight = min(_cuts(made), key=lambda w: _at(made.stop, w) - _at(made.high, w))
    if _at(made.stop, weight) >= _at(made.high, weight):
        return None
    return Result("order", COUNTER, "A dose is stopped before it is asked about.", weight, _at(made.stop, weight), count)


def _offer(formulary: Formulary, medicine: Medicine, regimen: Regimen, weights: Span) -> Result | None:
    """What the tool itself says for a child of each weight that matters, held against the lines."""
    for count in fewest_first(regimen):
        made = outline(regimen, weights, count)
        near = {weight + step for weight in _cuts(made) for step in (-GRAM, 0, GRAM) if weights[0] <= weight + step <= weights[1]}
        for weight in sorted(near):
            most, least = _at(made.high, weight), _at(made.low, weight) if made.low else Fraction(0)
            for figures in figures_at(medicine, regimen, Child(weight=Quantity(weight, "weight", "kg")), formulary):
                if (figures.doses or count) == count:
                    broken = _broken(figures, least, most, medicine)
                    if broken:
                        return Result("offer", COUNTER, broken[0], weight, broken[1], count)
    return None


def fewest_first(regimen: Regimen) -> list[int]:
    """The numbers of doses that the tool shows blocks for when nobody tells how many."""
    return list(regimen.entry["doses_a_day"]) if regimen.per == "day" else [fewest_doses(regimen)]


def _broken(figures: Figures, least: Fraction, most: Fraction, medicine: Medicine) -> tuple[str, Fraction] | None:
    """The first offer that breaks a limit: the range, what each product measures of its most, and the least of the range."""
    if figures.high is None:
        return "No dose is offered, though the limits allow one.", most
    if figures.high.value != most:
        return "The largest dose that is offered is not the one that the limits allow.", figures.high.value
    offers = [("range", figures.low)] + [(found.product, found.amount) for found in figures.products]
    for found in figures.products:
        smallest = least_measurable(medicine.product(found.product), figures.regimen, figures.low, found)
        offers.append((found.product, smallest and smallest.amount))
    for name, size in offers:
        if size is not None and not least <= size.value <= most:
            return f"A size that is offered ({name}) breaks a limit.", size.value
    return None


def _times(count: int) -> str:
    return "With one dose a day" if count == 1 else f"With {count} doses a day"
