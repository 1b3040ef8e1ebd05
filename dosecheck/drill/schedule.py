"""What to ask next: kinds that were got wrong come back first, by the spaced-repetition scheduler of the library fsrs.

One card a kind.  Its state is reckoned again from the answers each time, without chance, so the record and the schedule
cannot disagree.  A level rises after three right answers in a row without a hint, and falls after two wrong ones.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from datetime import datetime
from typing import NamedTuple

from fsrs import Card, Rating, Scheduler

from dosecheck.drill.mark import RIGHT
from dosecheck.drill.question import LEVELS
from dosecheck.drill.record import Answer

SKIPPED = "skipped"
RISE, FALL = 3, 2
_SCHEDULER = Scheduler(enable_fuzzing=False)


class Due(NamedTuple):
    """A kind, the level to ask it at, and since or until when it is due (None: it was never asked)."""

    kind: str
    level: int
    at: datetime | None


def rating_of(answer: Answer) -> Rating:
    """Wrong or skipped: again.  Right after hints: hard.  Right: good."""
    if answer.result != RIGHT:
        return Rating.Again
    return Rating.Hard if answer.hints else Rating.Good


def card_of(answers: Iterable[Answer]) -> Card | None:
    """The card of one kind after its answers; None before the first."""
    card = None
    for answer in answers:
        card, _ = _SCHEDULER.review_card(card or Card(card_id=1, due=answer.at), rating_of(answer), answer.at)
    return card


def level_of(answers: Sequence[Answer]) -> int:
    """The level to ask one kind at next."""
    level, right, wrong = LEVELS[0], 0, 0
    for answer in answers:
        if answer.level != level:
            level, right, wrong = answer.level, 0, 0
        good = answer.result == RIGHT
        right, wrong = (0 if answer.hints else right + 1, 0) if good else (0, wrong + 1)
        if right == RISE or wrong == FALL:
            level, right, wrong = min(level + 1, LEVELS[-1]) if good else max(level - 1, LEVELS[0]), 0, 0
    return level


def plan(answers: Sequence[Answer], kinds: Sequence[str], now: datetime) -> list[Due]:
    """The kinds in the order in which to ask them: what is due, longest since first; then what is new; then what is due soonest."""
    rows = []
    for place, kind in enumerate(kinds):
        mine = [answer for answer in answers if answer.kind == kind]
        card = card_of(mine)
        due = Due(kind, level_of(mine), card and card.due)
        group = 1 if due.at is None else 0 if due.at <= now else 2
        rows.append(((group, due.at.timestamp() if due.at else place), due))
    return [due for _, due in sorted(rows, key=lambda row: row[0])]
