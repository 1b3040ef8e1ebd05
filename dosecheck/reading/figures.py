"""Figures that only sums read: plain numbers, shares, rates of flow and drops, words of a short list."""

from __future__ import annotations

import re
from collections.abc import Callable
from fractions import Fraction

from dosecheck.errors import TextError
from dosecheck.quantity import Quantity
from dosecheck.reading.amounts import read_amount, read_strength
from dosecheck.reading.numbers import NUMBER, plain


def read_number(text: str, what: str = "number", example: str = "2.5") -> Fraction:
    """A plain number above zero, without a unit."""
    text = plain(text, what, example)
    if not re.fullmatch(NUMBER, text) or Fraction(text) == 0:
        raise TextError(text, f"The {what} is no plain number above zero.", f'Write it as "{example}".')
    return Fraction(text)


def read_whole(text: str, what: str = "number", example: str = "3") -> int:
    """A whole number above zero, without a unit."""
    number = read_number(text, what, example)
    if number.denominator != 1:
        raise TextError(text, f"The {what} is no whole number.", f'Write it as "{example}".')
    return int(number)


class Share(Fraction):
    """A part of a whole, shown in per cent; what is reckoned with it is a plain number."""


def read_percent(text: str, what: str = "share", example: str = "8 %") -> Share:
    """A share of the whole, above 0 % and at most 100 %: "8 %" is 8/100."""
    text = plain(text, what, example)
    match = re.fullmatch(rf"({NUMBER}) ?%", text)
    if not match:
        raise TextError(text, f'The {what} is no number with "%".', f'Write it as "{example}".')
    share = Share(Fraction(match.group(1)) / 100)
    if not 0 < share <= 1:
        raise TextError(text, f"The {what} is not above 0 % and at most 100 %.", f'Write it as "{example}".')
    return share


def read_solution(text: str) -> Quantity:
    """What a volume holds: "24 mg/mL", "50 units in 50 mL", "0.9 %", "1 in 1000", "2 mEq/mL"."""
    if isinstance(text, str) and "mEq" in text:
        return reader_of(("charge/volume",), "strength", "2 mEq/mL")(text)
    strength = read_strength(text)
    if not strength.kind.endswith("/volume"):
        raise TextError(text, "It is what one counted thing holds, and a volume is needed here.", 'Write it as "24 mg/mL".')
    return strength


def reader_of(kinds: tuple[str, ...], what: str, example: str) -> Callable[[str], Quantity]:
    """A reader of amounts of exactly these kinds, such as ("volume/time",) or ("mass/time/weight", "mass/weight")."""
    tops = tuple(dict.fromkeys(kind.split("/")[0] for kind in kinds))

    def read(text: str) -> Quantity:
        amount = read_amount(text, tops, what, example)
        if amount.kind not in kinds:
            raise TextError(str(text), f'"{amount.unit}" is not a unit of a {what}.', f'Write it as "{example}".')
        return amount

    return read


def word_of(allowed: tuple[str, ...], what: str) -> Callable[[str], str]:
    """A reader of one word of a short list."""

    def read(text: str) -> str:
        word = " ".join(plain(text, what, allowed[0]).lower().split())
        if word not in allowed:
            near = " or ".join(f'"{name}"' for name in allowed if word in name) or f'"{allowed[0]}", for example'
            raise TextError(text, f"It is none of {', '.join(allowed)}.", f"Write {near}.")
        return word

    return read
