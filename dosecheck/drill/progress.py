"""How a learner does, by kind and by slip, and the answers as a table for a teacher."""

from __future__ import annotations

import csv
import io
from collections import Counter
from collections.abc import Sequence
from datetime import datetime
from typing import Any, NamedTuple

from dosecheck.drill.kinds import KINDS
from dosecheck.drill.mark import RIGHT
from dosecheck.drill.record import Answer
from dosecheck.drill.schedule import card_of, level_of

EXPORT = ("learner", "question", "kind", "level", "answer", "result", "slips", "hints", "seconds", "when")
FORMULA = ("=", "+", "-", "@", "\t", "\r")


class KindProgress(NamedTuple):
    """`right`: right at the first reading and without a hint; `level` and `due` are those of the next question."""

    kind: str
    asked: int
    right: int
    level: int
    last: datetime
    due: datetime


class SlipProgress(NamedTuple):
    slip: str
    times: int
    last: datetime


class Progress(NamedTuple):
    kinds: tuple[KindProgress, ...]
    slips: tuple[SlipProgress, ...]
    answers: int

    def as_dict(self) -> dict[str, Any]:
        def plain(row: NamedTuple) -> dict[str, Any]:
            return {key: value.isoformat() if isinstance(value, datetime) else value for key, value in row._asdict().items()}

        return {"answers": self.answers, "kinds": [plain(row) for row in self.kinds], "slips": [plain(row) for row in self.slips]}


def progress_of(answers: Sequence[Answer]) -> Progress:
    """Kinds in the order of the list of kinds, own questions last; slips from the most often made."""
    kinds = []
    for kind in (*KINDS, "own"):
        mine = [answer for answer in answers if answer.kind == kind]
        if mine:
            right = sum(answer.result == RIGHT and not answer.hints for answer in mine)
            kinds.append(KindProgress(kind, len(mine), right, level_of(mine), mine[-1].at, card_of(mine).due))
    times = Counter(slip for answer in answers for slip in answer.slips)
    last = {slip: answer.at for answer in answers for slip in answer.slips}
    slips = tuple(SlipProgress(slip, number, last[slip]) for slip, number in sorted(times.items(), key=lambda row: (-row[1], row[0])))
    return Progress(tuple(kinds), slips, len(answers))


def to_csv(learner: str, answers: Sequence[Answer]) -> str:
    """The answers with the columns of EXPORT; text that a spreadsheet would take for a formula begins with an apostrophe."""
    out = io.StringIO(newline="")
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(EXPORT)
    for a in answers:
        row = (learner, a.question, a.kind, a.level, a.answer, a.result, ";".join(a.slips), a.hints, a.seconds, a.at.isoformat())
        writer.writerow([neutral(str(cell)) for cell in row])
    return out.getvalue()


def neutral(text: str) -> str:
    return f"'{text}" if text.startswith(FORMULA) else text
