"""One figure as it can be compared: what it means exactly, and which way of changing it lets more orders pass."""

from __future__ import annotations

from fractions import Fraction
from typing import Any, NamedTuple

LOOSENED, CHANGED, TIGHTENED, WORDING = "loosened", "changed", "tightened", "wording"
DIRECTIONS = (LOOSENED, CHANGED, TIGHTENED, WORDING)
OPPOSITE = {LOOSENED: TIGHTENED, TIGHTENED: LOOSENED, CHANGED: CHANGED, WORDING: WORDING}

# The senses of a figure: the higher the looser, the higher the tighter, the more the looser, the more the tighter,
# the wider the looser; neither is known; no figure at all.
MOST, LEAST, ALLOWED, DEMANDED, BAND, OTHER, TEXT = "most", "least", "allowed", "demanded", "band", "other", "text"
# What says whom a rule concerns: left out, it concerns everybody.  Everybody below a bound, or all that are named.
BELOW, CONCERNED = "below", "concerned"
ANY = frozenset({"any"})  # for ALLOWED: nothing is excluded


class Figure(NamedTuple):
    """`value`: (kind, exact number) for MOST and LEAST, a frozenset for ALLOWED and DEMANDED, bands for BAND, else anything.

    `text`: as the file has it.
    """

    sense: str
    value: Any
    text: str


def compare(before: Figure | None, after: Figure | None) -> tuple[str, Fraction | None] | None:
    """(direction, new / old where both are numbers of one kind), or None where nothing changed in meaning."""
    known = before or after
    if before is None or after is None:
        gone = after is None
        return _one_sided(known.sense, gone), None
    if before.value == after.value:
        return None if before.text == after.text or known.sense != TEXT else (WORDING, None)
    if known.sense in (MOST, LEAST, BELOW):
        return _by_size(known.sense, before.value, after.value)
    if known.sense == BAND:
        return _by_bands(before.value, after.value), None
    if known.sense in (ALLOWED, DEMANDED, CONCERNED):
        return _by_set(known.sense, before.value, after.value), None
    return (WORDING if known.sense == TEXT else CHANGED), None


def _one_sided(sense: str, gone: bool) -> str:
    """A limit that goes loosens, one that comes tightens; with a rule's own bounds it is the other way round."""
    if sense in (OTHER, TEXT):
        return CHANGED if sense == OTHER else WORDING
    return LOOSENED if gone != (sense in (BELOW, CONCERNED)) else TIGHTENED


def _by_size(sense: str, before: tuple[str, Fraction], after: tuple[str, Fraction]) -> tuple[str, Fraction | None]:
    if before[0] != after[0]:
        return CHANGED, None
    ratio = Fraction(after[1]) / before[1] if before[1] else None
    return (LOOSENED if (after[1] > before[1]) == (sense == MOST) else TIGHTENED), ratio


def _by_bands(before: tuple, after: tuple) -> str:
    """Bands are (fact, low, high), one a fact; a fact without a band holds everybody."""
    old, new = {band[0]: band[1:] for band in before}, {band[0]: band[1:] for band in after}
    wider = all(fact in old and _holds(old[fact], new[fact]) for fact in new)
    narrower = all(fact in new and _holds(new[fact], old[fact]) for fact in old)
    return LOOSENED if wider and not narrower else TIGHTENED if narrower and not wider else CHANGED


def _holds(inner: tuple, outer: tuple) -> bool:
    low = outer[0] is None or (inner[0] is not None and outer[0] <= inner[0])
    high = outer[1] is None or (inner[1] is not None and outer[1] >= inner[1])
    return low and high


def _by_set(sense: str, before: frozenset, after: frozenset) -> str:
    if sense == ALLOWED and ANY in (before, after):
        return LOOSENED if after == ANY else TIGHTENED
    more, fewer = after > before, after < before
    if not more and not fewer:
        return CHANGED
    return LOOSENED if more == (sense == ALLOWED) else TIGHTENED


def number(kind: str, value: Fraction | int) -> tuple[str, Fraction]:
    return kind, Fraction(value)
