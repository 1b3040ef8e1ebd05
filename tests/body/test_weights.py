"""Ideal and adjusted weight: against the tables themselves, against each other, and where they are not reckoned."""

from __future__ import annotations

from decimal import Decimal
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from dosecheck.body.age import age_from_parts
from dosecheck.body.growth import lms_at
from dosecheck.body.weights import (
    FURTHEST,
    METHODS,
    Standing,
    adjusted,
    by_bmi,
    by_mclaren,
    by_moore,
    first_day,
    missing_for_ideal,
    standing,
)
from dosecheck.quantity import UNITS, Quantity
from dosecheck.reading import read_length, read_weight

KG = UNITS["weight"]["kg"]


def seen(sex: str, months: int, height: Decimal | str) -> Standing:
    length = read_length(f"{height} cm")
    found = standing("who", age_from_parts(months=months), length, sex)
    assert isinstance(found, Standing)
    return found


def test_by_bmi_is_the_printed_median_times_the_height_squared() -> None:
    """17.9966 kg/m2 is the median of girls of 12 years (WHO Reference 2007); 1.5 m squared is 2.25 m2; by hand 40.492 kg."""
    found = by_bmi(seen("female", 144, "150"))
    assert found.weight == read_weight("40.5 kg")
    assert "17.9966 kg/m2 x 1.5 m x 1.5 m = 40.5 kg" in found.steps[0].text


@given(st.sampled_from(("female", "male")), st.integers(min_value=25, max_value=119))
def test_a_child_of_median_height_has_the_median_weight_by_moore_and_mclaren(sex: str, months: int) -> None:
    """By their own definitions; within the rounding to 0.1 kg and the height's to 0.1 cm, McLaren's day included.

    Above 10 years the weights are another reference's than the heights, so there it holds no longer.
    """
    day = first_day(months)
    height = lms_at("who", sex, day, "height").median.quantize(Decimal("0.1"))
    median = float(lms_at("who", sex, day).median)
    child = seen(sex, months, height)
    assert abs(float(by_moore(child).weight.number) - median) < 0.1
    assert abs(float(by_mclaren(child).weight.number) - median) < 0.15


@given(st.sampled_from(("female", "male")), st.integers(min_value=25, max_value=119))
def test_the_three_agree_in_the_middle(sex: str, months: int) -> None:
    """The source: they agree in mid-range children; held here to 6 % for children of median height below 10 years."""
    height = lms_at("who", sex, first_day(months), "height").median.quantize(Decimal("0.1"))
    weights = [method(seen(sex, months, height)).weight.value for method in METHODS]
    assert max(weights) / min(weights) < Fraction(106, 100)


def test_they_part_company_in_a_tall_adolescent() -> None:
    """The source: in adolescents and at extreme heights; McLaren is undefined above the adult median."""
    child = seen("male", 14 * 12, "180")
    assert by_mclaren(child).weight is None and "above every median" in by_mclaren(child).why
    assert by_moore(child).weight.value > by_bmi(child).weight.value * Fraction(11, 10)


def test_moore_is_silent_beyond_three_standard_deviations() -> None:
    found = by_moore(seen("female", 15 * 12, "185"))
    assert found.weight is None and str(FURTHEST) in found.why


@given(st.sampled_from(METHODS), st.sampled_from(("female", "male")), st.integers(24, 239), st.integers(800, 2000), st.integers(1, 100))
def test_more_height_is_never_less_ideal_weight(method, sex: str, months: int, height: int, more: int) -> None:
    one, other = (method(seen(sex, months, Decimal(h) / 10)).weight for h in (height, height + more))
    assert one is None or other is None or one <= other


@given(st.integers(100, 900), st.integers(100, 1500))
def test_adjusted_lies_four_tenths_of_the_way(ideal: int, actual: int) -> None:
    """Ideal + 0.4 x (actual - ideal): exact, between the two, and nearer to the ideal."""
    one, other = (Quantity(n * KG // 10, "weight", "kg") for n in (ideal, actual))
    weight, step = adjusted(one, other)
    assert weight.value == one.value + Fraction(4, 10) * (other.value - one.value)
    assert min(one, other) <= weight <= max(one, other)
    assert step.text.startswith("adjusted weight: ") and "+ 0.4 x (" in step.text


@pytest.mark.parametrize("months", [0, 23, 240])
def test_outside_the_ages_it_is_refused(months: int) -> None:
    assert "from 2 years on" in standing("who", age_from_parts(months=months), read_length("86 cm"), "male")


def test_what_is_missing_is_named() -> None:
    assert missing_for_ideal(None, None, None) == ["the height", "the sex", "the age"]
    assert missing_for_ideal(age_from_parts(years=8), read_length("127 cm"), "male") == [
        "the age in years and months, or the date of birth"
    ]
    assert missing_for_ideal(age_from_parts(years=8, months=3), read_length("127 cm"), "male") == []
