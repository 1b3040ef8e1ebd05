"""A slow second opinion: one order checked straight from the TOML files, with fractions, by the written rules alone.

Shares no code with dosecheck.  `check(folder, texts)` gives (outcome, sorted codes); test_oracle.py compares them with
the engine's.  It reads well-formed texts only.  Amounts, dates and ages are in oracle_words.py; which regimens fit is
in oracle_choose.py; here are the limits of one regimen, and how the answers join.
"""

from __future__ import annotations

from fractions import Fraction
from math import ceil, isqrt
from pathlib import Path
from typing import Any, NamedTuple

import oracle_words as words
from oracle_choose import Case, Missing, age_limits, choose, load, shelf_of
from oracle_words import DAY, Amount

STOP, NOT_CHECKED, QUERY, WITHIN = "stop", "not-checked", "query", "within"


def worst(outcomes: list[str]) -> str:
    return next((outcome for outcome in (STOP, NOT_CHECKED, QUERY, WITHIN) if outcome in outcomes), NOT_CHECKED)


def agreed(outcomes: list[str]) -> str:
    if len(set(outcomes)) == 1:
        return outcomes[0]
    return NOT_CHECKED if NOT_CHECKED in outcomes else QUERY


# ---- the facts of an order ----


class Facts:
    """What the order and the child tell for one regimen; each is worked out when a limit asks, or is Missing."""

    def __init__(self, case: Case, regimen: dict, ingredient: dict):
        self.case, self.regimen, self.ingredient, self.texts = case, regimen, ingredient, case.texts
        self.dose_text = words.dose(case.texts["dose"])

    def need(self, key: str, code: str) -> str:
        if key not in self.texts:
            raise Missing(code)
        return self.texts[key]

    @property
    def once(self) -> bool:
        return self.texts.get("once") == "yes" or self.texts.get("every") == "once"

    @property
    def infusion(self) -> bool:
        return self.dose_text.per == "time"

    # how often

    def gap(self) -> Fraction:
        if "every" in self.texts:
            return _ends(self.texts["every"])[0]
        return Fraction(DAY, int(self.need("times_a_day", "gap-not-told")))

    def most(self) -> int:
        """The most doses in any 24 hours."""
        if self.infusion:
            return DAY
        if self.once:
            return 1
        if "at_most" in self.texts:
            return int(self.texts["at_most"])
        if "every" in self.texts:
            return ceil(DAY / _ends(self.texts["every"])[0])
        return int(self.need("times_a_day", "frequency-missing"))

    def mean(self) -> Fraction:
        """Doses a day on the average, at the longest time between them."""
        if "every" in self.texts and not (self.infusion or self.once or "at_most" in self.texts):
            return DAY / _ends(self.texts["every"])[1]
        return Fraction(self.most())

    # the body

    def weight(self) -> Fraction:
        if "weight" not in self.texts:
            raise Missing("weight-missing")
        return words.kilograms(self.texts["weight"])

    def surface_squared(self) -> Fraction:
        """Mosteller: the square of the surface is height x weight / 3600."""
        if "weight" not in self.texts or "height" not in self.texts:
            raise Missing("height-missing")
        exact = words.centimetres(self.texts["height"]) * words.kilograms(self.texts["weight"]) / 3600
        return self.surface_rounded(exact) ** 2 if "m2" in self.dose_text.high.below else exact

    @staticmethod
    def surface_rounded(squared: Fraction) -> Fraction:
        tenthousandths = isqrt(int(squared * 4 * 10**8))  # of half a step, cut down
        return Fraction((tenthousandths + 1) // 2, 10**4)

    def size_squared(self, bound: Amount) -> Fraction:
        """The square of what a bound per kg or per m2 is to be multiplied by; 1 for an absolute one."""
        if "kg" in bound.below:
            if self.regimen.get("goes_by", "actual") != "actual":
                raise Missing("weight-kind")
            return self.weight() ** 2
        return self.surface_squared() if "m2" in bound.below else Fraction(1)

    # how much

    def single(self, end: str, what: str) -> Fraction:
        """The bottom ("low") or top ("high") of one dose (of an infusion: of a second) of this ingredient, in `what`."""
        order: Amount = getattr(self.dose_text, end)
        if self.infusion != is_infusion(self.regimen):
            raise Missing("kind-differs")
        number, found = self._of_this_ingredient(order)
        number = self._in_kind(number, found, what)
        if "kg" in order.below:
            number *= self.weight()
        if "m2" in order.below:
            squared = self.surface_squared()
            number *= Fraction(isqrt(squared.numerator), isqrt(squared.denominator))
        return number / self._shares()

    def _shares(self) -> Fraction:
        if self.dose_text.per != "day":
            return Fraction(1)
        try:
            most, mean = self.most(), self.mean()
        except Missing:
            raise Missing("count-needed") from None
        if most != mean:
            raise Missing("count-needed")
        return Fraction(most)

    def _of_this_ingredient(self, order: Amount) -> tuple[Fraction, str]:
        strengths = self.case.strengths()
        if order.what not in ("mass", "activity", "substance"):
            if strengths is None:
                raise Missing("product-needed")
            mine = strengths.get(self.ingredient["id"])
            if mine is None:
                raise Missing("ingredient-amount-unknown")
            if order.what not in mine.below:
                raise Missing("kind-differs")
            return order.number * mine.number, mine.what
        named = self.case.named_ingredient(self.dose_text.of)
        if named["id"] == self.ingredient["id"]:
            return order.number, order.what
        if not strengths or not {named["id"], self.ingredient["id"]} <= set(strengths):
            raise Missing("ingredient-amount-unknown")
        of, mine = strengths[named["id"]], strengths[self.ingredient["id"]]
        return order.number * mine.number / of.number, mine.what

    def _in_kind(self, number: Fraction, found: str, what: str) -> Fraction:
        if found == what:
            return number
        if "equals" in self.ingredient:
            one, other = (words.amount(self.ingredient["equals"][key]) for key in ("amount", "is"))
            if (found, what) == (one.what, other.what):
                return number * other.number / one.number
            if (found, what) == (other.what, one.what):
                return number * one.number / other.number
        raise Missing("kind-differs")


def _ends(every: str) -> tuple[Fraction, Fraction]:
    """The shortest and the longest time of "6 hours" or "4 to 6 hours"."""
    *first, last = every.split(" to ")
    unit = last.split(" ")[1]
    return words.seconds(f"{first[0]} {unit}" if first else last), words.seconds(last)


def is_infusion(regimen: dict) -> bool:
    return any("time" in bound.below for bound in dose_ends(regimen).values())


# ---- the limits of one regimen ----


class Limit(NamedTuple):
    """Met when any of `tests` holds; `tests` are functions that give True or False, or raise Missing."""

    code: str
    outcome: str
    tests: list


def dose_ends(regimen: dict) -> dict[str, Amount]:
    dose = regimen["dose"]
    if isinstance(dose, str):
        return {"point": words.amount(dose)}
    return {end: words.amount(text) for end, text in dose.items()}


def judge(limits: list[Limit]) -> tuple[list[str], set[str]]:
    """The outcome of each limit, and the codes of those that are not met."""
    outcomes, codes = [], set()
    for limit in limits:
        missing, held = [], False
        for test in limit.tests:
            try:
                held = held or test()
            except Missing as reason:
                missing.append(reason.code)
        if held:
            outcomes.append(WITHIN)
        elif missing:
            outcomes.append(NOT_CHECKED)
            codes.add(missing[0])
        else:
            outcomes.append(limit.outcome)
            codes.add(limit.code)
    return outcomes, codes


class Rules:
    """Every limit of one regimen that is due for one order."""

    def __init__(self, facts: Facts):
        self.facts, self.regimen, self.limits = facts, facts.regimen, []
        policy = facts.case.policy
        self.margin = Fraction(0) if facts.case.medicine.get("high_risk") else policy["query_up_to"]
        if "query_up_to" in self.regimen:
            self.margin = words.percent(self.regimen["query_up_to"])
        self.maxima = [words.amount(text) for text in self.regimen.get("max_single", [])]
        daily = self.regimen.get("max_daily", [])
        self.daily_maxima = [] if isinstance(daily, dict) else [words.amount(text) for text in daily]
        ends = dose_ends(self.regimen)
        self.high = ends.get("point", ends.get("high"))
        self.low = ends.get("low")
        if "point" in ends:
            self.low = ends["point"]._replace(number=ends["point"].number * (1 - policy["point_allowance"]))

    def add(self, code: str, outcome: str, *tests: Any) -> None:
        self.limits.append(Limit(code, outcome, list(tests)))

    def all(self) -> list[Limit]:
        self.one_dose()
        self.one_day()
        self.how_often()
        self.how_fast()
        self.how_long()
        return self.limits

    # comparisons: value against bound x size, by squares, so that a surface needs no root

    def value(self, end: str, bound: Amount, times: Any = lambda: 1) -> Fraction:
        return self.facts.single(end, bound.what) * times()

    def at_most(self, value: Any, bound: Amount, share: Fraction = Fraction(1)) -> Any:
        return lambda: value() ** 2 <= (bound.number * share) ** 2 * self.facts.size_squared(bound)

    def at_least(self, value: Any, bound: Amount) -> Any:
        return lambda: value() ** 2 >= bound.number**2 * self.facts.size_squared(bound)

    def upper(self, code: str, value: Any, bound: Amount, share: Fraction = Fraction(1), or_else: tuple = ()) -> None:
        """One limit for an absolute bound; two, query and stop, for one per kg or per m2 with a margin."""
        graded = bool(bound.below & {"kg", "m2"})
        others = or_else if graded else ()
        if graded and self.margin > 0:
            self.add(code, QUERY, self.at_most(value, bound, share), *others)
            self.add(code, STOP, self.at_most(value, bound, share * (1 + self.margin)), *others)
        else:
            self.add(code, STOP, self.at_most(value, bound, share), *others)

    def or_floor(self) -> tuple:
        if "floor" not in self.regimen:
            return ()
        floor = words.amount(self.regimen["floor"])
        return (lambda: self.value("high", floor) <= floor.number,)

    def or_held_down_by_a_maximum(self) -> list:
        single = [self.at_least(lambda b=b: self.value("low", b), b) for b in self.maxima]
        daily = [self.at_least(lambda b=b: self.value("low", b, self.facts.most), b) for b in self.daily_maxima]
        return single + daily

    def one_dose(self) -> None:
        if self.regimen.get("per", "dose") == "dose":
            if self.high:
                self.upper("dose-above-range", lambda: self.value("high", self.high), self.high, or_else=self.or_floor())
            if self.low:
                low = self.at_least(lambda: self.value("low", self.low), self.low)
                self.add("dose-below-range", QUERY, low, *self.or_held_down_by_a_maximum())
        for bound in self.maxima:
            self.upper("dose-above-single-max", lambda b=bound: self.value("high", b), bound, or_else=self.or_floor())
        if "floor" in self.regimen:
            floor = words.amount(self.regimen["floor"])
            self.add("dose-below-floor", QUERY, lambda: self.value("low", floor) >= floor.number)

    def one_day(self) -> None:
        facts = self.facts
        for bound in self.daily_maxima:
            self.upper("day-above-max", lambda b=bound: self.value("high", b, facts.most), bound)
        if self.regimen.get("per", "dose") != "day":
            return
        allowed = self.regimen["doses_a_day"]
        self.add("doses-a-day-not-listed", QUERY, lambda: facts.most() in allowed)
        if self.high:
            self.upper("day-above-range", lambda: self.value("high", self.high, facts.most), self.high)
            share = Fraction(1, min(allowed))
            self.upper("dose-above-range", lambda: self.value("high", self.high), self.high, share, self.or_floor())
        if self.low:
            low = self.at_least(lambda: self.value("low", self.low, facts.mean), self.low)
            self.add("day-below-range", QUERY, low, *self.or_held_down_by_a_maximum())

    def how_often(self) -> None:
        facts = self.facts
        if "min_gap" in self.regimen and not (facts.once or facts.infusion):
            self.add("gap-too-short", STOP, lambda: facts.gap() >= words.seconds(self.regimen["min_gap"]))
        if "max_doses" in self.regimen:
            self.add("too-many-doses", STOP, lambda: facts.most() <= self.regimen["max_doses"])

    def due(self, key: str, measure: str) -> bool:
        return key in self.facts.texts or measure in self.regimen.get("required", [])

    def how_fast(self) -> None:
        over = lambda: words.seconds(self.facts.need("over", "rate-not-stated"))  # noqa: E731
        if self.due("over", "rate"):
            for bound in map(words.amount, self.regimen.get("max_rate", [])):
                self.upper("rate-above-max", lambda b=bound: self.value("high", b) / over(), bound)
            if "min_duration" in self.regimen:
                self.add("given-too-fast", STOP, lambda: over() >= words.seconds(self.regimen["min_duration"]))
        if "max_concentration" in self.regimen and self.due("made_up_to", "concentration"):
            volume = lambda: words.millilitres(self.facts.need("made_up_to", "concentration-not-stated"))  # noqa: E731
            bound = words.amount(self.regimen["max_concentration"])
            self.upper("concentration-above-max", lambda: self.value("high", bound) / volume(), bound)

    def how_long(self) -> None:
        course = lambda: words.seconds(self.facts.need("course", "course-not-stated"))  # noqa: E731
        if "max_course" in self.regimen and self.due("course", "course"):
            self.add("course-too-long", STOP, lambda: course() <= words.seconds(self.regimen["max_course"]))
        for total in self.regimen.get("totals", []):
            if self.facts.once or (total["over"] != "episode" and self.due("course", "course")):
                doses = self._doses_of(total["over"], course)
                for bound in map(words.amount, total["max"]):
                    self.upper("total-above-max", lambda b=bound, n=doses: self.value("high", b, n), bound)

    def _doses_of(self, over: str, course: Any) -> Any:
        if self.facts.once:
            return lambda: 1
        if over == "course":
            return lambda: self.facts.most() * course() / DAY
        return lambda: self.facts.most() * min(course(), words.seconds(over)) / DAY


# ---- joining ----


def check(folder: str | Path, texts: dict[str, str]) -> tuple[str, tuple[str, ...]]:
    """The outcome and the sorted codes of one order."""
    outcomes, codes = _check(load(str(folder)), texts)
    return worst(outcomes), tuple(sorted(codes))


def _check(formulary: dict, texts: dict[str, str]) -> tuple[list[str], set[str]]:
    if "medicine" not in texts:
        return [NOT_CHECKED], {"medicine-missing"}
    medicine = formulary["medicines"].get(" ".join(texts["medicine"].lower().split()))
    if medicine is None:
        return [NOT_CHECKED], {"medicine-unknown"}
    case = Case(texts, medicine, formulary["policy"])
    findings = case.findings()
    outcomes, codes = [o for _, o in findings], {c for c, _ in findings}
    shelf, fault = shelf_of(case)
    missing = {fault, None if case.age else "age-missing", None if "dose" in texts else "dose-missing"} - {None}
    outcomes, codes = outcomes + [NOT_CHECKED for _ in missing], codes | missing
    if case.age is None:
        return outcomes, codes
    for ingredient in medicine["ingredient"]:
        outcome, more = _one_ingredient(case, shelf, ingredient)
        outcomes, codes = [*outcomes, outcome], codes | more
    return outcomes, codes


def _one_ingredient(case: Case, shelf: list[dict], ingredient: dict) -> tuple[str, set[str]]:
    """Every reading: each regimen that fits at some age that the child may have; age limits join at each age."""
    stretches, readings, codes = [], [], set()
    for regimens, limits in choose(case, shelf, ingredient):
        found = [_one_reading(case, reading, ingredient) for reading in regimens]
        outcome = agreed([o for o, _ in found])
        readings += [o for o, _ in found]
        codes = codes.union(*(c for _, c in found), (code for code, _ in limits))
        stretches.append(worst([outcome, *(o for _, o in limits)]))
    if len(set(readings)) > 1 or len(set(stretches)) > 1:
        codes.add("regimens-differ")
    return agreed(stretches), codes


def _one_reading(case: Case, reading: Any, ingredient: dict) -> tuple[str, set[str]]:
    if isinstance(reading, str):  # a reason why there is no regimen to go by
        return (WITHIN, set()) if reading == "covered" else (NOT_CHECKED, {reading})
    regimen, unsure = reading
    if "dose" not in case.texts:
        return NOT_CHECKED, {"dose-missing"}
    if unsure:
        return NOT_CHECKED, {unsure}
    outcomes, codes = judge(Rules(Facts(case, regimen, ingredient)).all())
    for code, outcome in case.findings_of(regimen):
        outcomes, codes = [*outcomes, outcome], codes | {code}
    return worst(outcomes), codes


__all__ = ["age_limits", "check"]
