"""What a sum is: named fields read strictly, one function, and an answer with its working and its sources.

A sum checks no order.  It ends "reckoned", "query" (something about the figures is doubtful: look again) or
"not-checked" (the formula does not cover this: no result at all, or only those of the part that is covered).  The sums themselves are in the other modules of
this folder, `listing.py` finds them by name, and `dosecheck sum` prints any of them.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from difflib import get_close_matches
from fractions import Fraction
from typing import Any, NamedTuple

from dosecheck.body.age import Age, age_from_parts, say_age
from dosecheck.errors import DosecheckError, Fault, InputError, TextError
from dosecheck.quantity import Quantity
from dosecheck.reading import AgeParts, is_missing
from dosecheck.reading.figures import Share
from dosecheck.records import NOT_CHECKED, QUERY
from dosecheck.showing import show, show_number, show_share, show_weight
from dosecheck.working import Step

RECKONED = "reckoned"
_EXAMPLE = re.compile('Write it as "[^"]*"\\.')  # a reader's own example gives way to the field's
CAUTION = (
    "Arithmetic to be checked by a second person, not a prescription: the prescriber decides, local guidance comes "
    "first, and giving medicines is for those licensed to."
)


_HEADLINES = {
    RECKONED: "A sum alone: no order was checked.",
    QUERY: "QUERY: look again before using these figures. A sum alone: no order was checked.",
    NOT_CHECKED: "NOT RECKONED: the formula does not cover this.",
}
_IN_PART = "NOT CHECKED: only a part of this is covered. A sum alone: no order was checked."


class NotCovered(DosecheckError):
    """The formula does not cover what was asked; the text says why, and what to do instead."""


class Field(NamedTuple):
    """One input: `read` turns its text into a value or raises TextError; an `example` is how a user writes it."""

    name: str
    read: Callable[[str], Any]
    example: str
    help: str
    needed: bool = True
    many: bool = False  # may be given several times; the value is then a tuple


class Result(NamedTuple):
    """One figure of the answer.  `down`: the most that is allowed, so never rounded up when shown."""

    name: str
    value: Quantity | Fraction | int | str
    note: str = ""
    down: bool = False

    @property
    def text(self) -> str:
        if isinstance(self.value, Quantity):
            return show(self.value, self.down)
        return self.value if isinstance(self.value, str) else show_number(self.value, self.down)


class Doubt(NamedTuple):
    """Why to look again before using the figures, with a code to sort and test by."""

    code: str
    text: str


class Answer(NamedTuple):
    """What a sum's function returns.  `open`: what of the question is not covered, where the rest is; "" when all is."""

    results: tuple[Result, ...]
    steps: tuple[Step, ...]
    doubts: tuple[Doubt, ...] = ()
    notes: tuple[str, ...] = ()
    sources: tuple[str, ...] = ()
    open: str = ""


class Sum(NamedTuple):
    """One sum.  `reckon` takes the values of its fields by name (and `formulary` where `by_formulary`).

    It may raise InputError (values that contradict each other) or NotCovered.
    """

    title: str
    fields: tuple[Field, ...]
    reckon: Callable[..., Answer]
    by_formulary: bool = False


class Reckoned(NamedTuple):
    """A sum's answer as every door shows it."""

    name: str
    title: str
    outcome: str
    understood: dict[str, str]
    answer: Answer
    not_covered: str
    formulary: dict[str, str]
    caution: str = CAUTION

    @property
    def headline(self) -> str:
        """What the figures are, and are not."""
        return _IN_PART if self.answer.open else _HEADLINES[self.outcome]

    def as_dict(self) -> dict[str, Any]:
        """The JSON of the answer; every amount is text with its unit."""
        answer = self.answer
        return {
            "sum": self.name,
            "title": self.title,
            "outcome": self.outcome,
            "results": [{"name": r.name, "value": r.text, "note": r.note} for r in answer.results],
            "not_covered": self.not_covered,
            "doubts": [doubt._asdict() for doubt in answer.doubts],
            "working": [step.text for step in answer.steps],
            "notes": list(answer.notes),
            "sources": list(answer.sources),
            "formulary": self.formulary,
            "understood": self.understood,
            "caution": self.caution,
        }


def work_out(name: str, asked: Sum, texts: Mapping[str, Any], formulary: Any = None) -> Reckoned:
    """Reads the texts of a sum's fields, reckons, and says how it ended.

    Raises:
        InputError: a field that is unknown, missing or cannot be read, every one at once; or values that contradict each other.
    """
    values = _read(asked, texts)
    reckoned = answered(name, asked, values, formulary)
    doubt = None if asked.by_formulary or reckoned.outcome == NOT_CHECKED else _weight_doubt(values)
    if doubt is None:
        return reckoned
    return reckoned._replace(outcome=QUERY, answer=reckoned.answer._replace(doubts=(doubt, *reckoned.answer.doubts)))


def answered(name: str, asked: Sum, values: dict[str, Any], formulary: Any = None) -> Reckoned:
    """The same from values already read, one for each of the sum's fields (None where it is not told).

    Whether the weight is believable is left to whoever knows the child; `work_out` asks it of the weight and age alone.
    """
    if asked.by_formulary:
        values = {**values, "formulary": formulary}
    about = formulary.about() if asked.by_formulary else {}
    understood = {field.name: _said(values[field.name]) for field in asked.fields if values.get(field.name) is not None}
    try:
        answer = asked.reckon(**values)
    except NotCovered as error:
        return Reckoned(name, asked.title, NOT_CHECKED, understood, Answer((), ()), str(error), about)
    outcome = NOT_CHECKED if answer.open else QUERY if answer.doubts else RECKONED
    return Reckoned(name, asked.title, outcome, understood, answer, answer.open, about)


def _weight_doubt(values: Mapping[str, Any]) -> Doubt | None:
    """About the weight as such, for every sum that is given one; a sum by the formulary asks the formulary's own policy."""
    weight = values.get("weight")
    if weight is None:
        return None
    from dosecheck.sums.weighed import weight_doubt  # with the growth tables, which only a weight needs

    text = weight_doubt(weight, values.get("age"))
    return Doubt("weight-hard-to-believe", text) if text else None


def _read(asked: Sum, texts: Mapping[str, Any]) -> dict[str, Any]:
    fields = {field.name: field for field in asked.fields}
    faults = [_unknown(name, fields) for name in texts if name not in fields]
    values: dict[str, Any] = {}
    for name, field in fields.items():
        text = texts.get(name)
        if is_missing(text) or text == ():
            values[name] = None
            faults += [Fault(name, "", "It is missing.", f'Write it as "{field.example}".')] if field.needed else []
            continue
        try:
            values[name] = tuple(map(field.read, text)) if field.many else field.read(text)
        except TextError as error:
            write = f'Write it as "{field.example}".' if _EXAMPLE.fullmatch(error.write) else error.write
            faults.append(Fault(name, error.given, error.why, write))
    if faults:
        raise InputError(faults)
    return values


def _unknown(name: str, fields: Mapping[str, Field]) -> Fault:
    near = get_close_matches(name, fields, 1)
    return Fault(name, "", "This sum has no such field.", f'Did you mean "{near[0]}"?' if near else f"It has: {', '.join(fields)}.")


def _said(value: Any) -> str:
    if isinstance(value, tuple) and not hasattr(value, "_fields"):
        return "; ".join(map(_said, value))
    if isinstance(value, Share):
        return show_share(value)
    if isinstance(value, AgeParts):
        value = age_from_parts(**value._asdict())
    if isinstance(value, Age):
        return say_age(value)
    if isinstance(value, Quantity) and value.kind == "weight":
        return show_weight(value)
    return Result("", value).text if isinstance(value, (Quantity, Fraction, int, str)) else str(value)


def one_of(**values: Any) -> str:
    """The name of the one value that was given.

    Raises:
        InputError: none of them, or more than one.
    """
    given = [name for name, value in values.items() if value is not None]
    if len(given) != 1:
        why = "None of them is given." if not given else f"{' and '.join(given)} are given together."
        raise InputError([Fault(" or ".join(values), "", why, "Write one of them alone.")])
    return given[0]


def rounded(value: Quantity, step: Quantity, down: bool = False) -> Quantity:
    """To the nearest whole `step` (a half goes up), or down to it; shown in the step's unit."""
    steps = value.value / step.value + (0 if down else Fraction(1, 2))
    return Quantity(steps.numerator // steps.denominator * step.value, step.kind, step.unit)
