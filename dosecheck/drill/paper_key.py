"""What a teacher marks a paper by: the answer as a learner would write it, what else is right, and the usual wrong answers."""

from __future__ import annotations

from collections.abc import Iterator
from fractions import Fraction
from typing import Any, NamedTuple

from dosecheck.drill.diagnose import diagnose, written
from dosecheck.drill.paper import Paper
from dosecheck.drill.pool import plain_text
from dosecheck.drill.question import Question, Trap
from dosecheck.quantity import Quantity, factor
from dosecheck.showing import show_number, show_unit

POWERS = ("tenfold", "hundredfold", "thousandfold")
_ROUNDED, _EXACT = 4, 6  # figures of a number that a learner would still write


class WrongAnswer(NamedTuple):
    """A usual wrong answer and each slip that gives it; for a question of choice a wrong word."""

    answer: str
    slips: tuple[str, ...]
    says: tuple[str, ...]


class KeyEntry(NamedTuple):
    """accepted: the amounts that are right, in words; "" where only the answer itself is."""

    number: int
    question: Question
    answer: str
    accepted: str
    wrong: tuple[WrongAnswer, ...]

    def as_dict(self) -> dict[str, Any]:
        wrong = [{"answer": one.answer, "slips": list(one.slips), "says": list(one.says)} for one in self.wrong]
        lesson = self.question.lesson() | {"answer": self.answer}
        return {"number": self.number, "id": self.question.id, **lesson, "accepted": self.accepted, "wrong": wrong}


def key_of(paper: Paper) -> tuple[KeyEntry, ...]:
    return tuple(_entry(number, question) for number, question in enumerate(paper.questions, 1))


def _entry(number: int, question: Question) -> KeyEntry:
    if isinstance(question.answer, str):
        others = (choice for choice in question.choices if choice.word != question.answer)
        wrong = tuple(WrongAnswer(choice.word, (), (choice.says,) if choice.says else ()) for choice in others)
        return KeyEntry(number, question, question.answer, "", wrong)
    return KeyEntry(number, question, question.shown_answer.replace(",", ""), _accepted(question), tuple(_wrong(question)))


def _accepted(question: Question) -> str:
    """ "from 130.9 mg to 132.2 mg": the ends are rounded inwards, so that all between them is right."""
    if not question.margin:
        return ""
    unit = factor(question.answer.unit, question.answer.kind)
    low, high = ((question.answer.value + sign * question.margin) / unit for sign in (-1, 1))
    ends = (show_number(-low, down=True).replace("-", ""), show_number(high, down=True))
    name = show_unit(question.answer.unit)
    return "from {} to {}".format(*(f"{end.removeprefix('about ').replace(',', '')} {name}" for end in ends))


def _wrong(question: Question) -> Iterator[WrongAnswer]:
    """In the order of the question's slips, those of the decimal point last; slips that give the same figure together."""
    found: dict[str, list[Trap]] = {}
    for trap in sorted(question.traps, key=lambda trap: trap.slip in POWERS):
        text = _as_written(question, trap)
        if text:
            found.setdefault(text, []).append(trap)
    for text, traps in found.items():
        yield WrongAnswer(text, tuple(dict.fromkeys(t.slip for t in traps)), tuple(dict.fromkeys(t.says for t in traps)))


def _as_written(question: Question, trap: Trap) -> str:
    """The wrong answer as a learner would write it; "" where the slip changes nothing or would not be told by it."""
    value = question.wrong((trap,)).value
    if question.is_right(value):
        return ""
    forms = [form for form in written(question, value) if any(traps == (trap,) for traps in diagnose(question, form).explanations)]
    texts = [_text(question, form) for form in sorted(forms, key=lambda form: (abs(form - value), form))]
    ended = [text for text in texts if text]
    most = _ROUNDED if question.step else _EXACT
    return next((text for text in ended if _digits(text) <= most), ended[0] if ended else "")


def _digits(text: str) -> int:
    """The figures that count: "0.0640 mL" has two, "78900 mg" three."""
    return len(text.partition(" ")[0].replace(".", "").strip("0"))


def _text(question: Question, value: Fraction) -> str:
    text = plain_text(Quantity(value, question.answer.kind, question.answer.unit))
    return "" if text.startswith("about ") else text
