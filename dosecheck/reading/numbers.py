"""What every text goes through first: hidden characters, place-holders, sheer length, and why a number is none."""

from __future__ import annotations

import re
from decimal import Decimal
from fractions import Fraction
from typing import Any

from dosecheck.errors import TextError

NUMBER = r"(?:0|[1-9][0-9]{0,11})(?:\.[0-9]{1,12})?"
MISSING = frozenset({"", "-", "--", "?", "n/a", "na", "nan", "none", "null", "nil", "unknown", "not known", "tbc", "tba"})
_VISIBLE = frozenset(map(chr, range(32, 127))) | set("µμ²")


def is_missing(text: str | None) -> bool:
    """Blank texts and place-holders such as "n/a" or "?" count as not given, in every field."""
    return text is None or (isinstance(text, str) and text.strip().lower() in MISSING)


def strange_characters(text: str) -> str | None:
    """Names the first hidden or foreign character by its code, or None."""
    for char in text:
        if char not in _VISIBLE:
            return f"it holds the character U+{ord(char):04X}, which is hidden or foreign."
    return None


def number_given(value: object) -> str:
    """A bare number for a message; Python refuses to print one of thousands of digits."""
    return str(value) if isinstance(value, (int, float)) and abs(value) < 10**12 else ""


def short_text(text: str, what: str, example: str) -> str:
    """The text itself, or a TextError when it is none (a bare number has no unit) or is of sheer length."""
    if not isinstance(text, str):
        raise TextError(number_given(text), f"The {what} is a bare {type(text).__name__}, not text.", f'Write "{example}".')
    if len(text) > 200:
        raise TextError(ascii(text[:40])[1:-1] + " ...", f"The {what} has {len(text)} characters.", f'Write it as "{example}".')
    return text


def plain(text: str, what: str, example: str) -> str:
    """The text without outer spaces, or a TextError for hidden characters, missing text and sheer length."""
    strange = strange_characters(short_text(text, what, example))
    if strange:
        raise TextError(ascii(text)[1:-1], f"The {what} cannot be read: {strange}", f'Type it again: "{example}".')
    if is_missing(text):
        raise TextError(text.strip(), f"The {what} is missing.", f'Write "{example}".')
    return " ".join(text.split())


_NUMBER_FAULTS = (
    (
        r"([0-9]+)\.([0-9]{3}) or \1\2",  # so is it handed on from a file whose decimals have a comma
        "has a point that may be a thousands mark or a decimal point.",
        "Write thousands without a mark (1000), and a fourth digit after three decimals (1.2340).",
    ),
    (
        r"[0-9]\.[0-9]+,[0-9]",
        "has a point and a comma, and either may be a thousands mark.",
        "Write thousands without a mark (1000) and decimals with a point (1.5).",
    ),
    (
        r"[0-9],[0-9]{3}(?![0-9])",
        "has a comma, which may be a thousands mark or a decimal comma.",
        "Write thousands without a mark (1000) and decimals with a point (1.5).",
    ),
    (r"[0-9],[0-9]", "has a comma.", "Write the decimal with a point: 1.5."),
    (r"[0-9] [0-9]", "has a space inside the number.", "Write it without the space: 1000."),
    (r"(?<![0-9.])\.[0-9]", "starts with a point, which is easily missed.", "Write the zero: 0.5."),
    (r"(?<![0-9.])0[0-9]", "starts with a needless zero.", "Write the number without it."),
    (r"[0-9][eE][+-]?[0-9]", "is in exponent form.", "Write the number out: 1000."),
    (r"[0-9]_[0-9]", "has a mark inside the number.", "Write the digits alone."),
    (r"^\s*[-+]", "has a sign.", "Write the number without a sign; it must be above zero."),
    (r"[0-9OolI]*[0-9][OolI]|[OolI][0-9]", "mixes letters and digits.", "Look for the letter O or l where 0 or 1 is meant."),
    (r"^\s*[~<>=]|\?|about|approx", "is not exact.", 'Write one figure, or a range: "2 to 4 ...".'),
    (r"[0-9]\s*/\s*[0-9]", "is a fraction.", "Write it as a decimal: 0.5."),
    (r"[0-9]{13,}", "has more than 12 digits.", "Look at the number again."),
    (r"[0-9]\s*-\s*[0-9]", "has a dash, which may be read as a minus.", 'Write a range with "to".'),
)


def a(what: str) -> str:
    """ "a dose", "an amount": the words of a message with their article."""
    return f"{'an' if what[:1] in 'aeiou' else 'a'} {what}"


def number_fault(text: str, what: str) -> TextError | None:
    """The first thing that makes the number doubtful, in the order of what misleads most; None if it is another matter."""
    for pattern, why, write in _NUMBER_FAULTS:
        if re.search(pattern, text):
            return TextError(text, f"The {what} {why}", write)
    return None


def read_reference(text: str | None) -> str:
    """What a child is called in a record: "SM-001".  Letters of any alphabet, at most 40 characters, nothing hidden."""
    write = 'Write it as "SM-001".'
    if is_missing(text):
        raise TextError("", "The reference of the child is missing.", write)
    short_text(text, "reference of the child", "SM-001")
    hidden = next((char for char in text if not char.isprintable()), None)
    if hidden is not None:
        raise TextError(ascii(text[:40])[1:-1], f"It holds the hidden character U+{ord(hidden):04X}.", "Type it again.")
    name = " ".join(text.split())
    if len(name) > 40:
        raise TextError(f"{name[:40]} ...", f"It has {len(name)} characters, and 40 fit.", write)
    return name


def read_z(text: str) -> Decimal:
    """A z-score, -9.9 to 9.9 with at most one decimal: "-4", "3.5".  It has no unit: it counts standard deviations."""
    body = plain(text, "z-score", "-4")
    if not re.fullmatch(r"-?[0-9](?:\.[1-9])?", body) or body == "-0":
        raise TextError(body, "It is not a z-score from -9.9 to 9.9 with at most one decimal.", 'Write it as "-4" or "3.5".')
    return Decimal(body)


def pint_text(quantity: Any) -> str:
    """A pint quantity as the text that we would read, so that it goes through the same strict door.

    Raises:
        TextError: its number is a binary float, or does not end as a decimal.
    """
    number, units = quantity.magnitude, str(quantity.units).replace(" / ", "/").replace(" ** 2", "2")
    if isinstance(number, float) or not isinstance(number, (int, Decimal, Fraction)):
        raise TextError(
            str(number),
            "The number is a binary float, which is not exact.",
            'Use pint.UnitRegistry(non_int_type=Decimal), or text such as "14.2 kg".',
        )
    exact = Fraction(number)
    digits = f"{exact.numerator * 10**12 // exact.denominator:013d}"
    if Fraction(int(digits), 10**12) != exact:
        raise TextError(str(number), "The number does not end within 12 decimals.", "Write it as text.")
    decimals = digits[-12:].rstrip("0")
    return f"{digits[:-12]}{'.' * bool(decimals)}{decimals} {units}"
