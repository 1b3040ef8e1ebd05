"""What each limit comes to for this child, and what a broken one is told with: the shown side of the comparisons.

Uses the very facts that were compared; `limit_states` yields the working of each limit as it reckons it.
"""

from __future__ import annotations

from fractions import Fraction
from math import isqrt
from typing import Any

from dosecheck.formulary.limits import Limit
from dosecheck.formulary.measures import AT_MOST, MEASURES, Comparison, Ratio, sides
from dosecheck.formulary.medicine import Regimen
from dosecheck.quantity import Quantity
from dosecheck.records import NOT_CHECKED, Child
from dosecheck.rules.amounts import Amount
from dosecheck.rules.case import Case
from dosecheck.rules.codes import Finding, Later
from dosecheck.rules.facts import doses_given, facts_for
from dosecheck.rules.judge import Judged, Told
from dosecheck.rules.verdict import LimitState
from dosecheck.showing import show, show_number, show_seconds
from dosecheck.working import BY, TIMES, Step

_OF_DOSE = ("dose", "daily", "rate")


def allowed(comparison: Comparison, facts: dict[str, Ratio]) -> Fraction | None:
    """The single dose (in base units) at which an upper comparison just holds, or None where a fact is missing.

    Areas are compared by their squares; the root is then rounded down to a whole base unit.
    """
    measure = MEASURES[comparison.measure]
    if measure.over[0] != "dose" or "over" in measure.under or "volume" in measure.under:
        return None
    power = measure.power
    over, under = comparison.p**power, comparison.q**power
    for name in measure.under:
        value = facts.get(name)
        if value is None:
            return None
        exponent = 1 if name == "surface" else power
        over, under = over * value[0] ** exponent, under * value[1] ** exponent
    for name in measure.over[1:]:
        value = facts.get(name)
        if value is None:
            return None
        over, under = over * value[1] ** power, under * value[0] ** power
    return Fraction(over, under) if power == 1 else Fraction(isqrt(over // under))


def most_for_one_dose(limit: Limit, facts: dict[str, Ratio]) -> Fraction | None:
    """The largest single dose that the limit allows, its exceptions included; None where it does not bound the dose."""
    if limit.main.sense != AT_MOST:
        return None
    values = [allowed(c, facts) for c in limit.comparisons if c.sense == AT_MOST]
    return None if values[0] is None else max(v for v in values if v is not None)


def lacks_weight(regimen: Regimen, facts: dict[str, Ratio]) -> bool:
    """An upper limit of the dose goes by a weight or a surface that is not known: what the other maxima leave is no dose for this child."""
    upper = [limit.main.measure for limit in regimen.limits if limit.main.sense == AT_MOST]
    needed = {name for measure in upper if measure.split("/")[0] in _OF_DOSE for name in MEASURES[measure].under}
    return any(facts.get(name) is None for name in needed & {"weight", "surface"})


def fewest_doses(regimen: Regimen) -> int:
    """The fewest doses a day that the source lists; one, where it lists none."""
    return min(regimen.entry.get("doses_a_day", [1]))


def limit_states(regimen: Regimen, judged: Judged, upper: dict[str, Ratio], case: Case) -> tuple[tuple[LimitState, ...], list[Step]]:
    """Each limit with what it comes to, the binding one marked, and the steps that got there."""
    each = [facts_for(limit, upper, upper, case.order) for limit in regimen.limits]
    bounds = [most_for_one_dose(limit, facts) for limit, facts in zip(regimen.limits, each, strict=True)]
    least = min((b for b in bounds if b is not None), default=None)
    binding = bounds.index(least) if least is not None else -1
    source, dose = case.formulary.source(regimen.source), Fraction(*upper["dose"])
    states, steps = [], []
    for index, (limit, state, bound) in enumerate(zip(regimen.limits, judged.states, bounds, strict=True)):
        comes_to = None
        if bound is not None:
            comes_to = Quantity(bound, limit.figure.kind.split("/")[0], limit.figure.unit.split("/")[0])
            steps += limit_step(limit, comes_to, each[index], case.child, case.weight)
        elif limit.main.measure == "rate/weight" and case.weight:
            comes_to = Quantity(Fraction(limit.main.p, limit.main.q), limit.figure.kind, limit.figure.unit) * case.weight
            steps += [] if limit.beyond else [Step(limit.name, (limit.figure, TIMES, case.weight), comes_to)]
        states.append(LimitState(limit, regimen, state, comes_to, index == binding, source, dose))
    return tuple(states), steps


def limit_step(limit: Limit, comes_to: Quantity, facts: dict[str, Ratio], child: Child, weight: Quantity | None) -> list[Step]:
    """ "dose, at most: 15 mg/kg x 14.2 kg = 213 mg", for the first limit of each figure only."""
    main = limit.main
    if limit.beyond or main.measure in ("dose", "rate"):
        return []
    parts: list[Any] = [limit.figure]
    if main.measure.endswith("/weight"):
        parts += [TIMES, weight]
    if main.measure.endswith("/surface"):
        parts += [TIMES, "body surface (square root of", child.height, TIMES, child.weight, "/ 3600, in m2)"]
    number = {"daily": "doses", "total": "given"}.get(main.measure.split("/")[0])
    if number:
        count = Fraction(*facts[number])
        parts += [BY, count, "doses" if count != 1 else "dose"]
    exception = len(limit.comparisons) > 1 and comes_to.value == Fraction(limit.comparisons[-1].p, limit.comparisons[-1].q)
    reckoned = Quantity(allowed(main, facts), comes_to.kind, comes_to.unit) if exception else comes_to
    note = f"the smallest dose, {show(comes_to)}, holds" if reckoned != comes_to else ""
    return [Step(f"{limit.name}, at most for one dose", tuple(parts), reckoned, note, down=True)]


def finding_of(case: Case, regimen: Regimen, told: Told, amount: Amount, upper: dict[str, Ratio]) -> Finding:
    """The finding for what was judged; the numbers it is told with are reckoned when it is told."""
    limits = [regimen.limits[index] for index in told.limits]
    most = "highest rate" if limits[0].main.measure.startswith("rate") else "most for one dose"
    data: dict[str, Any] = {"limit": limits[0].text, "comes": "", "medicine": case.medicine.id, "most": most}
    if told.outcome == NOT_CHECKED:
        named = dict.fromkeys(f"{limit.name} of {limit.text}" for limit in limits if not limit.beyond)
        return Finding(told.code, told.outcome, {**data, "limit": "; ".join(named)}, regimen.full_id, regimen.source)
    later = Later(limits[0].text, lambda: {**data, **_measured(case, limits[0], amount, upper)})
    return Finding(told.code, told.outcome, later, regimen.full_id, regimen.source)


def _measured(case: Case, limit: Limit, amount: Amount, upper: dict[str, Ratio]) -> dict[str, Any]:
    """What the order comes to in the limit's own measure, and how many times the limit that is."""
    order, base = case.order, limit.main.measure.split("/")[0]
    if base == "gap":
        return {"value": show_seconds(Fraction(*upper["gap"]))}
    if base in ("doses", "mean doses"):
        count = Fraction(*upper["doses" if base == "doses" else "average"])
        return {"value": f"{show_number(count)} dose{'s' * (count != 1)}"}
    if base in ("duration", "course"):
        return {"value": show_seconds((order.over if base == "duration" else order.course).value)}
    if base == "concentration":
        return {"value": amount.high / order.made_up_to}
    dose = amount.high if limit.main.sense == AT_MOST else amount.low
    return _dose_measured(case, limit, base, dose, upper)


_A_TIME = {"min": (60, " a minute"), "h": (3600, " an hour"), "day": (86_400, " a day")}


def _dose_measured(case: Case, limit: Limit, base: str, dose: Quantity, upper: dict[str, Ratio]) -> dict[str, Any]:
    total, words = _total(case, limit, base, dose, upper)
    data: dict[str, Any] = {"value": f"{show(total)}{words}"}
    if limit.main.measure.endswith("/weight"):
        data["value"] += f" ({show(total / case.weight.to('kg'))}{words if base == 'rate' else ''})"
        if base != "rate":
            comes = show(limit.figure * case.weight, down=limit.main.sense == AT_MOST)
            data["comes"] = f", which is {comes} at {show(case.weight)}"
    if limit.main.sense == AT_MOST:
        measured, bound = sides(limit.main, facts_for(limit, upper, upper, case.order))
        data["times"] = Fraction(measured, bound) if MEASURES[limit.main.measure].power == 1 else _root(Fraction(measured, bound))
    return data


def _root(square: Fraction) -> Fraction:
    """The square root to four decimals, for "about N times" alone."""
    return Fraction(isqrt(square.numerator * 10**8 // square.denominator), 10**4)


def _total(case: Case, limit: Limit, base: str, dose: Quantity, upper: dict[str, Ratio]) -> tuple[Quantity, str]:
    """The dose as the limit looks at it: alone, over 24 hours, over a window, or by time."""
    if base in ("daily", "average"):
        return dose * Fraction(*upper["doses" if base == "daily" else "average"]), " in 24 hours"
    if base == "total":
        window = limit.name.removeprefix("total over ")
        return dose * doses_given(window, case.order), f" over the {window}" if window.isalpha() else f" in {window}"
    if base == "rate":
        seconds, words = _A_TIME[limit.figure.unit.split("/")[-1]]
        return dose * (seconds / Fraction(*upper["over"])), words
    return dose, ""
