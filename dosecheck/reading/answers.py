"""A learner's answer: read more mildly than an order, and only for marking.

What an order may not have (a trailing zero, a naked point, an abbreviation that is misread) is read here all the same
and pointed out, so that a right answer badly written is told apart from a wrong one.  What could mean two numbers is
still refused, with what to write instead.
"""

from __future__ import annotations

import re
from fractions import Fraction
from typing import NamedTuple

from dosecheck.errors import TextError
from dosecheck.quantity import Quantity, factor
from dosecheck.reading.amounts import SPELLINGS, explain, unit_of
from dosecheck.reading.numbers import plain

_ANSWER = re.compile(r"(?P<whole>0|[1-9][0-9]{0,11})?(?P<point>\.[0-9]{1,12})? ?(?P<unit>[^0-9.,].*)?")
_SAID = ((" a minute", "/min"), (" per minute", "/min"), (" an hour", "/h"), (" per hour", "/h"), (" a day", "/day"), (" per day", "/day"))
_SHORT = {**dict.fromkeys(("mcg", "µg", "μg", "ug"), "micrograms"), **dict.fromkeys(("IU", "U", "u", "iu"), "units"), "ng": "nanograms"}
EXAMPLE = "213 mg"


class Flaw(NamedTuple):
    """A way of writing that has been misread: a code to sort and choose by, why, and what to write."""

    code: str
    why: str
    write: str


FLAWS = {
    "trailing-zero": "a zero after the point can be read as ten times as much",
    "naked-point": "a point without a zero before it is easily missed",
    "short-unit": "a short form of the unit can be misread",
    "no-space": "a unit run together with the number can be read as a digit",
}


class Written(NamedTuple):
    """`quantity` is None where no unit was written; `unit` is it as written."""

    number: Fraction
    unit: str
    quantity: Quantity | None
    flaws: tuple[Flaw, ...]


def read_answer(text: str, kinds: tuple[str, ...]) -> Written:
    """The number and the unit of an answer; `kinds` are tried first, so that "g" of a child is no gram of a drug.

    Raises:
        TextError: it is no number, or could be two; with what to write instead.
    """
    text = plain(text, "answer", EXAMPLE)
    found = _ANSWER.fullmatch(text)
    if not found or not (found["whole"] or found["point"]):
        raise explain(text, "answer", EXAMPLE)
    number = Fraction((found["whole"] or "0") + (found["point"] or ""))
    unit = found["unit"] or ""
    known = _known(unit, kinds)
    if unit and known is None:
        raise explain(text, "answer", EXAMPLE)
    quantity = Quantity(number * factor(known[1], known[0]), *known) if known else None
    return Written(number, unit, quantity, tuple(_flaws(found, text)))


def read_choice(text: str, allowed: tuple[str, ...]) -> str:
    """One of the words that the question offers.

    Raises:
        TextError: it is none of them.
    """
    word = plain(text, "answer", allowed[0]).lower()
    if word not in allowed:
        raise TextError(text, f"The answer is none of: {', '.join(allowed)}.", f'Write "{allowed[0]}", for example.')
    return word


def _known(unit: str, kinds: tuple[str, ...]) -> tuple[str, str] | None:
    """(kind, unit) as quantity.py has it; of several kinds that have such a unit, the one that is asked for."""
    for said, sign in _SAID:
        unit = unit.removesuffix(said) + sign if unit.endswith(said) else unit
    top, stroke, below = unit.partition("/")
    unit = _SHORT.get(top, top) + stroke + below
    for kind in kinds:
        found = unit_of(unit, (kind.split("/")[0],))
        if found and found[0] == kind:
            return found
    return next(filter(None, (unit_of(unit, (kind,)) for kind in SPELLINGS)), None)


def _flaws(found: re.Match[str], text: str) -> list[Flaw]:
    whole, point, unit = found["whole"] or "", found["point"] or "", found["unit"] or ""
    decimals = point.rstrip("0").rstrip(".")
    top = unit.partition("/")[0]
    safe = (whole or "0") + decimals
    full = f"{_SHORT.get(top, top)}{unit[len(top) :]}"
    better = f'Write "{safe} {full}".' if unit else f'Write "{safe}".'
    codes = {
        "trailing-zero": point != decimals,
        "naked-point": not whole,
        "short-unit": top in _SHORT,
        "no-space": bool(unit) and not text.endswith(f" {unit}"),
    }
    return [Flaw(code, FLAWS[code], better) for code, flawed in codes.items() if flawed]
