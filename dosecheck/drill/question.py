"""One question: its text, the exact answer with its working, and the wrong answers that known slips give to it.

Made in `kinds/`, marked in `mark.py`.  A question is plain data; it is never stored, but made again from its id.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from typing import Any, NamedTuple

from dosecheck.errors import DosecheckError
from dosecheck.quantity import Quantity
from dosecheck.showing import show_as_asked
from dosecheck.sums.frame import rounded
from dosecheck.working import Step

LEVELS = (1, 2, 3)
CAUTION = "An exercise, not an order: on the ward the prescriber decides, and local guidance comes first."


class CannotFill(DosecheckError):
    """The formulary has nothing to make this kind of question from; the text says what is missing."""


class Trap(NamedTuple):
    """A known slip as it would go in this question: `factor` is wrong / right, `says` a clause for the learner.

    `before`: it happens before a maximum is looked at, which may hide it.  `lifts`: the maximum is forgotten.
    """

    slip: str
    says: str
    factor: Fraction = Fraction(1)
    before: bool = True
    lifts: bool = False


class Choice(NamedTuple):
    """One of the words that a question offers, and what to say of it where it is the wrong one."""

    word: str
    means: str
    says: str = ""


@dataclass(frozen=True)
class Question:
    """`answer` is exact, or one of the words of `choices`.

    text, ask: what is told, and what is to be written (with the rounding or margin that is accepted).
    free, most: the exact answer before the maximum, and the maximum, where one was looked at.
    step: the stated rounding; within: the stated margin; both None where the exact figure is asked for.
    other: what a second way of reckoning that the text allows (2.2 lb to the kg) comes to, for each 1 of the exact one.
    steps: the engine's own working.  given: the figures by name.
    """

    kind: str
    level: int
    text: str
    ask: str
    answer: Quantity | str
    steps: tuple[Step, ...]
    given: tuple[tuple[str, str], ...] = ()
    source: str = ""
    free: Quantity | None = None
    most: Quantity | None = None
    step: Quantity | None = None
    within: Quantity | None = None
    other: Fraction = Fraction(1)
    traps: tuple[Trap, ...] = ()
    choices: tuple[Choice, ...] = ()
    notes: tuple[str, ...] = ()
    id: str = ""

    @property
    def margin(self) -> Fraction:
        """How far from the exact answer is still right, in base units."""
        return max(self.step.value / 2 if self.step else Fraction(0), self.within.value if self.within else Fraction(0))

    @property
    def shown_answer(self) -> str:
        """The answer as it is printed: rounded as stated."""
        if isinstance(self.answer, str):
            return self.answer
        return show_as_asked(rounded(self.answer, self.step) if self.step else self.answer)

    def wrong(self, traps: Sequence[Trap]) -> Quantity:
        """What comes out with these slips, unrounded."""
        value = (self.free or self.answer).value
        for trap in traps:
            value *= trap.factor if trap.before else 1
        if self.most and not any(trap.lifts for trap in traps):
            value = min(value, self.most.value)
        for trap in traps:
            value *= 1 if trap.before else trap.factor
        return Quantity(value, self.answer.kind, self.answer.unit)

    def is_right(self, value: Fraction) -> bool:
        return abs(value - self.answer.value) <= self.margin

    @property
    def hints(self) -> tuple[str, ...]:
        """One step of the working more each time; what the step comes to is told only with the next."""
        told = [step.text for step in self.steps]
        asked = [_asked(step, step is self.steps[-1]) for step in self.steps]
        return tuple("; ".join([*told[:n], asked[n]]) for n in range(len(told)))

    def lesson(self) -> dict[str, Any]:
        """The answer, the full working and where the figures come from."""
        return {
            "answer": self.shown_answer,
            "working": [step.text for step in self.steps],
            "notes": list(self.notes),
            "source": self.source,
        }

    def as_dict(self) -> dict[str, Any]:
        """The JSON of the question, without its answer."""
        return {
            "id": self.id,
            "kind": self.kind,
            "level": self.level,
            "text": self.text,
            "ask": self.ask,
            "given": dict(self.given),
            "choices": [{"word": choice.word, "means": choice.means} for choice in self.choices],
            "hints": len(self.hints),
        }


def _asked(step: Step, last: bool) -> str:
    """ "one dose of the day: 600 mg / 3 = ?" """
    if step.result is not None:
        return f"{step._replace(result=None, note='').text} = ?"
    return f"{step.what}: ?" if last else step.text
