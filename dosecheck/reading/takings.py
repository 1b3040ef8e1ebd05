"""What is taken of an inhaled medicine in a steady day: how much each time, and how often."""

from __future__ import annotations

import re
from typing import NamedTuple

from dosecheck.errors import TextError
from dosecheck.quantity import UNITS, Quantity
from dosecheck.reading.amounts import read_amount
from dosecheck.reading.numbers import NUMBER, plain
from dosecheck.reading.times import read_frequency


class Taking(NamedTuple):
    """What is taken in a day: (one dose, how many times), in the order in which it is said."""

    parts: tuple[tuple[Quantity, int], ...]
    text: str

    def __str__(self) -> str:
        return self.text

    @property
    def a_day(self) -> Quantity:
        """All of it added up: "2 puffs twice a day" is 4 puffs."""
        first, *rest = (dose * times for dose, times in self.parts)
        return sum(rest, first)


_TAKING = re.compile(rf"({NUMBER} ?[a-zA-Zµμ]+) (.+)")
_PARTS_OF_DAY = ("in the morning", "at noon", "in the afternoon", "in the evening", "at night", "at bedtime")
_TAKING_EXAMPLE = "2 puffs twice a day"


def read_taking(text: str) -> Taking:
    """A steady day of an inhaled medicine, in puffs or in amounts, never in both.

    "2 puffs twice a day", "1 puff every 12 hours", "2 puffs in the morning and 1 puff in the evening", "0.5 mg once a day".
    """
    text = plain(text, "dose", _TAKING_EXAMPLE)
    parts = tuple(_taking_part(part, text) for part in re.split(r",? and |, ", text))
    if len({dose.kind for dose, _ in parts}) > 1:
        raise TextError(text, "It adds puffs to amounts.", f'Write it as "{_TAKING_EXAMPLE}".')
    return Taking(parts, text)


def _taking_part(part: str, text: str) -> tuple[Quantity, int]:
    found = _TAKING.fullmatch(part)
    if not found or found.group(1).endswith("to"):
        raise TextError(text, "It does not say one dose and how often.", f'Write it as "{_TAKING_EXAMPLE}".')
    dose = read_amount(found.group(1), ("puff", "mass"), "dose", "2 puffs")
    if dose.kind == "puff" and dose.value.denominator != 1:
        raise TextError(text, "A puff cannot be parted.", f'Write it as "{_TAKING_EXAMPLE}".')
    return dose, 1 if found.group(2) in _PARTS_OF_DAY else _times_a_day(found.group(2), text)


def _times_a_day(often: str, text: str) -> int:
    try:
        frequency = read_frequency(often)
    except TextError:
        raise TextError(text, f'How often, "{often}", is not understood.', 'Write it out: "once a day", "every 12 hours".') from None
    if frequency.times:
        return frequency.times
    gap = frequency.gap
    day = UNITS["time"]["days"]
    if not gap or gap[0] != gap[1] or (day / gap[0]).denominator != 1:
        raise TextError(text, "It does not come to a whole number of times a day.", f'Write it as "{_TAKING_EXAMPLE}".')
    return int(day / gap[0])
