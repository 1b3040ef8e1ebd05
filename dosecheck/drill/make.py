"""A question from its kind, level and seed, or again from its id: the same text, answer and slips every time.

The id says all of it, "dose-by-weight.2.17.3f2a9c01", with the first figures of the formulary's fingerprint: from
another formulary the question would be another one, so it is refused.
"""

from __future__ import annotations

import re
from dataclasses import replace

from dosecheck.drill.dice import Dice
from dosecheck.drill.kinds import KINDS, draw_of
from dosecheck.drill.pool import TRIES, Pool
from dosecheck.drill.question import LEVELS, CannotFill, Question
from dosecheck.errors import Fault, InputError
from dosecheck.formulary.load import Formulary

_ID = re.compile(r"(?P<kind>[a-z-]+)\.(?P<level>[1-3])\.(?P<seed>[0-9]{1,9})\.(?P<mark>[0-9a-f]{8})")
MOST_SEED = 999_999_999


def make(kind: str, level: int, seed: int, formulary: Formulary | Pool) -> Question:
    """One question.  A `Pool` instead of a formulary saves looking through it for every question of a paper.

    Raises:
        InputError: no such kind, level or seed.
        CannotFill: the formulary has nothing for it.
    """
    pool = formulary if isinstance(formulary, Pool) else Pool(formulary)
    _refuse_unknown(kind, level, seed)
    draw, dice = draw_of(kind), Dice(kind, level, seed)
    for _ in range(TRIES):
        question = draw(pool, dice, level)
        if question:
            return replace(question, kind=kind, level=level, id=_id_of(kind, level, seed, pool.formulary))
    raise CannotFill(f'This formulary cannot fill the kind "{kind}" at level {level}: it needs {KINDS[kind].needs}.')


def remake(question_id: str, formulary: Formulary | Pool) -> Question:
    """The question of that id.

    Raises:
        InputError: it is no id, or one of another formulary.
    """
    pool = formulary if isinstance(formulary, Pool) else Pool(formulary)
    found = _ID.fullmatch(question_id)
    if not found:
        given = ascii(question_id[:60])[1:-1]
        raise InputError([Fault("question", given, "It is no id of a question.", 'Copy it as printed: "dose-by-weight.2.17.3f2a9c01".')])
    if found["mark"] != pool.formulary.fingerprint[:8]:
        why = f"It was made from another formulary than this one ({pool.formulary.fingerprint[:8]})."
        raise InputError([Fault("question", question_id, why, "Name that formulary, or ask for the question anew.")])
    return make(found["kind"], int(found["level"]), int(found["seed"]), pool)


def _id_of(kind: str, level: int, seed: int, formulary: Formulary) -> str:
    return f"{kind}.{level}.{seed}.{formulary.fingerprint[:8]}"


def _refuse_unknown(kind: str, level: int, seed: int) -> None:
    faults = []
    if kind not in KINDS:
        faults.append(Fault("kind", ascii(kind[:40])[1:-1], "There is no such kind of question.", f"There are: {', '.join(KINDS)}."))
    if level not in LEVELS:
        faults.append(Fault("level", str(level), "There is no such level.", "Write 1, 2 or 3."))
    if not 0 <= seed <= MOST_SEED:
        faults.append(Fault("seed", "", "A seed is a whole number from 0 to 999,999,999.", "Write one, such as 17."))
    if faults:
        raise InputError(faults)
