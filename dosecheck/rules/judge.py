"""From answered comparisons to an outcome: the one place where limits become findings, for both engines.

`judge` gets, for each limit, whether it is met, broken, or which fact is missing.  It counts: an outcome is `within`
only when at least one limit was due and every limit due was met by a comparison that came out true.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import NamedTuple

from dosecheck.formulary.limits import STATED, Limit
from dosecheck.formulary.measures import Ratio, holds
from dosecheck.formulary.medicine import Regimen
from dosecheck.records import NOT_CHECKED, QUERY, STOP, WITHIN

MET, BROKEN, UNKNOWN, NOT_DUE = "met", "broken", "not-checked", "to observe"
Answer = bool | str  # True, False, or the name of the missing fact

MISSING_CODES = {
    "weight": "weight-missing", "surface": "height-missing", "dose": "dose-missing", "doses": "frequency-missing",
    "average": "frequency-missing", "gap": "gap-not-told", "over": "rate-not-stated", "volume": "concentration-not-stated",
    "course": "course-not-stated", "given": "course-not-stated",
}  # fmt: skip
_REQUIRED = {"rate": ("rate", "duration"), "concentration": ("concentration",), "course": ("course", "total")}


class Judged(NamedTuple):
    """`states`: one a limit; `codes`: (code, index of the limit, outcome), the worst of each figure once."""

    outcome: str
    states: tuple[str, ...]
    codes: tuple[tuple[str, int, str], ...]
    due: int
    met: int


def answer_limit(limit: Limit, facts: dict[str, Ratio]) -> Answer:
    """True when any comparison holds; else the first missing fact; else False."""
    missing: str | None = None
    for comparison in limit.comparisons:
        answer = holds(comparison, facts)
        if answer is True:
            return True
        if isinstance(answer, str) and missing is None:
            missing = answer
    return False if missing is None else missing


def judge(regimen: Regimen, answer: Callable[[int, Limit], Answer], once: bool) -> Judged:
    """The outcome of one regimen.

    Args:
        answer: for the index and the limit, True (met), False (broken) or the name of the missing fact.
        once: one dose only, so that the gap is not due.
    """
    states, found = [], {}
    for index, limit in enumerate(regimen.limits):
        given = answer(index, limit)
        state = MET if given is True else BROKEN if given is False else _missing_state(regimen, limit, once)
        states.append(state)
        if state == BROKEN:
            found[limit.name, limit.code, limit.figure] = (limit.code, index, limit.outcome)
        elif state == UNKNOWN:
            found.setdefault((limit.name, limit.code, limit.figure), (MISSING_CODES[given], index, NOT_CHECKED))
    due, met = sum(s != NOT_DUE for s in states), states.count(MET)
    return Judged(_outcome(found, due, met), tuple(states), tuple(found.values()), due, met)


def _missing_state(regimen: Regimen, limit: Limit, once: bool) -> str:
    base = limit.main.measure.split("/")[0]
    if once and base == "gap":
        return NOT_DUE
    required = any(base in _REQUIRED[name] for name in regimen.required)
    return NOT_DUE if limit.due == STATED and not required else UNKNOWN


def _outcome(found: dict, due: int, met: int) -> str:
    outcomes = {outcome for _, _, outcome in found.values()}
    if STOP in outcomes:
        return STOP
    if NOT_CHECKED in outcomes:
        return NOT_CHECKED
    if QUERY in outcomes:
        return QUERY
    return WITHIN if due >= 1 and met == due else NOT_CHECKED
