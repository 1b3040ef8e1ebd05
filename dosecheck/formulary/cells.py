"""Which regimens apply to which child: bands as intervals on facts, half-open, and the choice among them.

A fact of a child is an interval (an age of "2 years" is everything up to the third birthday), so a band can hold
all of it, none of it, or only a part; the age is then cut at the edges into stretches to whom the same regimens
apply.  The one-order engine, the columns and lint use these same bands.
"""

from __future__ import annotations

from datetime import date
from functools import cache
from itertools import pairwise, product
from typing import NamedTuple

AGE_FACTS = ("months", "days", "corrected months", "corrected days", "postmenstrual days")
Interval = tuple[int, int]


# Births on the 1st of each month of these years stand for all: years around 1904 have as many leap days as can be,
# years around 2100 as few.  A test holds the days equal to those of body/age.py, which is on a higher floor.
_YEARS = (1903, 1904, 2096, 2097)


@cache
def days_to_complete(months: int) -> tuple[int, int]:
    """The fewest and the most days after birth on which a child completes `months`.

    >>> days_to_complete(1), days_to_complete(12)
    ((28, 31), (365, 366))
    """
    days = []
    for year, month in product(_YEARS, range(12)):
        years, later = divmod(month + months, 12)
        days.append((date(year + years, later + 1, 1) - date(year, month + 1, 1)).days)
    return min(days), max(days)


class Band(NamedTuple):
    """`fact` from `low` (inside) to below `high` (outside); either may be None."""

    fact: str
    low: int | None
    high: int | None

    def holds(self, interval: Interval | None) -> bool | None:
        """True if all of the interval is inside, False if none is, None if only a part, or if it is not known."""
        if interval is None:
            return None
        low = self.low is None or interval[0] >= self.low
        high = self.high is None or interval[1] < self.high
        if low and high:
            return True
        outside = (self.low is not None and interval[1] < self.low) or (self.high is not None and interval[0] >= self.high)
        return False if outside else None


def stretches(facts: dict[str, Interval], edges: dict[str, set[int]]) -> list[dict[str, Interval]]:
    """The child's age facts cut at every edge that falls inside them.

    Args:
        facts: fact to interval, both ends inside.
        edges: fact to the whole numbers at which something changes.

    Returns:
        One dict a stretch; a point age gives exactly one.
    """
    names = [name for name in AGE_FACTS if name in facts]
    pieces = []
    for name in names:
        low, high = facts[name]
        cuts = [low, *sorted(e for e in edges.get(name, ()) if low < e <= high), high + 1]
        pieces.append([(a, b - 1) for a, b in pairwise(cuts)])
    rest = {name: value for name, value in facts.items() if name not in names}
    found = [{**rest, **dict(zip(names, piece, strict=True))} for piece in product(*pieces)]
    return found if len(found) == 1 else [stretch for stretch in found if _possible(stretch, facts)]


def _possible(stretch: dict[str, Interval], facts: dict[str, Interval]) -> bool:
    """Whether some child can be in every piece at once: not 2 months old on day 20, nor older by the due date than by birth.

    Each piece is turned into the days since birth that it leaves; a pair of them may still be too wide, never too narrow.
    """
    since_birth = [stretch["days"], _days_of(stretch["months"])]
    since_due = [stretch["corrected days"], _days_of(stretch["corrected months"])]
    due = max(low for low, _ in since_due), min(high for _, high in since_due)
    for piece, fact in ((due, "corrected days"), (stretch["postmenstrual days"], "postmenstrual days")):
        least, most = (facts[fact][end] - facts["days"][end] for end in (0, 1))
        since_birth.append((piece[0] - most, piece[1] - least))
    return due[0] <= due[1] and max(low for low, _ in since_birth) <= min(high for _, high in since_birth)


def _days_of(months: Interval) -> Interval:
    """The days that a child of so many completed months can have; before the due date there is no least."""
    low, high = months
    return (days_to_complete(low)[0] if low >= 0 else -10_000, days_to_complete(high + 1)[1] - 1)


def overlap(one: tuple[Band, ...], other: tuple[Band, ...]) -> bool:
    """Whether some child can be inside both lists of bands (bands on unlike facts may always meet)."""
    for a in one:
        for b in other:
            if a.fact != b.fact:
                continue
            low = max((x for x in (a.low, b.low) if x is not None), default=None)
            high = min((x for x in (a.high, b.high) if x is not None), default=None)
            if low is not None and high is not None and low >= high:
                return False
    return True
