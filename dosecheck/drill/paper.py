"""The papers of a plan: versions A, B, C ... with other figures and questions of the same kinds, levels and numbers of steps.

A version hangs on the plan, the seed and the formulary alone, so its key can be made again from the code that it prints.
A teacher's own questions are the same in every version.
"""

from __future__ import annotations

import re
from hashlib import sha256
from typing import Any, NamedTuple

from dosecheck.drill.make import MOST_SEED, make
from dosecheck.drill.paper_file import Plan, Row
from dosecheck.drill.pool import Pool
from dosecheck.drill.question import CAUTION, CannotFill, Question
from dosecheck.errors import Fault, InputError

TRIES = 400  # seeds looked at for one question
FIRST, MOST_VERSIONS = "A", 26 * 27
_CHILD = re.compile(r"\bSM-[0-9]{3}\b")  # other figures make another question, another child's name does not


class Paper(NamedTuple):
    """One version of the plan; `learner` where it was made for one."""

    plan: Plan
    version: str
    code: str
    questions: tuple[Question, ...]
    formulary: dict[str, str]
    learner: str = ""

    def as_dict(self) -> dict[str, Any]:
        """The JSON of a worksheet: no answer in it."""
        asked = [{"number": number, **question.as_dict()} for number, question in enumerate(self.questions, 1)]
        return {"version": self.version, "learner": self.learner, "code": self.code, "questions": asked}


def told_of(plan: Plan) -> dict[str, Any]:
    """What every version has at its head."""
    return {
        "title": plan.title,
        "calculator": plan.calculator,
        "minutes": plan.minutes,
        "needed": plan.needed,
        "of": plan.questions,
        "caution": CAUTION,
    }


class Papers:
    """Makes versions in the order of the alphabet, because no question of one may stand in another before it.

    Args:
        seed: another than the plan's.
    """

    def __init__(self, plan: Plan, pool: Pool, seed: int | None = None) -> None:
        self.plan, self._pool = plan, pool
        self.seed = plan.seed if seed is None else seed
        self._made: list[Paper] = []
        self._texts: set[str] = set()

    def version(self, name: str, learner: str = "") -> Paper:
        """Args: name: A to Z, then AA, AB ... ZZ.

        Raises:
            InputError: no such version.
            CannotFill: the formulary has nothing for a row, or too few different questions for so many versions.
        """
        while len(self._made) <= number_of(name):
            self._made.append(self._next(version_name(len(self._made))))
        return self._made[number_of(name)]._replace(learner=learner)

    def code_of(self, version: str) -> str:
        """ "b35a671b-4c1e-17-A": the formulary, the plan, the seed and the version."""
        return f"{self._pool.formulary.fingerprint[:8]}-{self.plan.digest}-{self.seed}-{version}"

    def _next(self, name: str) -> Paper:
        places = enumerate(self.plan.places)
        questions = tuple(own or self._fresh(row, place, name) for place, (row, own) in places)
        return Paper(self.plan, name, self.code_of(name), questions, self._pool.formulary.about())

    def _fresh(self, row: Row, place: int, name: str) -> Question:
        """A question that no version so far has, of as many steps as the first version's in this place."""
        steps = len(self._made[0].questions[place].steps) if self._made else None
        start = int.from_bytes(sha256(f"dosecheck paper 1/{self.seed}/{name}/{place}".encode()).digest()[:8])
        for n in range(TRIES):
            question = make(row.kind, row.level, (start + n) % (MOST_SEED + 1), self._pool)
            text = _CHILD.sub("", question.text)
            if text not in self._texts and steps in (None, len(question.steps)):
                self._texts.add(text)
                return question
        raise CannotFill(
            f'The kind "{row.kind}" at level {row.level} gives no further different question for version {name}, question {place + 1}: '
            "ask fewer of it, take another level, or make fewer versions."
        )


def version_name(number: int) -> str:
    """A for 0, Z for 25, AA for 26."""
    return (chr(64 + number // 26) if number >= 26 else "") + chr(65 + number % 26)


def number_of(name: str) -> int:
    """Raises: InputError: it is no version's name."""
    if not re.fullmatch("[A-Z]{1,2}", name):
        given = ascii(name[:40])[1:-1]
        raise InputError([Fault("version", given, "Versions are named A to Z, then AA to ZZ.", "Write A.")])
    return ord(name[-1]) - 65 + (26 * (ord(name[0]) - 64) if len(name) == 2 else 0)
