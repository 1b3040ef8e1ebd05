"""Weights that are not on the scale: ideal weight for a height by three methods, and adjusted weight.

Each is reckoned once from the growth references with Decimal to 20 figures, rounded to 0.1 kg, and exact from there on.
The age is taken in completed months (an age in years alone is too coarse), from 2 years on, where children are measured
standing.  Which regimen goes by which weight is the formulary's; `rules/dosing.py` brings them together.  Lean weight is
not reckoned: the formula for children rests on an extracellular volume whose own formula nobody here has read.

Source of the three methods (after McLaren 1972, Moore 1985, and by body mass index): nutritioncarepro.com, page on ideal
body weight and pediatric energy estimation.  Source of the adjusted weight: pharmacy dosing flashcards, dosing and
calculations (brainscape.com); the share of 0.4 is practice in adults.  Growth tables: `tables/`.
"""

from __future__ import annotations

from collections.abc import Iterator
from decimal import ROUND_HALF_UP, Decimal, localcontext
from fractions import Fraction
from typing import NamedTuple

from dosecheck.body.age import Age, age_from_parts, say_age
from dosecheck.body.growth import LAST_DAY, MONTH, lms_at, table_for
from dosecheck.body.lms import FIGURES, STEP, Lms, value_at, z_score
from dosecheck.quantity import UNITS, Quantity
from dosecheck.showing import show
from dosecheck.working import BY, TIMES, Step

FIRST_MONTH, LAST_MONTH = 24, 240
SHARE = Fraction(2, 5)
FURTHEST = 3  # by Moore: a weight so far from the median as a height beyond this says nothing
ROUNDED = "rounded to 0.1 kg"
WORDS = {"female": "girls", "male": "boys"}
METHODS_SOURCE = (
    "ideal weight by body mass index, Moore and McLaren: nutritioncarepro.com, page on ideal body weight and pediatric energy estimation"
)
ADJUSTED_SOURCE = (
    "adjusted weight: pharmacy dosing flashcards (brainscape.com); the share of 0.4 is practice in adults, with aminoglycosides"
)
AGREE = "The three part company in adolescents and at extreme heights."
_SMALL = Decimal("0.0001")  # what is shown of a median in the working, and reckoned with


class Ideal(NamedTuple):
    """An ideal weight by one method, with its working; or none, and `why`."""

    method: str
    weight: Quantity | None
    steps: tuple[Step, ...]
    why: str = ""


class Standing(NamedTuple):
    """What the methods look at: the sex, the height and the completed months of age."""

    reference: str
    sex: str
    height: Quantity
    months: int

    @property
    def centimetres(self) -> Decimal:
        with localcontext(FIGURES):
            return Decimal(self.height.to("cm").number.numerator) / self.height.to("cm").number.denominator

    def lms(self, measure: str) -> Lms:
        return lms_at(self.reference, self.sex, first_day(self.months), measure)

    def whose(self, measure: str, months: int | None = None) -> str:
        """ "girls of 8 years 3 months, WHO" """
        months = self.months if months is None else months
        table = table_for(self.reference, first_day(months), measure)
        return f"{WORDS[self.sex]} of {say_age(age_from_parts(months=months))}, {table.name}"


def first_day(months: int) -> int:
    """The first whole day of a completed month, as the growth references count months."""
    return -(-months * MONTH[0] // MONTH[1])


def missing_for_ideal(age: Age | None, height: Quantity | None, sex: str | None) -> list[str]:
    """What must be told before an ideal weight can be reckoned, in words; empty when all is."""
    coarse = age is not None and age.months_lo != age.months_hi
    needed = [("the height", height is None), ("the sex", sex is None), ("the age", age is None)]
    return [words for words, lacks in needed if lacks] + (["the age in years and months, or the date of birth"] if coarse else [])


def standing(reference: str, age: Age, height: Quantity, sex: str) -> Standing | str:
    """The child as the methods see it, or why they do not cover it; all three particulars are told, the age to the month."""
    if not FIRST_MONTH <= age.months_lo < LAST_MONTH:
        return "ideal weight is reckoned from 2 years on and below 20 years"
    return Standing(reference, sex, height, age.months_lo)


def by_bmi(child: Standing) -> Ideal:
    """The weight at which the child, at its own height, would have the median body mass index of its age."""
    with localcontext(FIGURES):
        index = child.lms("bmi").median.quantize(_SMALL)
        weight = _kilograms(index * (child.centimetres / 100) ** 2)
    metres = child.height.to("m")
    note = f"median of {child.whose('bmi')}; {ROUNDED}"
    return Ideal(
        "by body mass index", weight, (Step("ideal weight", (f"{_plain(index)} kg/m2", TIMES, metres, TIMES, metres), weight, note),)
    )


def by_moore(child: Standing) -> Ideal:
    """The weight that lies as far from the median of its age as the height does."""
    with localcontext(FIGURES):
        z = z_score(child.centimetres, child.lms("height")).quantize(STEP)
    if abs(z) > FURTHEST:
        return Ideal("Moore", None, (), f"the height lies more than {FURTHEST} standard deviations from the median")
    weight = _kilograms(value_at(z, child.lms("weight")))
    note = f"height of {child.whose('height')}; weight of {child.whose('weight')}; {ROUNDED}"
    return Ideal("Moore", weight, (Step("ideal weight", (f"weight at the z-score of the height, {_plain(z)}",), weight, note),))


def by_mclaren(child: Standing) -> Ideal:
    """The median weight of the age at which the child's height is the median one."""
    day = next(_days_of_height(child), None)
    if day is None:
        return Ideal("McLaren", None, (), "the height is below the median of 2 years, or above every median of the reference")
    weight = _kilograms(lms_at(child.reference, child.sex, day).median)
    months = day * MONTH[1] // MONTH[0]
    note = f"median of {child.whose('weight', months)}, whose median height is the child's; {ROUNDED}"
    return Ideal("McLaren", weight, (Step("ideal weight", ("median weight for the height",), weight, note),))


METHODS = (by_bmi, by_moore, by_mclaren)


def _days_of_height(child: Standing) -> Iterator[int]:
    """The first day on which the median height has reached the child's: by months first, then by days."""
    tall = child.centimetres
    if tall < _median_height(child, first_day(FIRST_MONTH)):
        return
    month = next((m for m in range(FIRST_MONTH, LAST_MONTH) if _median_height(child, first_day(m)) >= tall), None)
    if month is not None:
        start = first_day(max(FIRST_MONTH, month - 1))
        yield next(day for day in range(start, LAST_DAY + 1) if _median_height(child, day) >= tall)


def _median_height(child: Standing, day: int) -> Decimal:
    return lms_at(child.reference, child.sex, day, "height").median


def adjusted(ideal: Quantity, actual: Quantity) -> tuple[Quantity, Step]:
    """Ideal weight and 0.4 of what the child weighs beyond it.  Exact."""
    actual = actual.to("kg")
    weight = Quantity(ideal.value + SHARE * (actual.value - ideal.value), "weight", "kg")
    return weight, Step("adjusted weight", (ideal, "+", SHARE, TIMES, f"({show(actual)} - {show(ideal)})"), weight)


def body_mass_index(height: Quantity, weight: Quantity) -> tuple[Fraction, Step]:
    """Weight in kg over the square of the height in m; exact."""
    kilograms, metres = weight.to("kg"), height.to("m")
    index = kilograms.number / metres.number**2
    return index, Step("body mass index", (kilograms, BY, metres, BY, metres, "=", index, "kg/m2"))


def _kilograms(number: Decimal) -> Quantity:
    tenths = int((number * 10).to_integral_value(ROUND_HALF_UP))
    return Quantity(tenths * UNITS["weight"]["kg"] // 10, "weight", "kg")


def _plain(number: Decimal) -> str:
    """A decimal without trailing zeros and without an exponent."""
    return f"{number.normalize():f}"
