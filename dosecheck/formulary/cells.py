"""Which regimens apply to which child: bands as intervals on facts, half-open, and the choice among them.

A fact of a child is an interval (an age of "2 years" is everything up to the third birthday), so a band can hold
all of it, none of it, or only a part; the age is then cut at the edges into stretches to whom the same regimens
apply.  The one-order engine, the columns and lint use these same bands.
"""

from __future__ import annotations

from itertools import product
from typing import NamedTuple

AGE_FACTS = ("months", "days", "corrected months", "corrected days", "postmenstrual days")
Interval = tuple[int, int]


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
        pieces.append([(a, b - 1) for a, b in zip(cuts, cuts[1:], strict=False)])
    rest = {name: value for name, value in facts.items() if name not in names}
    return [{**rest, **dict(zip(names, piece, strict=True))} for piece in product(*pieces)]


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
