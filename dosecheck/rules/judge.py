"""From answered comparisons to an outcome: the one place where limits become findings, for both engines.

`judge` gets, for each limit, whether it is met, broken, or which fact is missing.  It counts: an outcome is `within`
only when at least one limit was due and every limit due was met by a comparison that came out true.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import NamedTuple

from dosecheck.formulary.limits import STATED, TOTAL_OF_EPISODE, Limit
from dosecheck.formulary.measures import Ratio, holds
from dosecheck.formulary.medicine import Regimen
from dosecheck.records import NOT_CHECKED, QUERY, STOP, WITHIN

MET, BROKEN, UNKNOWN, NOT_DUE = "met", "broken", "not-checked", "to observe"
Answer = bool | str  # True, False, or the name of the missing fact

MISSING_CODES = {
    "weight": "weight-missing",
    "surface": "height-missing",
    "dose": "dose-missing",
    "doses": "frequency-missing",
    "average": "frequency-missing",
    "gap": "gap-not-told",
    "over": "rate-not-stated",
    "volume": "concentration-not-stated",
    "course": "course-not-stated",
    "given": "course-not-stated",
}
_STATED_FACTS = {"over", "volume", "course", "given"}  # without these a limit due when stated was not stated
_REQUIRED = {"rate": ("rate", "duration"), "concentration": ("concentration",), "course": ("course", "total")}


class Told(NamedTuple):
    """A code, its outcome, and the limits (by index) it is about: a broken figure's first limit, or all that lack a fact."""

    code: str
    outcome: str
    limits: tuple[int, ...]


class Judged(NamedTuple):
    """`states`: one a limit; `told`: each broken figure once, at its worst, and each missing fact once."""

    outcome: str
    states: tuple[str, ...]
    told: tuple[Told, ...]
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
    states: list[str] = []
    found: dict[tuple, Told] = {}
    for index, limit in enumerate(regimen.limits):
        given = answer(index, limit)
        state = MET if given is True else BROKEN if given is False else _missing_state(regimen, limit, given, once)
        states.append(state)
        if state == BROKEN:
            key = (limit.name, limit.figure)
            found[key] = Told(limit.code, limit.outcome, found[key].limits if key in found else (index,))
        elif state == UNKNOWN:
            key = (MISSING_CODES[given],)
            found[key] = Told(key[0], NOT_CHECKED, (*(found[key].limits if key in found else ()), index))
    due, met = sum(s != NOT_DUE for s in states), states.count(MET)
    return Judged(_outcome({told.outcome for told in found.values()}, due, met), tuple(states), tuple(found.values()), due, met)


def _missing_state(regimen: Regimen, limit: Limit, missing: str, once: bool) -> str:
    base = limit.main.measure.split("/")[0]
    if once and base == "gap":
        return NOT_DUE
    if limit.due != STATED or missing not in _STATED_FACTS:
        return UNKNOWN
    required = any(base in _REQUIRED[name] for name in regimen.required) and limit.name != TOTAL_OF_EPISODE
    return UNKNOWN if required else NOT_DUE


def _outcome(outcomes: set[str], due: int, met: int) -> str:
    for outcome in (STOP, NOT_CHECKED, QUERY):
        if outcome in outcomes:
            return outcome
    return WITHIN if due >= 1 and met == due else NOT_CHECKED
