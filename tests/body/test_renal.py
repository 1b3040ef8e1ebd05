"""Kidney function: units of creatinine, how it must move, where it is not reckoned, and the categories' edges."""

from __future__ import annotations

from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from dosecheck.body.age import age_from_parts
from dosecheck.body.renal import STAGES, UNIT, kidneys, stage_of
from dosecheck.errors import TextError
from dosecheck.quantity import UNITS, Quantity
from dosecheck.reading import read_creatinine, read_filtration, read_length

EIGHT = age_from_parts(years=8)
HEIGHT = read_length("125 cm")
tenths = st.integers(min_value=50, max_value=30_000)  # creatinine in 0.1 micromol/L
centimetres = st.integers(min_value=60, max_value=200)


def creatinine(number: int, unit: str = "micromol/L") -> Quantity:
    return Quantity(number, "creatinine", unit)


def rate(height: int, number: int) -> Fraction:
    return kidneys(EIGHT, Quantity(height * UNITS["length"]["cm"], "length", "cm"), creatinine(number)).rate.value


def test_the_factor_between_the_units_is_the_molar_mass() -> None:
    """Creatinine is C4H7N3O; standard atomic weights (IUPAC, abridged to five figures) give 113.12 g/mol, and 1 mg/dL is
    10 mg/L: 88.40 micromol/L, which the factor has to one decimal."""
    mass = 4 * Fraction("12.011") + 7 * Fraction("1.008") + 3 * Fraction("14.007") + Fraction("15.999")
    exact = Fraction(10_000) / mass
    assert mass == Fraction("113.12")
    assert abs(exact - Fraction("88.4")) < Fraction("0.05")
    assert read_creatinine("1 mg/dL").to("micromol/L").number == Fraction("88.4")


@given(centimetres, tenths)
def test_the_unit_does_not_matter(height: int, number: int) -> None:
    length = Quantity(height * UNITS["length"]["cm"], "length", "cm")
    one, other = (kidneys(EIGHT, length, creatinine(number, unit)) for unit in ("micromol/L", "mg/dL"))
    assert one.rate == other.rate and one.stage == other.stage
    exact = Fraction(413, 1000) * height * 884 / number
    assert 0 <= exact - one.rate.value < Fraction(1, 10) and (one.rate.value * 10).denominator == 1


@given(centimetres, tenths, st.integers(min_value=1, max_value=500))
def test_more_creatinine_is_less_filtration_and_more_height_is_more(height: int, number: int, more: int) -> None:
    assert rate(height, number + more) <= rate(height, number) <= rate(height + 1, number)
    order = [name for name, _ in STAGES]
    stages = [order.index(stage_of(Quantity(value, "filtration", UNIT))) for value in (rate(height, number), rate(height, number + more))]
    assert stages[0] <= stages[1]


def test_the_old_constant_reads_20_to_40_percent_high() -> None:
    """National Kidney Foundation, page on the bedside Schwartz equation: 0.55 with a modern creatinine."""
    assert Fraction(12, 10) < Fraction(55, 100) / (rate(100, 884) / 100) < Fraction(14, 10)


@pytest.mark.parametrize(
    ("parts", "why"),
    [
        ({"months": 11}, "below 1 year"),
        ({"days": 365}, "may be below 1 year"),
        ({"years": 18}, "from 18 years"),
    ],
)
def test_outside_its_ages_it_is_refused(parts: dict[str, int], why: str) -> None:
    found = kidneys(age_from_parts(**parts), HEIGHT, creatinine(620))
    assert found.rate is None and why in found.why and not found.reduced


def test_without_age_or_height_it_says_so() -> None:
    assert kidneys(None, None, creatinine(620)).why == "the age and the height are not told"
    assert kidneys(EIGHT, None, creatinine(620)).why == "the height is not told"


def test_beyond_the_ages_of_the_study_it_says_so() -> None:
    """Schwartz 2009: children of 1 to 16 years; the National Kidney Foundation says 1 to 18."""
    assert kidneys(age_from_parts(years=17), HEIGHT, creatinine(620)).notes
    assert not kidneys(age_from_parts(years=16), HEIGHT, creatinine(620)).notes


@pytest.mark.parametrize(("name", "least"), STAGES[:-1])
def test_a_category_begins_at_its_least_value_and_no_gap_is_left(name: str, least: int) -> None:
    """KDIGO prints whole numbers, as "45 to 59" beside ">= 60"; 59.6 belongs to the lower one."""
    below = STAGES[[n for n, _ in STAGES].index(name) + 1][0]
    edge = read_filtration(f"{least} {UNIT}")
    assert stage_of(edge) == name
    assert stage_of(Quantity(edge.value - Fraction(1, 10**9), "filtration", UNIT)) == below


@pytest.mark.parametrize("text", ["62 mg/dL", "0.7 micromol/L", "4 micromol/L", "3001 micromol/L"])
def test_a_creatinine_that_no_child_has_is_a_slip_of_the_unit(text: str) -> None:
    with pytest.raises(TextError, match="number and at its unit"):
        read_creatinine(text)


@pytest.mark.parametrize("text", ["62", "62 mmol/L", "62 mg/L", "0,7 mg/dL", "62 mL/min", "62 micromol", "0 micromol/L", "62micromol / L"])
def test_other_texts_are_no_creatinine(text: str) -> None:
    with pytest.raises(TextError):
        read_creatinine(text)


@pytest.mark.parametrize("text", ["62 micromol/L", "62 umol/L", "62 µmol/L", "62 micromoles/L"])
def test_spellings_of_one_creatinine(text: str) -> None:
    assert read_creatinine(text) == creatinine(620)
