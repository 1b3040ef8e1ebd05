"""Quantities as text: no unsafe form is ever printed, and a rounded number says so and is near enough."""

import re
from fractions import Fraction

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from dosecheck.quantity import BELOW, UNITS, Quantity, factor, kind_of
from dosecheck.showing import show, show_number, show_seconds, show_unit, show_weeks, show_weight

MANY = settings(deadline=None, max_examples=300)
KINDS = [*UNITS, "mass/weight", "mass/surface", "mass/volume", "mass/time/weight", "activity/weight", "volume/weight", "mass/puff"]

UNSAFE = re.compile(
    r"\.[0-9]*0(?![0-9])"  # a trailing zero: 1.0 is read as 10
    r"|(?<![0-9])\.[0-9]"  # a naked point: .5 is read as 5
    r"|[0-9]\.(?![0-9])"  # a point with nothing after it
    r"|(?<![0-9.])[0-9]{5,}"  # 10000 without a mark
    r"|(?<![0-9.,])0[0-9]"  # a needless zero in front
    r"|[µμ]|mcg|\bIU\b|\bU\b|\bug\b"  # units that are misread
    r"|[0-9][a-zA-Z]|[eE][+-]?[0-9]"  # number and unit run together, exponents
)
numbers = st.one_of(
    st.integers(0, 10**13),
    st.fractions(0, 10**6),
    st.fractions(0, 1),
    st.builds(lambda n, p: Fraction(n, 10**p), st.integers(0, 10**9), st.integers(0, 15)),
)


@st.composite
def quantities(draw):
    kind = draw(st.sampled_from(KINDS))
    top, *below = (draw(st.sampled_from(list(UNITS[part]))) for part in kind.split("/"))
    unit = "/".join([top, *(BELOW.get(name, name) for name in below)])
    return Quantity(draw(numbers) * factor(unit, kind), kind, unit)


def stated(text: str) -> tuple[Fraction, Fraction]:
    """The number that a text starts with, and one unit of its last place."""
    digits = text.removeprefix("about ").split(" ")[0].replace(",", "")
    return Fraction(digits), Fraction(1, 10 ** len(digits.partition(".")[2]))


@pytest.mark.parametrize(
    ("number", "text"),
    [
        (0, "0"), (1, "1"), (Fraction(1, 2), "0.5"), (Fraction("1.50"), "1.5"), (Fraction("16.875"), "16.875"), (9999, "9,999"),
        (10000, "10,000"), (Fraction("12345.6"), "12,345.6"), (Fraction("0.000001"), "0.000001"), (Fraction(1, 3), "about 0.3333"),
        (Fraction(50, 3), "about 16.67"), (Fraction(100000, 3), "about 33,333"), (Fraction(99999999, 10**7), "about 10"),
        (Fraction(1, 3 * 10**8), "about 0.000000003333"), (Fraction(-3, 2), "-1.5"), (Fraction(-50, 3), "about -16.67"),
    ],
)  # fmt: skip
def test_numbers(number, text):
    assert show_number(number) == text


@pytest.mark.parametrize(
    ("number", "unit", "kind", "text"),
    [
        (213, "mg", "mass", "213 mg"), (12000, "mg", "mass", "12 g"), (Fraction(1, 200), "mg", "mass", "5 micrograms"),
        (1, "micrograms", "mass", "1 microgram"), (Fraction(1, 10), "micrograms", "mass", "0.1 micrograms"), (1, "g", "mass", "1 g"),
        (Fraction(1, 4000), "micrograms", "mass", "0.25 nanograms"), (1, "units", "activity", "1 unit"),
        (1_200_000, "units", "activity", "1,200,000 units"), (20_000, "milliunits", "activity", "20 units"),
        (1, "tablets", "tablet", "1 tablet"), (Fraction(1, 2), "tablets", "tablet", "0.5 tablets"), (2, "puffs", "puff", "2 puffs"),
        (1, "suppositories", "suppository", "1 suppository"), (1, "hours", "time", "1 hour"), (14200, "g", "weight", "14,200 g"),
        (1, "units/kg", "activity/weight", "1 unit/kg"), (Fraction(1, 1000), "mg/kg", "mass/weight", "1 microgram/kg"),
        (5, "micrograms/kg/min", "mass/time/weight", "5 micrograms/kg/min"), (10_000, "mL", "volume", "10 L"), (0, "mg", "mass", "0 mg"),
    ],
)  # fmt: skip
def test_quantities(number, unit, kind, text):
    assert show(Quantity(number * factor(unit, kind), kind, unit)) == text


@pytest.mark.parametrize(
    ("seconds", "text"),
    [
        (0, "0 seconds"), (1, "1 second"), (59, "59 seconds"), (60, "1 minute"), (1800, "30 minutes"), (3600, "1 hour"),
        (17_280, "4.8 hours"), (21_600, "6 hours"), (86_400, "24 hours"), (172_800, "2 days"), (432_000, "5 days"),
        (181_800, "50.5 hours"), (Fraction(86_400, 7), "about 3.429 hours"), (Fraction(5, 2), "2.5 seconds"),
    ],
)  # fmt: skip
def test_times(seconds, text):
    assert show_seconds(seconds) == text


def test_units_weeks_and_weights():
    assert (show_unit("doses", 1), show_unit("doses"), show_unit("mg", 1)) == ("dose", "doses", "mg")
    assert (show_weeks(217), show_weeks(218), show_weeks(221)) == ("31 weeks", "31 weeks 1 day", "31 weeks 4 days")
    assert show_weight(Quantity(33 * UNITS["weight"]["lb"], "weight", "lb")) == "33 lb (about 14.97 kg)"
    assert show_weight(Quantity(31 * UNITS["weight"]["lb"], "weight", "st")) == "2 st 3 lb (about 14.06 kg)"
    assert show(Quantity(28 * UNITS["weight"]["lb"], "weight", "st")) == "2 st"
    assert show_weight(Quantity(14_200 * 10**9, "weight", "kg")) == "14.2 kg"


@given(numbers)
@MANY
def test_no_number_is_printed_in_an_unsafe_form(number):
    for shown in (show_number(number), show_number(-number), show_seconds(number)):
        assert not UNSAFE.search(shown), shown


@given(quantities())
@MANY
def test_no_quantity_is_printed_in_an_unsafe_form(quantity):
    shown = show(quantity)
    assert not UNSAFE.search(shown), shown
    number, _, unit = shown.removeprefix("about ").partition(" ")
    assert re.fullmatch(r"(0|[1-9][0-9]{0,2}(,[0-9]{3})*)(\.[0-9]+)?", number)
    assert re.fullmatch(r"[a-zA-Z]+2?(/[a-zA-Z]+2?)*|st [0-9.]+ lb|mL/min/1\.73 m2", unit)


@given(numbers)
@MANY
def test_a_number_is_exact_or_about_and_then_wrong_by_at_most_half_its_last_place(number):
    shown = show_number(number)
    value, place = stated(shown)
    if shown.startswith("about "):
        assert abs(value - number) <= place / 2
        assert abs(value - number) * 1000 <= number  # four figures at least
        assert (number * 10**6).denominator != 1
    else:
        assert value == number


@given(numbers)
@MANY
def test_a_negative_number_is_the_positive_one_with_a_sign(number):
    sign = "-" if number else ""
    shown = show_number(number)
    assert show_number(-number) == (f"about {sign}{shown[6:]}" if shown.startswith("about") else sign + shown)


@given(quantities())
@MANY
def test_another_unit_is_chosen_only_to_read_better_and_is_the_same_amount(quantity):
    shown = show(quantity)
    value, place = stated(shown)
    rest = shown.removeprefix("about ").split(" ", 1)[1]
    unit = rest if rest in UNITS[quantity.kind.split("/")[0]] else rest.split(" ")[0]
    _, stroke, below = quantity.unit.partition("/")
    whole = quantity.kind in UNITS and stroke  # a unit that is not taken apart, such as mL/min/1.73 m2
    fitting = [quantity.unit] if whole else [u + stroke + below for u in UNITS[quantity.kind.split("/")[0]]]
    full = next(u for u in fitting if unit in (show_unit(u), show_unit(u, 1)))
    number = quantity.to(full).number
    assert value == number or (shown.startswith("about ") and abs(value - number) <= place / 2)


@pytest.mark.parametrize(
    ("number", "unit", "said"),
    [
        (Fraction(2, 9), "mL", "about 0.2222 mL"), (Fraction(1, 30), "mL/h", "about 0.03333 mL/h"), (Fraction(1, 1000), "mL", "0.001 mL"),
        (Fraction(9, 10_000), "mL", "0.9 microlitres"), (Fraction(2, 9), "mg", "about 222.2 micrograms"),
    ],
)  # fmt: skip
def test_a_volume_is_told_in_the_unit_of_syringes_and_pumps(number, unit, said):
    kind = {"mL": "volume", "mL/h": "volume/time", "mg": "mass"}[unit]
    assert show(Quantity(number * factor(unit, kind), kind, unit)) == said


def test_a_kind_is_named_the_same_whatever_the_order_below():
    assert kind_of("mass", "time", "weight") == kind_of("mass", "weight", "time")
