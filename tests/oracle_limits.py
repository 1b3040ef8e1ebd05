"""The limits of one regimen for the slow oracle: every one that is due, compared with fractions, and what it means.

Shares no code with dosecheck.  A limit is a list of tests of which any may hold; a test gives True or False, or raises
Missing for a fact that is not told.
"""

from __future__ import annotations

from collections.abc import Callable
from fractions import Fraction
from math import ceil, floor, isqrt
from typing import NamedTuple

import oracle_words as words
from oracle_choose import NOT_CHECKED, QUERY, STOP, WITHIN, Case, Finding, is_infusion
from oracle_words import DAY, Amount

Test = Callable[[], bool]
Value = Callable[[], Fraction]
DRUGS = ("mass", "activity", "substance")


class Missing(Exception):
    """A fact that a limit needs is not told; `code` says which."""

    def __init__(self, code: str):
        self.code = code


# ---- the facts of an order ----


class Facts:
    """What the order and the child tell for one regimen; `single` holds the low and high end of one dose."""

    def __init__(self, case: Case, regimen: dict, ingredient: dict):
        self.case, self.regimen, self.ingredient, self.texts = case, regimen, ingredient, case.texts
        self.infusion = case.dose.per == "time"
        self.once = self.texts.get("once") == "yes" or self.texts.get("every") == "once"
        self.single = {"low": self._one_dose(case.dose.low), "high": self._one_dose(case.dose.high)}

    def need(self, key: str, code: str) -> str:
        if key not in self.texts:
            raise Missing(code)
        return self.texts[key]

    # how often

    def gap(self) -> Fraction:
        if "times_a_day" in self.texts:
            return Fraction(DAY, int(self.texts["times_a_day"]))
        return words.ends_of_time(self.need("every", "gap-not-told"))[0]

    def most(self) -> Fraction:
        """The most doses in any 24 hours; an infusion is an amount in each second."""
        if self.infusion or self.once:
            return Fraction(DAY if self.infusion else 1)
        if "at_most" in self.texts or "times_a_day" in self.texts:
            return Fraction(self.texts.get("at_most") or self.texts["times_a_day"])
        return Fraction(ceil(DAY / words.ends_of_time(self.need("every", "frequency-missing"))[0]))

    def mean(self) -> Fraction:
        """Doses a day on the average, at the longest time between them."""
        counted = self.infusion or self.once or "at_most" in self.texts or "every" not in self.texts
        return self.most() if counted else DAY / words.ends_of_time(self.texts["every"])[1]

    # the body

    def weight(self) -> Fraction:
        return words.kilograms(self.need("weight", "weight-missing"))

    def surface_squared(self) -> Fraction:
        """Mosteller: height x weight / 3600 is the square of the surface; an order per m2 takes the root, rounded."""
        if "weight" not in self.texts or "height" not in self.texts:
            raise Missing("height-missing")
        exact = words.centimetres(self.texts["height"]) * words.kilograms(self.texts["weight"]) / 3600
        return rounded_root(exact) ** 2 if "m2" in self.case.dose.high.below else exact

    def size_squared(self, bound: Amount) -> Fraction:
        """The square of what a bound per kg or per m2 is to be multiplied by; 1 for an absolute one."""
        if "kg" in bound.below:
            return self.weight() ** 2
        return self.surface_squared() if "m2" in bound.below else Fraction(1)

    # how much

    def _one_dose(self, order: Amount) -> Fraction:
        """One dose (of an infusion: one second) of this ingredient, in the regimen's kind of amount."""
        size = self.weight() if "kg" in order.below else Fraction(1)
        if "m2" in order.below:
            squared = self.surface_squared()
            size = Fraction(isqrt(squared.numerator), isqrt(squared.denominator))
        number = order.number * size / self._shares()
        kind = (high_end(self.regimen) or low_end(self.regimen)).what
        return self._into(kind, number, order.what)

    def _shares(self) -> Fraction:
        """How many doses a dose "a day" is shared out over: one whole number, or it cannot be."""
        if self.case.dose.per != "day":
            return Fraction(1)
        try:
            most, mean = self.most(), self.mean()
        except Missing:
            raise Missing("count-needed") from None
        if most != mean:
            raise Missing("count-needed")
        return most

    def _into(self, kind: str, number: Fraction, what: str) -> Fraction:
        named = self._named(what)
        strength = self.case.strength_of(self.ingredient)
        if what not in DRUGS and what != kind:
            if strength is None or what not in strength.below:
                raise Missing("product-needed")
            number, what = number * strength.number, strength.what
        elif what in DRUGS and named["id"] != self.ingredient["id"]:
            other = self.case.strength_of(named)
            if other is None:
                raise Missing("ingredient-amount-unknown")
            number, what = by_factor(named, number, what, other.what) * strength.number / other.number, strength.what
        if kind in DRUGS or what == kind:
            return by_factor(self.ingredient, number, what, kind)
        if strength is None or strength.below != {kind} or strength.what != what:
            raise Missing("product-needed")
        return number / strength.number

    def _named(self, what: str) -> dict:
        """The ingredient that an amount is of: it must be said where it could be of several things."""
        of, ingredients = self.case.dose.of, self.case.medicine["ingredient"]
        if of is not None:
            named = self.case.ingredient_named(of)
            if named is None:
                raise Missing("basis-unknown")
            return named
        if what in DRUGS and (len(ingredients) > 1 or self.case.medicine.get("basis") == "stated"):
            raise Missing("basis-missing")
        return ingredients[0]


def by_factor(ingredient: dict, number: Fraction, what: str, kind: str) -> Fraction:
    """From one kind of amount to another, where the ingredient's own factor says how."""
    if what == kind:
        return number
    ends = [words.amount(ingredient["equals"][key]) for key in ("amount", "is")] if "equals" in ingredient else []
    for one, other in (ends, ends[::-1]) if ends else ():
        if (one.what, other.what) == (what, kind):
            return number * other.number / one.number
    raise Missing("kind-differs")


def rounded_root(squared: Fraction) -> Fraction:
    """The root to the nearest 0.0001."""
    half_steps = isqrt(int(squared * 4 * 10**8))
    return Fraction((half_steps + 1) // 2, 10**4)


# ---- the figures of a regimen ----


def _dose_end(regimen: dict, end: str) -> Amount | None:
    dose = regimen["dose"]
    text = dose if isinstance(dose, str) else dose.get(end)
    return words.amount(text) if text else None


def high_end(regimen: dict) -> Amount | None:
    return _dose_end(regimen, "high")


def low_end(regimen: dict) -> Amount | None:
    return _dose_end(regimen, "low")


def bounds(regimen: dict, key: str) -> list[Amount]:
    texts = regimen.get(key, [])
    return [] if isinstance(texts, dict) else [words.amount(text) for text in texts]


def all_bounds(regimen: dict) -> list[Amount]:
    totals = [words.amount(text) for total in regimen.get("totals", []) for text in total["max"]]
    listed = [bound for key in ("max_single", "max_daily", "max_rate") for bound in bounds(regimen, key)]
    return [end for end in (high_end(regimen), low_end(regimen)) if end] + listed + totals


# ---- the limits of a regimen ----


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
        """A low dose is no matter where a maximum holds it down."""
        single = [self.at_least(self.low, bound) for bound in bounds(self.regimen, "max_single")]
        return single + [self.at_least(lambda: self.low() * self.facts.most(), bound) for bound in bounds(self.regimen, "max_daily")]

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
    if regimen.get("goes_by", "actual") != "actual" and any("kg" in bound.below for bound in all_bounds(regimen)):
        found.append(("weight-kind", NOT_CHECKED))
    counted = any(key in regimen for key in ("min_gap", "max_doses", "doses_a_day")) or bounds(regimen, "max_daily")
    if not counted and not facts.once and not is_infusion(regimen):
        found.append(("repeats-not-bounded", NOT_CHECKED))
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
