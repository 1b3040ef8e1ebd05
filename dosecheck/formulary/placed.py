"""Faults with their line and column: looked up once there is a fault, never on the way of a check."""

from __future__ import annotations

import re
from functools import lru_cache

from dosecheck.errors import FormularyFault
from dosecheck.formulary.plainly import Place
from dosecheck.formulary.spots import Lines, Spot, spots

_ENTRY = re.compile(r'([a-z ]+) "([^"]*)"')


def placed(fault: FormularyFault, content: bytes, place: Place) -> FormularyFault:
    """With the place of the key, or of the nearest thing around it that stands in the file."""
    line, column = line_and_column(content, place)
    return fault._replace(line=line, column=column)


def line_and_column(content: bytes, place: Place) -> tuple[int, int]:
    """Of the key or entry, or of the nearest thing around it that stands in the file; else its start."""
    found, lines = _spots(content)
    for length in range(len(place), 0, -1):
        if place[:length] in found:
            return lines.at(found[place[:length]].start)
    return 1, 1


def placed_by_id(fault: FormularyFault, content: bytes) -> FormularyFault:
    """For a fault that shows only once a site's changes are in: the entry of that id in the local file."""
    named = _ENTRY.match(fault.entry)
    text = content.decode("utf-8-sig")
    for path, spot in _spots(content)[0].items():
        if named and path[:1] == (named[1].replace(" ", "_"),) and path[2:] == ("id",) and text[spot.value + 1 : spot.end - 1] == named[2]:
            return placed(fault, content, (*path[:2], fault.key) if fault.key else path[:2])
    return placed(fault, content, ())


@lru_cache(maxsize=4)
def _spots(content: bytes) -> tuple[dict[tuple, Spot], Lines]:
    text = content.decode("utf-8-sig")
    return {spot.path: spot for spot in reversed(spots(text))}, Lines(text)
