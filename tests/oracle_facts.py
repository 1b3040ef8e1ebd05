"""The facts of one order for the slow oracle: how often, how heavy, how much of the ingredient, and a regimen's figures.

Shares no code with dosecheck.  What is not told raises Missing with the code that says so.
"""

from __future__ import annotations

from fractions import Fraction
from math import ceil, isqrt

import oracle_words as words
from oracle_choose import Case
from oracle_words import DAY, Amount

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
