"""Surface area by every formula: typical values, agreement of the formulae, and how the area must move."""

from __future__ import annotations

from fractions import Fraction
from math import log10, sqrt

import pytest
from hypothesis import given
from hypothesis import strategies as st

from dosecheck.body.growth import lms_at
from dosecheck.body.surface import FORMULAE, area_by, mosteller_squared, rounded_root
from dosecheck.quantity import UNITS, Quantity

BY_NAME = {formula.name: formula for formula in FORMULAE}
grams = st.integers(min_value=1_000, max_value=150_000)
millimetres = st.integers(min_value=400, max_value=2_100)
names = st.sampled_from(sorted(BY_NAME))

# The same equations again, in binary floats and straight from the encyclopaedia's article on body surface area (and the
# abstract of Livingston and Lee 2001), so that a slip in a constant or in a power shows.
AGAIN = {
    "Mosteller": lambda h, w: sqrt(h * w / 3600),
    "Haycock": lambda h, w: 0.024265 * w**0.5378 * h**0.3964,
    "Du Bois": lambda h, w: 0.007184 * w**0.425 * h**0.725,
    "Gehan and George": lambda h, w: 0.0235 * h**0.42246 * w**0.51456,
    "Boyd": lambda h, w: 0.0003207 * h**0.3 * (1000 * w) ** (0.7285 - 0.0188 * log10(1000 * w)),
    "by weight alone": lambda h, w: 0.1173 * w**0.6466 if w >= 10 else 0.1037 * w**0.6724,
}


def weight_of(number: int) -> Quantity:
    return Quantity(number * UNITS["weight"]["g"], "weight", "kg")


def height_of(number: int) -> Quantity:
    return Quantity(number * UNITS["length"]["cm"] // 10, "length", "cm")


@given(names, millimetres, grams)
def test_each_equation_again_in_floats(name: str, height: int, weight: int) -> None:
    """To half the step of 0.0001 m2 that the area is rounded to."""
    area = area_by(BY_NAME[name], height_of(height), weight_of(weight)).number
    assert abs(float(area) - AGAIN[name](height / 10, weight / 1000)) <= 0.0000501


@given(millimetres, grams)
def test_mosteller_by_decimal_is_mosteller_by_squares(height: int, weight: int) -> None:
    squared = mosteller_squared(height_of(height), weight_of(weight))
    assert area_by(BY_NAME["Mosteller"], height_of(height), weight_of(weight)).value == rounded_root(squared)


@given(names, millimetres, grams, st.integers(min_value=1, max_value=20_000))
def test_more_weight_or_height_is_never_less_surface(name: str, height: int, weight: int, more: int) -> None:
    area = area_by(BY_NAME[name], height_of(height), weight_of(weight))
    assert area_by(BY_NAME[name], height_of(height), weight_of(weight + more)) >= area
    assert area_by(BY_NAME[name], height_of(height + more // 100), weight_of(weight)) >= area


@pytest.mark.parametrize(("day", "typical"), [(0, "0.25"), (731, "0.5"), (3653, "1.14")])
def test_a_median_child_has_the_typical_surface(day: int, typical: str) -> None:
    """Typical values of a newborn, of 2 and of 10 years (encyclopaedia's article on body surface area, normal values).

    Half-way between girls and boys; the formulae lie up to 20 % to either side, so that is the band.
    """
    medians = [[lms_at("who", sex, day, measure).median for sex in ("female", "male")] for measure in ("height", "weight")]
    height, weight = (sum(both) / 2 for both in medians)
    for formula in FORMULAE:
        area = area_by(formula, height_of(int(height * 10)), weight_of(int(weight * 1000))).number
        assert Fraction("0.8") < area / Fraction(typical) < Fraction("1.2"), formula.name


def test_du_bois_reads_low_in_obesity() -> None:
    """Livingston and Lee 2001: by as much as 20 % in obese patients; their own formula by weight is the yardstick."""
    height, weight = height_of(1700), weight_of(170_000)
    low, other = (area_by(BY_NAME[name], height, weight).number for name in ("Du Bois", "by weight alone"))
    assert 0.8 <= low / other < 0.95
