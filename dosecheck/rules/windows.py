"""Doses on a line of time, and what any 24 hours of it hold: totals, counts, gaps.  Whole numbers and fractions only.

Times are seconds, now is 0.  A window of length W that ends at t is half-open: a dose exactly W before t is outside.
A dose told as a range of times ("4 to 5 hours ago") is anywhere in it, so it counts in every window that its range
touches, and the gap after it runs from the range's end.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from fractions import Fraction
from typing import NamedTuple

DAY = 86_400
Seconds = Fraction | int


class Timed(NamedTuple):
    """One dose: given at some moment from `first` to `last`; `amount` in base units, None where it cannot be known."""

    first: Seconds
    last: Seconds
    amount: Fraction | int | None


class Window(NamedTuple):
    """The doses that may lie in the window that ends at `end`."""

    end: Seconds
    doses: tuple[Timed, ...]

    @property
    def total(self) -> Fraction:
        """Of the amounts that are known."""
        return Fraction(sum(dose.amount for dose in self.doses if dose.amount is not None))


def window(doses: Iterable[Timed], end: Seconds, length: Seconds | None) -> Window:
    """What the window that ends at `end` may hold; `length` None reaches back over everything told."""
    return Window(end, tuple(d for d in doses if d.first <= end and (length is None or d.last > end - length)))


def windows(doses: Sequence[Timed], length: Seconds | None) -> list[Window]:
    """One window for each moment at which what it holds can grow; no other window holds more."""
    return [window(doses, end, length) for end in sorted({dose.first for dose in doses})]


def worst_total(doses: Sequence[Timed], length: Seconds | None) -> Window | None:
    """The window with the largest total (the latest of them); None without doses."""
    return max(windows(doses, length), key=lambda w: (w.total, w.end), default=None)


def last_given(doses: Iterable[Timed]) -> Seconds | None:
    """When the latest dose may have been given at the latest."""
    return max((dose.last for dose in doses), default=None)


def moments_of_change(doses: Iterable[Timed], lengths: Iterable[Seconds], gaps: Iterable[Seconds]) -> list[Seconds]:
    """Now, and every later moment at which a window lets a dose go or a gap ends: the only candidates for a next dose."""
    doses = list(doses)
    last = last_given(doses)
    later = {dose.last + length for dose in doses for length in lengths}
    later |= {last + gap for gap in gaps} if last is not None else set()
    return [0, *sorted(moment for moment in later if moment > 0)]
