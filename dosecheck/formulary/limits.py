"""One regimen's figures, compiled into limits: each a list of comparisons, of which any one must hold.

How a figure becomes limits (the upper end of anything per kg or per m2 asks first and stops later; an absolute
maximum stops; a low end asks) is decided here once, for the one-order engine and the columns alike.
"""

from __future__ import annotations

from collections.abc import Iterable
from fractions import Fraction
from itertools import pairwise
from typing import Any, NamedTuple

from dosecheck.formulary.measures import AT_LEAST, AT_MOST, Comparison
from dosecheck.quantity import Quantity
from dosecheck.reading import read_amount, read_dose, read_time
from dosecheck.records import QUERY, STOP
from dosecheck.showing import show, show_number, show_seconds

ALWAYS, STATED = "always", "when stated"
TOTAL_OF_EPISODE = "total over episode"  # known only of an order for one dose
_EDGES = {"months": ("months", 1), "years": ("months", 12), "weeks": ("days", 7), "days": ("days", 1)}


class Limit(NamedTuple):
    """One threshold.  `name` is the figure it comes from; limits of one figure differ only in how far above it is.

    `comparisons`: the first is the limit itself, the others are its exceptions; it is met when any holds.
    `beyond` marks the second, further one.
    `due`: "always", or "when stated": then the order must state the measure, or the regimen require it.
    """

    name: str
    code: str
    outcome: str
    comparisons: tuple[Comparison, ...]
    text: str
    figure: Quantity | None = None
    due: str = ALWAYS
    beyond: bool = False

    @property
    def main(self) -> Comparison:
        return self.comparisons[0]


class Policy(NamedTuple):
    """The figures of policy.toml that grade limits, as exact shares."""

    query_up_to: Fraction
    point_allowance: Fraction


class DoseSpan(NamedTuple):
    """A regimen's dose: low and high end (either may be missing), per dose, per day, or by time for an infusion."""

    low: Quantity | None
    high: Quantity | None
    single_figure: bool
    continuous: bool


def share(text: str) -> Fraction:
    """ "10 %" as 1/10."""
    number, mark, rest = text.partition("%")
    if not mark or rest.strip():
        raise ValueError(f'"{text}" is not a share. Write it as "10 %".')
    return Fraction(number.strip()) / 100


def read_span(dose: str | dict[str, str]) -> DoseSpan:
    """The dose as the file has it: one figure, or a table of low and high."""
    if isinstance(dose, str):
        read = read_dose(dose)
        return DoseSpan(read.low, read.high, read.low == read.high, read.per == "time")
    ends = {end: read_dose(text) for end, text in dose.items()}
    low, high = (ends[end].high if end in ends else None for end in ("low", "high"))
    return DoseSpan(low, high, False, any(d.per == "time" for d in ends.values()))


def measure_of(base: str, figure: Quantity) -> str:
    """ "dose" with a figure per kg is the measure "dose/weight"."""
    below = set(figure.kind.split("/")[1:]) - {"time"}
    return "/".join((base, *sorted(below)))


def compare(base: str, sense: str, figure: Quantity, times: Fraction = Fraction(1)) -> Comparison:
    """A comparison with `figure` times a plain number."""
    bound = figure.value * times
    return Comparison(measure_of(base, figure), sense, bound.numerator, bound.denominator)


def _upper(
    name: str, code: str, figure: Quantity, base: str, margin: Fraction, floor: tuple[Comparison, ...], due: str = ALWAYS
) -> list[Limit]:
    """An absolute figure stops; one per kg or per m2 asks above it and stops above the margin."""
    graded = measure_of(base, figure) != base
    exceptions = floor if graded else ()
    text = show(figure)
    first = Limit(name, code, STOP, (compare(base, AT_MOST, figure), *exceptions), text, figure, due)
    if not graded or not margin:
        return [first]
    more = compare(base, AT_MOST, figure, 1 + margin)
    beyond = f"{text} and {show_number(margin * 100)} % more"
    return [first._replace(outcome=QUERY), Limit(name, code, STOP, (more, *exceptions), beyond, figure, due, True)]


def _bounds(entry: dict[str, Any], key: str) -> list[Quantity]:
    """By kind and height, so that the file's own order never decides which of two equal bounds is said to bind."""
    value = entry.get(key, [])
    return [] if isinstance(value, dict) else sorted((read_dose(text).high for text in value), key=lambda bound: (bound.kind, bound.value))


def compile_limits(entry: dict[str, Any], policy: Policy, high_risk: bool) -> tuple[Limit, ...]:
    """All limits of one regimen (bands already resolved into `dose`).

    Args:
        entry: the regimen as the file has it, in the grammar of formulary/README.md.
    """
    margin = share(entry["query_up_to"]) if "query_up_to" in entry else (Fraction(0) if high_risk else policy.query_up_to)
    span = read_span(entry["dose"])
    singles, dailies = _bounds(entry, "max_single"), _bounds(entry, "max_daily")
    least = read_dose(entry["floor"]).high if "floor" in entry else None
    floor = (compare("dose", AT_MOST, least),) if least else ()
    base = "rate" if span.continuous else "dose"
    nearly = 1 - policy.point_allowance  # what a maximum holds down may be rounded down to what can be measured, as a single figure may
    binding = tuple(compare(what, AT_LEAST, f, nearly) for what, found in (("dose", singles), ("daily", dailies)) for f in found)

    limits = _range_limits(entry, span, base, margin, floor, binding, policy)
    if least:
        limits.append(Limit("smallest dose", "dose-below-floor", QUERY, (compare("dose", AT_LEAST, least),), show(least), least))
    for figure in singles:
        limits += _upper("single maximum", "dose-above-single-max", figure, "dose", margin, floor)
    for figure in dailies:
        limits += _upper("daily maximum", "day-above-max", figure, "daily", margin, ())
    limits += _counts(entry)
    limits += _when_stated(entry, margin)
    return tuple(limits)


def _range_limits(
    entry: dict[str, Any],
    span: DoseSpan,
    base: str,
    margin: Fraction,
    floor: tuple[Comparison, ...],
    binding: tuple[Comparison, ...],
    policy: Policy,
) -> list[Limit]:
    """The dose itself: per dose, or per day with each single dose limited as well."""
    per_day = entry.get("per") == "day"
    limits = []
    if span.high and per_day:
        limits += _upper("daily dose", "day-above-range", span.high, "daily", margin, ())
        limits += _upper("share of one dose", "dose-above-range", span.high / min(entry["doses_a_day"]), "dose", margin, floor)
    elif span.high:
        limits += _upper("dose", "dose-above-range", span.high, base, margin, floor)
    if span.low:
        low = span.low * (1 - policy.point_allowance) if span.single_figure else span.low
        code = "day-below-range" if per_day else "dose-below-range"
        main = compare("average" if per_day else base, AT_LEAST, low)
        text = show(low) + (f" ({show(span.low)} less {show_number(policy.point_allowance * 100)} %)" if span.single_figure else "")
        limits.append(Limit("low end", code, QUERY, (main, *binding), text, low))
    return limits


def _counts(entry: dict[str, Any]) -> Iterable[Limit]:
    """How close and how many."""
    if "min_gap" in entry:
        gap = read_time(entry["min_gap"])
        yield Limit("shortest gap", "gap-too-short", STOP, (compare("gap", AT_LEAST, gap),), show_seconds(gap.value), gap)
    if "max_doses" in entry:
        most = Comparison("doses", AT_MOST, entry["max_doses"], 1)
        yield Limit("most doses in 24 hours", "too-many-doses", STOP, (most,), f"{entry['max_doses']} in 24 hours")
    allowed = sorted(entry.get("doses_a_day", []))
    if allowed:
        text = " or ".join(map(str, allowed)) + (" dose a day" if allowed == [1] else " doses a day")
        holes = [(a, b) for a, b in pairwise(allowed) if b > a + 1]
        steps = [(Comparison("mean doses", AT_LEAST, allowed[0], 1),), (Comparison("doses", AT_MOST, allowed[-1], 1),)]
        steps += [(Comparison("doses", AT_MOST, a, 1), Comparison("mean doses", AT_LEAST, b, 1)) for a, b in holes]
        for comparisons in steps:
            yield Limit("doses a day", "doses-a-day-not-listed", QUERY, comparisons, text)


def _when_stated(entry: dict[str, Any], margin: Fraction) -> list[Limit]:
    """Rate, concentration, course and totals: due when the order states them or the regimen requires them."""
    limits: list[Limit] = []
    for text in entry.get("max_rate", []):
        limits += _upper("fastest rate", "rate-above-max", read_dose(text).high, "rate", margin, (), STATED)
    if "min_duration" in entry:
        shortest = read_time(entry["min_duration"])
        limits.append(
            Limit(
                "shortest time to give it over",
                "given-too-fast",
                STOP,
                (compare("duration", AT_LEAST, shortest),),
                show_seconds(shortest.value),
                shortest,
                STATED,
            )
        )
    if "max_concentration" in entry:
        most = read_amount(entry["max_concentration"], ("mass", "activity", "substance"), "concentration", "10 mg/mL")
        limits.append(
            Limit(
                "highest concentration",
                "concentration-above-max",
                STOP,
                (Comparison("concentration", AT_MOST, most.value.numerator, most.value.denominator),),
                show(most),
                most,
                STATED,
            )
        )
    if "max_course" in entry:
        longest = read_time(entry["max_course"])
        limits.append(
            Limit(
                "longest course",
                "course-too-long",
                STOP,
                (compare("course", AT_MOST, longest),),
                show_seconds(longest.value),
                longest,
                STATED,
            )
        )
    for total in entry.get("totals", []):
        for text in total["max"]:
            limits += _upper(f"total over {total['over']}", "total-above-max", read_dose(text).high, "total", margin, (), STATED)
    return limits


def edge(text: str, end: str) -> tuple[str, int]:
    """A band's edge as (fact, whole number): "12 years" is ("months", 144), "28 days" is ("days", 28)."""
    parts = text.split()
    if len(parts) != 2 or not parts[0].isdigit() or parts[1].rstrip("s") + "s" not in _EDGES:
        raise ValueError(f'"{text}" is not an edge of a band ({end}). Write one whole unit: "3 months", "12 years", "28 days".')
    fact, each = _EDGES[parts[1].rstrip("s") + "s"]
    return fact, int(parts[0]) * each
