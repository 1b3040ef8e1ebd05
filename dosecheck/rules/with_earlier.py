"""One regimen's limits with the doses that came before: gap since the last, doses and totals of any 24 hours, course.

The order's first dose counts as given now.  A limit that it breaks with the doses told gives that limit's own outcome;
one that only a later dose of the order would break is a query that says which dose; one that was broken before, without
this order, is a query.  Comparisons are the regimen's own, on other facts; windows are in `windows.py`.
"""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction
from math import ceil
from typing import Any, NamedTuple

from dosecheck.formulary.limits import Limit
from dosecheck.formulary.measures import AT_MOST, Ratio
from dosecheck.formulary.medicine import Ingredient, Regimen
from dosecheck.quantity import Quantity
from dosecheck.reading import read_time
from dosecheck.records import NOT_CHECKED, QUERY, Order
from dosecheck.rules.amounts import Amount
from dosecheck.rules.case import Case
from dosecheck.rules.codes import Finding
from dosecheck.rules.doubtful_doses import amount_unknown, doubtful
from dosecheck.rules.explain import allowed
from dosecheck.rules.facts import doses_given, doses_in_a_day, ratio
from dosecheck.rules.history import Entry, History
from dosecheck.rules.judge import BROKEN, MET, UNKNOWN, answer_limit
from dosecheck.rules.windows import DAY, Seconds, Timed, last_given, window, windows
from dosecheck.showing import show, show_length
from dosecheck.working import Step

_TOTALS = ("daily", "total")
_CODES = {
    "gap": "too-soon",
    "doses": "too-many-with-earlier",
    "daily": "day-above-with-earlier",
    "total": "total-above-with-earlier",
    "course": "course-so-far",
}


class Held(NamedTuple):
    """What the earlier doses change: states of limits by index, findings, steps."""

    states: dict[int, str]
    findings: list[Finding]
    steps: list[Step]


class Line(NamedTuple):
    """One regimen, the doses of its ingredient before now (`before` are those of `entries`), the order's own from now on."""

    case: Case
    regimen: Regimen
    ingredient: Ingredient
    entries: list[Entry]
    before: tuple[Timed, ...]
    upper: dict[str, Ratio]
    now: Timed
    later: tuple[Timed, ...]
    unit: str

    @property
    def history(self) -> History:
        return self.case.history

    def shown(self, amount: Fraction) -> Quantity:
        return Quantity(amount, self.regimen.kind, self.unit)


def base_of(limit: Limit) -> str:
    """Which of the measures that look back in time the limit bounds; "" for any other."""
    base = limit.main.measure.split("/")[0]
    if base == "doses":
        return base if limit.main.sense == AT_MOST and len(limit.comparisons) == 1 else ""
    return base if base in _CODES else ""


def length_of(limit: Limit) -> Seconds | None:
    """How far back its window reaches; None over all that is told (an episode, a course)."""
    over = limit.name.removeprefix("total over ")
    if over == limit.name:
        return DAY
    return None if over in ("episode", "course") else read_time(over).value


def later_doses(order: Order, amount: Fraction) -> tuple[Timed, ...]:
    """The order's further doses in the 24 hours from now, as scheduled; at once where only their number is told."""
    most, _, gap = doses_in_a_day(order)
    if most is None:
        return ()
    times = [k * gap for k in range(1, ceil(DAY / gap))] if gap else [Fraction(0)] * (int(most) - 1)
    return tuple(Timed(time, time, amount) for time in times[: int(most) - 1])


def hold(case: Case, ingredient: Ingredient, regimen: Regimen, amount: Amount, upper: dict[str, Ratio]) -> Held:
    """The regimen's limits held against the earlier doses and this order."""
    entries = case.history.entries(ingredient, regimen.kind)
    if not entries:
        return Held({}, [], [])
    if case.order.dose.per == "time":
        return _beside_infusion(regimen, ingredient)
    dose = amount.high
    later = () if case.once else later_doses(case.order, dose.value)
    line = Line(case, regimen, ingredient, entries, tuple(e.timed for e in entries), upper, Timed(0, 0, dose.value), later, dose.unit)
    held = Held({}, doubtful(case, ingredient, regimen, entries, upper), [s for e in entries if e.amount for s in e.amount.steps])
    broken: dict[Any, tuple[Limit, str] | None] = {}
    for index, limit in enumerate(regimen.limits):
        if base_of(limit):
            _hold_limit(line, index, limit, held, broken)
    held.findings.extend(_finding(line, *worst) for worst in broken.values() if worst)
    return held


def _beside_infusion(regimen: Regimen, ingredient: Ingredient) -> Held:
    totals = any(base_of(limit) in _TOTALS for limit in regimen.limits)
    told = {"ingredient": ingredient.id}
    return Held({}, [Finding("earlier-beside-infusion", NOT_CHECKED if totals else QUERY, told, regimen.full_id, regimen.source)], [])


# ---- one limit ----


def _hold_limit(line: Line, index: int, limit: Limit, held: Held, broken: dict[Any, tuple[Limit, str] | None]) -> None:
    """Its state; what the dose now breaks goes into `broken` once a figure, at its worst, as in `judge`.

    Of two limits on the number of doses (the most, and the source's own numbers) the first tells; None marks that it has.
    """
    base = base_of(limit)
    if not limit.beyond:
        held.steps.extend(_steps(line, limit))
    unknown = [e for e in _inside(line, limit, 0) if e.amount is None] if base in _TOTALS else []
    if unknown:
        held.states[index] = UNKNOWN
        held.findings.extend(amount_unknown(entry) for entry in unknown)
    answer = answer_limit(limit, _facts(line, limit, [*line.before, line.now], 0))
    if isinstance(answer, str):  # a fact that the order's own check has missed already
        return
    if answer is False:
        held.states[index] = BROKEN
        key = base if base == "doses" else (limit.name, limit.figure)
        before = broken.get(key)
        if before is None or limit.beyond:
            broken[key] = (before[0] if before else limit, limit.outcome)
        return
    held.states.setdefault(index, MET)
    found = None if base in ("gap", "course") or limit.beyond else _later(line, limit) or _before(line, limit)
    if found:
        held.states[index] = BROKEN
        held.findings.extend([] if base in broken else [found])
        if base == "doses":
            broken.setdefault(base, None)


def _inside(line: Line, limit: Limit, end: Seconds) -> list[Entry]:
    """The earlier doses that may lie in the limit's window that ends at `end`."""
    length = length_of(limit)
    return [e for e in line.entries if e.had.first <= end and (length is None or e.had.last > end - length)]


def _facts(line: Line, limit: Limit, doses: Sequence[Timed], end: Seconds) -> dict[str, Ratio]:
    """What the limit is compared with, for the window that ends at `end`."""
    base = base_of(limit)
    if base == "gap":
        return {"gap": ratio(end - last_given(line.before))}
    if base == "course":
        return {"course": ratio(end - min(dose.first for dose in doses))}
    held = window(doses, end, length_of(limit))
    if base == "doses":
        return {"doses": ratio(len(held.doses))}
    return {**line.upper, "dose": ratio(held.total), "doses": (1, 1), "given": (1, 1)}


def _later(line: Line, limit: Limit) -> Finding | None:
    """The first later dose of the order that would break the limit, if the earlier ones are counted with it."""
    if length_of(limit) != DAY:
        return _later_in_course(line, limit)
    doses = [*line.before, line.now]
    for number, dose in enumerate(line.later, 2):
        doses.append(dose)
        if answer_limit(limit, _facts(line, limit, doses, dose.first)) is False:
            told = {**_told(line, limit, doses, dose.first), "which": f"Dose {number} of this order", "when": _when(line, dose)}
            return Finding("later-dose-breaks", QUERY, told, line.regimen.full_id, line.regimen.source)
    return None


def _when(line: Line, dose: Timed) -> str:
    return line.history.said(dose.first) if dose.first else "whenever it is given"


def _later_in_course(line: Line, limit: Limit) -> Finding | None:
    """All doses of the order that fall in a longer window, on top of all that were given in it."""
    count = None if line.case.once else doses_given(limit.name.removeprefix("total over "), line.case.order)
    if count is None:
        return None
    doses = [*line.before, Timed(0, 0, line.now.amount * max(count, 1))]
    if answer_limit(limit, _facts(line, limit, doses, 0)) is not False:
        return None
    told = {**_told(line, limit, doses, 0), "which": "The whole of this order", "when": "to its end"}
    return Finding("later-dose-breaks", QUERY, told, line.regimen.full_id, line.regimen.source)


def _before(line: Line, limit: Limit) -> Finding | None:
    """A window before now in which the doses given had broken the limit already."""
    if length_of(limit) != DAY:
        return None
    for held in windows(line.before, DAY):
        if answer_limit(limit, _facts(line, limit, held.doses, held.end)) is False:
            told = {**_told(line, limit, held.doses, held.end), "when": line.history.said(held.end)}
            return Finding("earlier-above-max", QUERY, told, line.regimen.full_id, line.regimen.source)
    return None


# ---- what it is told with ----


def _finding(line: Line, limit: Limit, outcome: str) -> Finding:
    told = _told(line, limit, [*line.before, line.now], 0)
    return Finding(_CODES[base_of(limit)], outcome, told, line.regimen.full_id, line.regimen.source)


def _told(line: Line, limit: Limit, doses: Sequence[Timed], end: Seconds) -> dict[str, Any]:
    """The data of a finding about the window that ends at `end`."""
    base, facts = base_of(limit), _facts(line, limit, doses, end)
    told: dict[str, Any] = {"ingredient": line.ingredient.id, "limit": limit.text, "name": limit.name, "comes": ""}
    if base == "gap":
        next_time = line.history.said(last_given(line.before) + limit.figure.value)
        return {**told, "value": show_length(Fraction(*facts["gap"])), "next": next_time}
    if base == "course":
        return {**told, "value": show_length(Fraction(*facts["course"]))}
    if base == "doses":
        return {**told, "value": f"{facts['doses'][0]} doses in 24 hours"}
    total = window(doses, end, length_of(limit)).total
    bound = allowed(limit.main, {**line.upper, "doses": (1, 1), "given": (1, 1)})
    if "/" in limit.main.measure:
        told["comes"] = f", which is {show(line.shown(bound), down=True)} for this child"
    return {**told, "value": f"{show(line.shown(total))} {_over(limit)}", "times": total / bound}


def _over(limit: Limit) -> str:
    over = limit.name.removeprefix("total over ")
    return "in 24 hours" if over == limit.name else f"over the {over}" if over.isalpha() else f"in {over}"


def _steps(line: Line, limit: Limit) -> list[Step]:
    """ "paracetamol in the 24 hours to now, this dose included: 240 mg + 210 mg + 210 mg = 660 mg" """
    base, name = base_of(limit), line.ingredient.id
    if base == "gap":
        return [Step(f"since the last dose of {name}", (show_length(-last_given(line.before)),))]
    if base == "course":
        return [Step(f"{name} since the first dose told", (show_length(-min(dose.first for dose in line.before)),))]
    inside, span = _inside(line, limit, 0), "to now" if length_of(limit) is None else f"in the {show_length(length_of(limit))} to now"
    if base == "doses":
        count = Quantity(len(inside) + 1, "dose", "doses")
        return [Step(f"{name} {span}, this dose included", (len(inside), "given", "+", 1), count)]
    parts: list[Any] = [part for entry in inside if entry.amount for part in (entry.amount.high, "+")]
    total = sum((entry.amount.high.value for entry in inside if entry.amount), line.now.amount)
    return [Step(f"{name} {span}, this dose included", (*parts, line.shown(line.now.amount)), line.shown(total))]
