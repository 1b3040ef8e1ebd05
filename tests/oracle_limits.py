"""The limits of one regimen for the slow oracle: every one that is due, compared with fractions, and what it means.

Shares no code with dosecheck.  A limit is a list of tests of which any may hold; a test gives True or False, or raises
Missing for a fact that is not told.
"""

from __future__ import annotations

from collections.abc import Callable
from fractions import Fraction
from math import floor
from typing import NamedTuple

import oracle_words as words
from oracle_choose import NOT_CHECKED, QUERY, STOP, WITHIN, Case, Finding, is_infusion
from oracle_facts import Facts, Missing, all_bounds, bounds, high_end, low_end
from oracle_words import DAY, Amount

Test = Callable[[], bool]
Value = Callable[[], Fraction]


class Limit(NamedTuple):
    code: str
    outcome: str
    tests: list[Test]


class Rules:
    """Every limit of one regimen that is due for one order, in `limits`."""

    def __init__(self, facts: Facts):
        self.facts, self.regimen, self.limits = facts, facts.regimen, []
        own = self.regimen.get("query_up_to")
        usual = "0 %" if facts.case.medicine.get("high_risk") else facts.case.policy["query_up_to"]
        self.margin = words.percent(own or usual)
        self.per_day = self.regimen.get("per") == "day"
        self._one_dose()
        self._one_day()
        self._how_often()
        self._how_fast()
        self._how_long()

    def add(self, code: str, outcome: str, *tests: Test) -> None:
        self.limits.append(Limit(code, outcome, list(tests)))

    def low(self) -> Fraction:
        return self.facts.single["low"]

    def high(self) -> Fraction:
        return self.facts.single["high"]

    # comparisons are by squares, so that a body surface needs no root

    def at_most(self, value: Value, bound: Amount, share: Fraction = Fraction(1)) -> Test:
        return lambda: value() ** 2 <= (bound.number * share) ** 2 * self.facts.size_squared(bound)

    def at_least(self, value: Value, bound: Amount, share: Fraction = Fraction(1)) -> Test:
        return lambda: value() ** 2 >= (bound.number * share) ** 2 * self.facts.size_squared(bound)

    def upper(self, code: str, value: Value, bound: Amount, share: Fraction = Fraction(1), or_else: tuple[Test, ...] = ()) -> None:
        """An absolute bound stops; one per kg or per m2 asks above it and stops above the margin."""
        if not bound.below & {"kg", "m2"}:
            self.add(code, STOP, self.at_most(value, bound, share))
            return
        if self.margin:
            self.add(code, QUERY, self.at_most(value, bound, share), *or_else)
        self.add(code, STOP, self.at_most(value, bound, share * (1 + self.margin)), *or_else)

    def _floor(self) -> tuple[Test, ...]:
        if "floor" not in self.regimen:
            return ()
        return (lambda: self.high() <= words.amount(self.regimen["floor"]).number,)

    def _held_down(self) -> list[Test]:
        """A low dose is no matter where a maximum holds it down, less the policy's allowance for rounding down."""
        share = 1 - words.percent(self.facts.case.policy["point_allowance"])
        single = [self.at_least(self.low, bound, share) for bound in bounds(self.regimen, "max_single")]
        return single + [self.at_least(lambda: self.low() * self.facts.most(), bound, share) for bound in bounds(self.regimen, "max_daily")]

    def _lower(self, code: str, value: Value) -> None:
        end = low_end(self.regimen)
        if end:
            allowance = words.percent(self.facts.case.policy["point_allowance"])
            share = 1 - allowance if isinstance(self.regimen["dose"], str) else Fraction(1)
            self.add(code, QUERY, self.at_least(value, end, share), *self._held_down())

    def _one_dose(self) -> None:
        high = high_end(self.regimen)
        share = Fraction(1, min(self.regimen["doses_a_day"])) if self.per_day else Fraction(1)
        if high:
            self.upper("dose-above-range", self.high, high, share, self._floor())
        if not self.per_day:
            self._lower("dose-below-range", self.low)
        for bound in bounds(self.regimen, "max_single"):
            self.upper("dose-above-single-max", self.high, bound, or_else=self._floor())
        if "floor" in self.regimen:
            self.add("dose-below-floor", QUERY, lambda: self.low() >= words.amount(self.regimen["floor"]).number)

    def _one_day(self) -> None:
        day = lambda: self.high() * self.facts.most()  # noqa: E731
        for bound in bounds(self.regimen, "max_daily"):
            self.upper("day-above-max", day, bound)
        if self.per_day:
            if high_end(self.regimen):
                self.upper("day-above-range", day, high_end(self.regimen))
            self._lower("day-below-range", lambda: self.low() * self.facts.mean())

    def _how_often(self) -> None:
        facts, regimen = self.facts, self.regimen
        if "min_gap" in regimen and not facts.once and not facts.infusion:
            self.add("gap-too-short", STOP, lambda: facts.gap() >= words.seconds(regimen["min_gap"]))
        if "max_doses" in regimen:
            self.add("too-many-doses", STOP, lambda: facts.most() <= regimen["max_doses"])
        if "doses_a_day" in regimen:  # every number from the fewest to the most that the order can come to
            listed = lambda: set(range(floor(facts.mean()), int(facts.most()) + 1)) <= set(regimen["doses_a_day"])  # noqa: E731
            self.add("doses-a-day-not-listed", QUERY, listed)

    def due(self, key: str, measure: str) -> bool:
        return key in self.facts.texts or measure in self.regimen.get("required", [])

    def _how_fast(self) -> None:
        facts, regimen = self.facts, self.regimen
        over = lambda: words.seconds(facts.need("over", "rate-not-stated"))  # noqa: E731
        volume = lambda: words.amount(facts.need("made_up_to", "concentration-not-stated")).number  # noqa: E731
        if facts.infusion:
            for bound in bounds(regimen, "max_rate"):
                self.upper("rate-above-max", self.high, bound)
        elif self.due("over", "rate"):
            for bound in bounds(regimen, "max_rate"):
                self.upper("rate-above-max", lambda: self.high() / over(), bound)
            if "min_duration" in regimen:
                self.add("given-too-fast", STOP, lambda: over() >= words.seconds(regimen["min_duration"]))
        if "max_concentration" in regimen and self.due("made_up_to", "concentration"):
            self.upper("concentration-above-max", lambda: self.high() / volume(), words.amount(regimen["max_concentration"]))

    def _how_long(self) -> None:
        facts, regimen = self.facts, self.regimen
        course = lambda: words.seconds(facts.need("course", "course-not-stated"))  # noqa: E731
        if "max_course" in regimen and self.due("course", "course"):
            self.add("course-too-long", STOP, lambda: course() <= words.seconds(regimen["max_course"]))
        for total in regimen.get("totals", []):
            over = total["over"]
            if facts.once or (over != "episode" and self.due("course", "course")):
                doses = (lambda: Fraction(1)) if facts.once else lambda over=over: self._doses_of(over, course())
                for text in total["max"]:
                    self.upper("total-above-max", lambda doses=doses: self.high() * doses(), words.amount(text))

    def _doses_of(self, over: str, course: Fraction) -> Fraction:
        return self.facts.most() * (course if over == "course" else min(course, words.seconds(over))) / DAY


# ---- the whole of one regimen ----


def judged(case: Case, regimen: dict, ingredient: dict) -> list[Finding]:
    """(code, outcome) of every limit that is not met, and ("", within) of every one that is."""
    try:
        facts = Facts(case, regimen, ingredient)
    except Missing as reason:
        return [(reason.code, NOT_CHECKED)]
    found = [_answered(limit) for limit in Rules(facts).limits]
    speaks = any(band in regimen for band in ("gestation", "postmenstrual", "corrected"))
    if case.is_small_preterm() and not speaks:
        found.append(("preterm", QUERY))
    per_kg = any("kg" in bound.below for bound in all_bounds(regimen))
    if regimen.get("goes_by", "actual") != "actual" and per_kg:
        found.append(("weight-kind", NOT_CHECKED))
    if "goes_by" not in regimen and per_kg and case.weight_is_far_above():
        found.append(("weight-far-above", QUERY))
    counted = any(key in regimen for key in ("max_doses", "doses_a_day")) or bounds(regimen, "max_daily")
    short = "min_gap" in regimen and words.seconds(regimen["min_gap"]) < words.HOUR
    if not counted and not facts.once and not is_infusion(regimen) and (short or "min_gap" not in regimen):
        found.append(("repeats-not-bounded", QUERY if short else NOT_CHECKED))
    return found


def _answered(limit: Limit) -> Finding:
    missing = []
    for test in limit.tests:
        try:
            if test():
                return "", WITHIN
        except Missing as reason:
            missing.append(reason.code)
    return (missing[0], NOT_CHECKED) if missing else (limit.code, limit.outcome)
