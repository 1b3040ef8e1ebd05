"""The next dose that the doses told leave room for: the earliest moment, and the largest size at that moment.

One medicine alone: nothing here looks at another, and no plan of several medicines is ever laid out.  What comes out
keeps every limit of the regimen that looks back in time, and the most for one dose.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from fractions import Fraction
from typing import NamedTuple

from dosecheck.formulary.limits import Limit
from dosecheck.formulary.measures import AT_MOST, Ratio
from dosecheck.formulary.medicine import Regimen
from dosecheck.rules.explain import allowed, most_for_one_dose
from dosecheck.rules.windows import DAY, Seconds, Timed, last_given, moments_of_change, window
from dosecheck.rules.with_earlier import base_of, length_of


class NextDose(NamedTuple):
    """`at`: seconds from now; `most`: base units of the regimen's kind, exact and unrounded; None where nothing bounds it."""

    at: Seconds
    most: Fraction | None


class Bounds(NamedTuple):
    """A regimen's limits on time and amount for one child: first limits only, so that what fits is within."""

    gap: Seconds | None
    counts: tuple[Fraction, ...]
    totals: tuple[tuple[Fraction, Seconds | None], ...]
    single: Fraction | None


def bounds_of(regimen: Regimen, upper: dict[str, Ratio]) -> Bounds | None:
    """None where a fact that a limit needs, such as the weight, is missing."""
    firsts = [limit for limit in regimen.limits if not limit.beyond]
    gap = next((limit.figure.value for limit in firsts if base_of(limit) == "gap"), None)
    counts = tuple(Fraction(limit.main.p, limit.main.q) for limit in firsts if base_of(limit) == "doses")
    totals = tuple((_whole(limit, upper), length_of(limit)) for limit in firsts if base_of(limit) in ("daily", "total"))
    about_dose = [limit for limit in firsts if limit.main.sense == AT_MOST and limit.main.measure.split("/")[0] == "dose"]
    singles = [most_for_one_dose(limit, upper) for limit in about_dose]
    if None in singles or any(total is None for total, _ in totals):
        return None
    return Bounds(gap, counts, totals, min(singles, default=None))


def _whole(limit: Limit, upper: dict[str, Ratio]) -> Fraction | None:
    """What a total may come to for this child."""
    return allowed(limit.main, {**upper, "doses": (1, 1), "given": (1, 1)})


def next_dose(bounds: Bounds, doses: Sequence[Timed], wanted: Fraction | None, start: Seconds = 0) -> NextDose | None:
    """The first moment from `start` (now) on at which a dose of `wanted` (None: of any size) fits, and the most that fits then.

    None where no such moment comes: the dose alone is too large, a total has no end, or an amount is not known.
    """
    if any(dose.amount is None for dose in doses) and bounds.totals:
        return None
    lengths = {DAY, *(length for _, length in bounds.totals if length is not None)}
    changes = moments_of_change(doses, lengths, [bounds.gap] if bounds.gap else [])
    for moment in (start, *(change for change in changes if change > start)):
        if not _in_time(bounds, doses, moment):
            continue
        most = room(bounds, doses, moment)
        if most is None or (most > 0 and most >= (wanted or 0)):
            return NextDose(moment, most)
    return None


def _in_time(bounds: Bounds, doses: Sequence[Timed], moment: Seconds) -> bool:
    last = last_given(doses)
    if bounds.gap is not None and last is not None and moment - last < bounds.gap:
        return False
    return all(len(window(doses, moment, DAY).doses) + 1 <= most for most in bounds.counts)


def room(bounds: Bounds, doses: Sequence[Timed], moment: Seconds) -> Fraction | None:
    """The largest dose at `moment` by amount alone; None where nothing bounds it."""
    left = [total - window(doses, moment, length).total for total, length in bounds.totals]
    left += [bounds.single] if bounds.single is not None else []
    return min(left, default=None)


def most_now(bounds: Bounds, doses: Sequence[Timed], planned: Iterable[Seconds]) -> Fraction | None:
    """The largest dose now that its own repeats at `planned` moments leave within the totals; 0 where it is too soon."""
    if not _in_time(bounds, doses, 0) or any(dose.amount is None for dose in doses):
        return Fraction(0)
    rooms = [left for left in (room(bounds, doses, 0),) if left is not None]
    for number, moment in enumerate(planned, 2):
        rooms += [(total - window(doses, moment, length).total) / number for total, length in bounds.totals if length == DAY]
    return max(min(rooms), Fraction(0)) if rooms else None
