"""A session: which question comes next, its hints, its mark, and the record of it.

After a wrong answer a similar question (the same kind and level, other figures) comes again a few questions later.  No
question is asked twice while there are others.
"""

from __future__ import annotations

from collections.abc import Callable, Container, Sequence
from datetime import datetime
from typing import NamedTuple

from dosecheck.drill.kinds import KINDS
from dosecheck.drill.make import MOST_SEED, make
from dosecheck.drill.mark import RIGHT, UNREADABLE, Mark, mark
from dosecheck.drill.pool import Pool
from dosecheck.drill.question import CannotFill, Question
from dosecheck.drill.record import Answer, Record
from dosecheck.drill.schedule import SKIPPED, plan

LATER = 3  # so many other questions before the similar one
_TRIES = 60  # seeds looked at for a question that was not asked yet


class Again(NamedTuple):
    kind: str
    level: int
    after: int


class Session:
    """One learner at the questions.

    Args:
        pool: what questions are made from; None with `own`.
        record: where the answers go, and what earlier ones are read from.
        clock: the time now, with its zone.
        seed: where the figures start; the same seed and the same answers give the same session.
        kinds, level: only these; all kinds, and the level that the record says, when left out.
        own: a teacher's questions in their order, instead of the formulary's.
        overlook: ways of writing that are not pointed out.
    """

    def __init__(
        self,
        pool: Pool | None,
        record: Record,
        clock: Callable[[], datetime],
        seed: int,
        kinds: Sequence[str] = (),
        level: int | None = None,
        own: Sequence[Question] = (),
        overlook: Container[str] = (),
    ) -> None:
        self._pool, self._record, self._clock, self._seed = pool, record, clock, seed
        self._kinds, self._level, self._own, self._overlook = list(kinds or KINDS), level, list(own), overlook
        self._answers = record.answers()
        self._again: list[Again] = []
        self._texts: set[str] = set()
        self._since = clock()
        self.question: Question | None = None
        self.hints = 0
        self.given: list[Answer] = []

    def next(self) -> Question | None:
        """The next question; None when the teacher's own are through.

        Raises:
            CannotFill: the formulary fills none of the kinds.
        """
        self.question = self._own_next() if self._own or self._pool is None else self._made_next()
        self.hints, self._since = 0, self._clock()
        if self.question:
            self._texts.add(self.question.text)
        return self.question

    def hint(self) -> str | None:
        """One step more of the working; None when there is no further one."""
        if self.hints >= len(self.question.hints):
            return None
        self.hints += 1
        return self.question.hints[self.hints - 1]

    def answer(self, text: str) -> Mark:
        """The mark.  An unreadable answer is not kept: it may be written again."""
        found = mark(self.question, text, self._overlook)
        if found.result != UNREADABLE:
            self._keep(text.strip(), found.result, tuple("+".join(names) for names in found.diagnosis.slips))
        return found

    def skip(self) -> None:
        """Kept as not answered; it comes again like a wrong one."""
        self._keep("", SKIPPED, ())

    def _keep(self, text: str, result: str, slips: tuple[str, ...]) -> None:
        asked, now = self.question, self._clock()
        seconds = max(0, int((now - self._since).total_seconds()))
        mark_ = self._pool.formulary.fingerprint if self._pool else ""
        given = Answer(now, asked.id, asked.kind, asked.level, text, result, slips, self.hints, seconds, mark_)
        self._record.add(given)
        self._answers.append(given)
        self.given.append(given)
        if result != RIGHT and self._pool:
            self._again.append(Again(asked.kind, asked.level, len(self.given) + LATER))

    def _own_next(self) -> Question | None:
        return self._own.pop(0) if self._own else None

    def _made_next(self) -> Question:
        due = next((one for one in self._again if one.after <= len(self.given)), None)
        if due:
            self._again.remove(due)
            return self._fresh(due.kind, due.level)
        waiting = {one.kind for one in self._again}
        rows = plan(self._answers, self._kinds, self._clock())
        for row in sorted(rows, key=lambda row: row.kind in waiting):  # what comes again soon need not come now
            try:
                return self._fresh(row.kind, self._level or row.level)
            except CannotFill as error:
                told = error
                self._kinds.remove(row.kind)
        raise told

    def _fresh(self, kind: str, level: int) -> Question:
        """Other figures each time; a text that was asked in this session only when many seeds give no other."""
        start = self._seed + sum(answer.kind == kind for answer in self._answers) * _TRIES
        for seed in range(start, start + _TRIES):
            question = make(kind, level, seed % (MOST_SEED + 1), self._pool)
            if question.text not in self._texts:
                break
        return question
