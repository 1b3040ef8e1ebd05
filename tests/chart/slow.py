"""A slow, obvious second reckoning of what any 24 hours hold: minute by minute, lists and loops, nothing shared."""

from __future__ import annotations

from typing import NamedTuple

DAY = 24 * 60


class Slow(NamedTuple):
    """One dose: given at every minute from `first` to `last` as far as anybody knows; now is minute 0."""

    first: int
    last: int
    amount: int


def may_hold(doses: list[Slow], end: int, length: int = DAY) -> list[Slow]:
    """The doses that some minute of (end - length, end] may hold."""
    minutes = set(range(end - length + 1, end + 1))
    return [dose for dose in doses if any(minute in minutes for minute in range(dose.first, dose.last + 1))]


def worst(doses: list[Slow], start: int, stop: int) -> tuple[int, int]:
    """(largest total, largest count) of all windows that end at a minute from `start` to `stop`."""
    held = [may_hold(doses, end) for end in range(start, stop + 1)]
    return max(sum(dose.amount for dose in each) for each in held), max(map(len, held))


def gap(doses: list[Slow]) -> int:
    """Minutes since the latest that any dose may have been given."""
    return min(-dose.last for dose in doses)


def next_minute(doses: list[Slow], dose: int, shortest: int, most: int, total: int) -> int:
    """The first minute from now at which `dose` keeps the gap, the number and the total; tried one after the other."""
    minute = 0
    while True:
        held = may_hold(doses, minute)
        in_time = all(minute - before.last >= shortest for before in doses)
        if in_time and len(held) < most and sum(before.amount for before in held) + dose <= total:
            return minute
        minute += 1
