"""Marks one answer: the number with its unit, the way it is written, and which mistake it was.

The right amount in any right unit is right, however it is spelt; the right number with a wrong unit, or with none, is a
result of its own and not right.  Writing that has been misread is pointed out even where the answer is right.
"""

from __future__ import annotations

from collections.abc import Container
from fractions import Fraction
from typing import Any, NamedTuple

from dosecheck.drill.diagnose import Diagnosis, diagnose
from dosecheck.drill.question import Question
from dosecheck.errors import TextError
from dosecheck.quantity import Quantity, factor
from dosecheck.reading.answers import Flaw, Written, read_answer, read_choice
from dosecheck.rules.codes import times_in_words
from dosecheck.showing import show, show_number, show_unit

RIGHT, UNIT_MISSING, UNIT_WRONG, WRONG, UNREADABLE = "right", "unit-missing", "unit-wrong", "wrong", "unreadable"
RESULTS = (RIGHT, UNIT_MISSING, UNIT_WRONG, WRONG, UNREADABLE)
_NO_SLIP = "No known slip gives this: go through the working."


_HEADLINES = {
    "right": "RIGHT.",
    "unit-missing": "NOT RIGHT: the unit is missing.",
    "unit-wrong": "NOT RIGHT: the unit is wrong.",
    "wrong": "NOT RIGHT.",
    "unreadable": "NOT MARKED: this answer cannot be read. Write it again.",
}


class Mark(NamedTuple):
    """`read` is the answer as it was understood; `said` what to tell the learner, in whole sentences.

    An unreadable answer is no wrong one: it may be written again.
    """

    result: str
    read: str
    said: tuple[str, ...]
    flaws: tuple[Flaw, ...] = ()
    diagnosis: Diagnosis = Diagnosis(())

    @property
    def right(self) -> bool:
        return self.result == RIGHT

    @property
    def headline(self) -> str:
        return _HEADLINES[self.result]

    def as_dict(self) -> dict[str, Any]:
        return {
            "result": self.result,
            "right": self.right,
            "read": self.read,
            "said": list(self.said),
            "writing": [flaw._asdict() for flaw in self.flaws],
            "slips": [list(names) for names in self.diagnosis.slips],
        }


def mark(question: Question, text: str, overlook: Container[str] = ()) -> Mark:
    """Args: overlook: codes of `reading.answers.FLAWS` that local practice does not point out, such as "short-unit"."""
    try:
        if isinstance(question.answer, str):
            return _choice(question, read_choice(text, tuple(choice.word for choice in question.choices)))
        written = read_answer(text, (question.answer.kind,))
    except TextError as error:
        return Mark(UNREADABLE, error.given, (str(error),))
    flaws = tuple(flaw for flaw in written.flaws if flaw.code not in overlook)
    return _amount(question, written)._replace(flaws=flaws)


def _choice(question: Question, word: str) -> Mark:
    if word == question.answer:
        return Mark(RIGHT, word, ("Right.",))
    says = next(choice.says for choice in question.choices if choice.word == word)
    return Mark(WRONG, word, ("Not right.", f"The answer is {question.answer}.", *([says] if says else [])))


def _amount(question: Question, written: Written) -> Mark:
    quantity, answer = written.quantity, question.answer
    in_asked_unit = written.number * factor(answer.unit, answer.kind)
    if quantity is not None and quantity.kind == answer.kind:
        if question.is_right(quantity.value):
            return Mark(RIGHT, show(quantity), ("Right.",))
        if question.is_right(in_asked_unit):
            return Mark(UNIT_WRONG, show(quantity), (_other_unit(question, quantity),))
        return _wrong(question, quantity.value, show(quantity), ())
    number = show_number(written.number)
    if quantity is None:
        missing = f'A unit is missing: write "{number} {show_unit(answer.unit, written.number)}".'
        if question.is_right(in_asked_unit):
            return Mark(UNIT_MISSING, number, (f"The number is right. {missing}",))
        return _wrong(question, in_asked_unit, number, ("There is no unit either: a number alone is no answer.",))
    kind = f"The answer is in {show_unit(answer.unit)}, and {show(quantity)} is no such amount."
    if question.is_right(in_asked_unit):
        return Mark(UNIT_WRONG, show(quantity), (f"The number is right, the unit is not. {kind}",))
    return _wrong(question, in_asked_unit, show(quantity), (kind,))


def _other_unit(question: Question, quantity: Quantity) -> str:
    ratio = quantity.value / question.answer.value
    size = f"{times_in_words(ratio)} the answer" if ratio > 1 else f"{times_in_words(1 / ratio)} too small"
    return f"The number is right, the unit is not: {show(quantity)} is {size}."


def _wrong(question: Question, value: Fraction, read: str, said: tuple[str, ...]) -> Mark:
    found = diagnose(question, value) if value else Diagnosis(())
    clauses = found.sentences
    if len(clauses) > 1:
        told = (f"{read}: more than one slip gives this.", *(f"{clause[0].upper()}{clause[1:]}." for clause in clauses))
    else:
        told = tuple(f"{read}: {clause}." for clause in clauses) or (_NO_SLIP,)
    return Mark(WRONG, read, ("Not right.", *said, *told), (), found)
