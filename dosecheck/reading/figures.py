"""Figures that only sums read: plain numbers, shares, rates of flow and drops, words of a short list."""

from __future__ import annotations

import re
from collections.abc import Callable
from difflib import get_close_matches
from fractions import Fraction

from dosecheck.errors import TextError
from dosecheck.quantity import Quantity
from dosecheck.reading.amounts import read_amount, read_strength
from dosecheck.reading.numbers import NUMBER, a, plain


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


_RATIO = re.compile(r"1 ?(?:in |: ?)([1-9][0-9]{0,6}|[1-9][0-9]{0,2}(?:,[0-9]{3})+)")


def _plain_ratio(text: str) -> str:
    """ "1:10,000" and "1 in 10,000" as "1 in 10000", which is how `read_strength` has it.

    Raises:
        TextError: so strong a ratio with a colon may be meant in parts: one part of stock and so many of diluent.
    """
    found = _RATIO.fullmatch(text.strip()) if isinstance(text, str) else None
    if not found:
        return text
    number = found.group(1).replace(",", "")
    if ":" in text and int(number) < 100:
        raise TextError(
            text, "It may mean parts of two fluids, or g in mL.", f'Write it as "1 in {number}" (1 g in {number} mL), or in mg/mL.'
        )
    return f"1 in {number}"


def read_solution(text: str) -> Quantity:
    """What a volume holds: "24 mg/mL", "50 units in 50 mL", "0.9 %", "1 in 1000", "1:10,000", "2 mEq/mL"."""
    text = _plain_ratio(text)
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
            raise TextError(str(text), f'"{amount.unit}" is not a unit of {a(what)}.', f'Write it as "{example}".')
        return amount

    return read


def word_of(allowed: tuple[str, ...], what: str) -> Callable[[str], str]:
    """A reader of one word of a short list."""

    def read(text: str) -> str:
        word = " ".join(plain(text, what, allowed[0]).lower().split())
        if word in allowed:
            return word
        british = word.replace("sulph", "sulf")
        if british in allowed:
            return british
        near = [name for name in allowed if british in name] or get_close_matches(british, allowed, 3)
        write = " or ".join(f'"{name}"' for name in near) or "one of them in full"
        raise TextError(text, f"It is none of {', '.join(allowed)}.", f"Write {write}.")

    return read
