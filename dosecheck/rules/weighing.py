"""The child's weight against the age: which days and sexes it is held against, whether it is believable, in what words.

The curves are in `body/`, the policy's z-limits in the formulary, and what an unbelievable weight means in `concerns.py`.
"""

from __future__ import annotations

from collections.abc import Iterator
from decimal import Decimal
from fractions import Fraction
from itertools import pairwise
from typing import NamedTuple

from dosecheck.body.age import Age, age_from_parts
from dosecheck.body.believable import GRAM, Limits, weight_limits, z_ends
from dosecheck.body.growth import LAST_DAY, SEXES, table_for
from dosecheck.body.lms import centile
from dosecheck.formulary.cells import Interval
from dosecheck.formulary.load import Formulary
from dosecheck.formulary.weight_z import ZBand
from dosecheck.quantity import UNITS, Quantity
from dosecheck.records import Child
from dosecheck.rules.facts import TERM_FROM_DAYS, Body
from dosecheck.showing import show, show_number, show_ordinal

CORRECTED_BELOW = 731  # days: the age of a child born early is corrected below 2 years, a common choice; then no longer
_POUND = Fraction(UNITS["weight"]["lb"], UNITS["weight"]["kg"])


class Weighing(NamedTuple):
    """What a weight is held against: days of age (corrected or not), sexes, the reference's name, and the limits."""

    days: Interval
    corrected: bool
    sexes: tuple[str, ...]
    reference: str
    limits: Limits

    def believes(self, weight: Quantity) -> bool:
        return not (self.too_little(weight) or self.too_much(weight))

    def too_little(self, weight: Quantity) -> bool:
        return self.limits.low is not None and weight.value < self.limits.low * GRAM

    def too_much(self, weight: Quantity) -> bool:
        return self.limits.high is not None and weight.value > self.limits.high * GRAM


def weighing(child: Child, body: Body, formulary: Formulary, bands: tuple[ZBand, ...] | None = None) -> Weighing | str:
    """What the child's weight is held against, or a key of the catalogue's NOT_COMPARED: why against nothing.

    Args:
        bands: the z-limits; the policy's believable ones when left out.
    """
    if body.age is None:
        return "age"
    days, corrected = reference_days(child, body)
    if days[0] < 0:
        return "term"
    if days[1] > LAST_DAY:
        return "years"
    limits = weight_limits(formulary.z_bands if bands is None else bands, formulary.growth_reference, sexes_of(child), days)
    return Weighing(days, corrected, sexes_of(child), formulary.growth_reference, limits) if limits else "policy"


def is_far_above(child: Child, body: Body, formulary: Formulary) -> bool:
    """Whether the weight lies above the policy's far z-score, whichever the day and the sex; false where none is compared."""
    held = weighing(child, body, formulary, formulary.far_above) if child.weight and formulary.far_above else ""
    return isinstance(held, Weighing) and held.too_much(child.weight)


def reference_days(child: Child, body: Body) -> tuple[Interval, bool]:
    """The days of age at which the growth references are read, and whether they are corrected for an early birth.

    A child born before 37 weeks is held at the corrected age (from 40 weeks on) below 2 years since birth, and at the age
    since birth from then on; where an age as stated lies on both sides, the days span both.
    """
    age = body.age
    if not is_early(child) or age.days_lo >= CORRECTED_BELOW:
        return (age.days_lo, age.days_hi), False
    low, high = body.intervals["corrected days"]
    return (low, high if age.days_hi < CORRECTED_BELOW else age.days_hi), True


def is_early(child: Child) -> bool:
    """Known to be born before 37 weeks."""
    return child.gestation is not None and child.gestation < TERM_FROM_DAYS


def sexes_of(child: Child) -> tuple[str, ...]:
    """The sexes that the child may be of."""
    return (child.sex,) if child.sex else SEXES


def weight_z(child: Child, body: Body, formulary: Formulary) -> tuple[Decimal, Decimal] | None:
    """The least and the greatest z-score that the weight may have for the age, rounded to 0.01; None where there is none."""
    if not (child.weight and body.age):
        return None
    days, _ = reference_days(child, body)
    return z_ends(child.weight, formulary.growth_reference, sexes_of(child), days)


def single_z(child: Child, body: Body, formulary: Formulary) -> Decimal | None:
    """The z-score where it is one figure: the age known to the day, and the sex told."""
    ends = weight_z(child, body, formulary) if child.sex else None
    return ends[0] if ends and body.age.days_lo == body.age.days_hi and ends[0] == ends[1] else None


def weight_for_age(child: Child, body: Body, formulary: Formulary) -> str:
    """ "z -0.42, 34th centile (WHO, girls)"; "" where no reference fits."""
    ends = weight_z(child, body, formulary)
    return z_in_words(ends, "weight", child, body, formulary) if ends else ""


def z_in_words(ends: tuple[Decimal, Decimal], measure: str, child: Child, body: Body, formulary: Formulary) -> str:
    """The z-scores of one measure with their centiles, reference and sex."""
    days, corrected = reference_days(child, body)
    names = dict.fromkeys(table_for(formulary.growth_reference, day, measure).name for day in days)
    sex = {"female": ", girls", "male": ", boys"}.get(child.sex, "; sex not told: girls and boys")
    about = f"{' and '.join(names)}{sex}" + ("; age corrected for the early birth" if corrected else "")
    low, high = (show_number(Fraction(end)) for end in ends)
    return f"z {low}{f' to {high}' if low != high else ''}, {_centiles(*map(centile, ends))} ({about})"


def _centiles(low: int, high: int) -> str:
    """ "34th centile", "34th to 54th centile", "below the 1st centile", "up to the 12th centile"."""
    if low < 1:
        return "any centile" if high > 99 else "below the 1st centile" if high < 1 else f"up to the {show_ordinal(high)} centile"
    if high > 99:
        return "above the 99th centile" if low > 99 else f"{show_ordinal(low)} centile and above"
    return f"{show_ordinal(low)} centile" if low == high else f"{show_ordinal(low)} to {show_ordinal(high)} centile"


def explanations(child: Child, body: Body, formulary: Formulary, held: Weighing) -> Iterator[tuple[str, str]]:
    """What would make an unbelievable weight believable: keys of the catalogue's WEIGHT_SLIPS, with the other figure."""
    for slip, other in _other_weights(child.weight):
        if held.believes(other):
            yield slip, show(other)
    for age, text in _other_ages(child):
        there = weighing(child, body._replace(age=age), formulary)
        if isinstance(there, Weighing) and there.believes(child.weight):
            yield "age", text


def _other_weights(weight: Quantity) -> Iterator[tuple[str, Quantity]]:
    factors = {"pounds": _POUND, "kilograms": 1 / _POUND, "point": Fraction(1, 10), "point lost": Fraction(10)}
    for slip, factor in factors.items():
        yield slip, Quantity(weight.value * factor, "weight", "kg")
    for number in _swapped(show_number(weight.to("kg").number)):
        yield "digits", Quantity(number * UNITS["weight"]["kg"], "weight", "kg")


def _swapped(text: str) -> Iterator[Fraction]:
    """The number with two neighbouring digits changed over: "12.5" gives 21.5 and 15.2."""
    if not text.replace(".", "", 1).isdigit():  # a rounded number has no digits of its own to change
        return
    places = [place for place, char in enumerate(text) if char != "."]
    for one, two in pairwise(places):
        chars = list(text)
        chars[one], chars[two] = chars[two], chars[one]
        if chars != list(text) and chars[0] != "0":
            yield Fraction("".join(chars))


def _other_ages(child: Child) -> Iterator[tuple[Age, str]]:
    """Months for years, or years for months, where the age was told in one of them alone."""
    if not child.age or child.born or is_early(child):
        return
    told = {name: number for name, number in child.age._asdict().items() if number is not None}
    for one, other in (("years", "months"), ("months", "years")):
        if set(told) == {one} and told[one] <= LAST_DAY // 366:
            yield age_from_parts(**{other: told[one]}), f"{told[one]} {other if told[one] != 1 else other[:-1]}"
