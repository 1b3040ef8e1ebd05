"""Any text at all either reads to a positive, exact amount or is refused with a TextError: nothing else ever happens."""

from fractions import Fraction

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from dosecheck.errors import TextError
from dosecheck.quantity import BELOW, COUNTED, UNITS, Quantity, factor
from dosecheck.reading import (
    Dose,
    read_age,
    read_count,
    read_date,
    read_dose,
    read_frequency,
    read_length,
    read_strength,
    read_time,
    read_volume,
    read_weeks,
    read_weight,
    read_yes,
)
from dosecheck.reading.given import read_given
from dosecheck.showing import show

AMOUNTS = (read_weight, read_length, read_volume, read_time, read_strength, read_dose)
OTHERS = (read_frequency, read_count, read_age, read_weeks, read_date, lambda text: read_yes(text, "answer"))
WORDS = (
    "0 1 2 9 12 0.5 .5 1.0 010 1e3 1e999999 -3 + , . / % ( ) _ # ~ mg kg g lb oz mL L m2 cm units IU PE mEq h min hours day days "
    "week weeks months years puffs doses in to of per a times every hourly once daily twice and dose valence trimethoprim"
)
PIECES = [
    *WORDS.split(),
    *("\uff12", "\u00bd", "µg", "µ", "\u00a0", "\u200b", "\x00", "\n", "\ud800", "\u2212"),
]
words = st.lists(st.sampled_from([*PIECES, " "]), max_size=9).map(lambda found: " ".join(found))
glued = st.lists(st.sampled_from(PIECES), max_size=6).map("".join)
texts = st.one_of(st.text(max_size=40), st.text("0123456789.,/ mgkLhdayto", max_size=14), words, glued)


def amounts_in(found: object) -> list[Quantity]:
    if isinstance(found, Quantity):
        return [found]
    return [found.low, found.high] if isinstance(found, Dose) else []


@pytest.mark.parametrize("read", AMOUNTS)
@given(text=texts)
@settings(deadline=None, max_examples=250)
def test_any_text_reads_to_a_positive_amount_or_is_refused(read, text):
    try:
        found = amounts_in(read(text))
    except TextError as error:
        assert error.why and error.write and isinstance(error.given, str) and error.given.isprintable()
        return
    assert found and 0 < found[0].value <= found[-1].value
    assert text.strip()[0] in "0123456789"


@pytest.mark.parametrize("read", OTHERS)
@given(text=texts)
@settings(deadline=None, max_examples=250)
def test_any_other_text_is_read_or_refused(read, text):
    try:
        assert read(text) is not None
    except TextError as error:
        assert error.why and error.write


GIVEN = st.lists(
    st.sampled_from([*PIECES, "ago", "at", "as", "by", "2026-05-04", "08:10", "+01:00", "Z", "5 hours ago", "10 mL of"]), max_size=9
).map(" ".join)


@given(text=st.one_of(texts, GIVEN))
@settings(deadline=None, max_examples=500)
def test_any_text_is_a_dose_given_or_refused(text):
    try:
        found = read_given(text)
    except TextError as error:
        assert error.why and error.write
        return
    assert found.dose.low.value > 0 and (found.ago is None) != (found.at is None)
    assert found.ago is None or 0 < found.ago[0] <= found.ago[1] <= 366 * 86_400


@given(st.one_of(st.none(), st.integers(), st.floats(), st.booleans(), st.binary(), st.lists(st.integers()), st.fractions(), st.decimals()))
@settings(deadline=None, max_examples=100)
def test_what_is_no_text_is_refused(value):
    for read in (*AMOUNTS, read_frequency, read_age, read_weeks, read_date):
        with pytest.raises(TextError):
            read(value)


BELOWS = {"weight": ["kg", "lb"]}  # a dose per gram or ounce of child is not read


@st.composite
def shown_quantities(draw):
    kind = draw(st.sampled_from(["mass", "activity", "substance", "volume", "mass/weight", "mass/surface", "activity/weight", *COUNTED]))
    top, *below = (draw(st.sampled_from(BELOWS.get(part, list(UNITS[part])))) for part in kind.split("/"))
    unit = "/".join([top, *(BELOW.get(name, name) for name in below)])
    number = Fraction(draw(st.integers(1, 10**7)), 10 ** draw(st.integers(0, 6)))
    return Quantity(number * factor(unit, kind), kind, unit)


@given(shown_quantities())
@settings(deadline=None, max_examples=300)
def test_an_exact_print_can_be_typed_back(amount):
    text = show(amount)
    if "," in text or text.startswith("about"):
        return
    dose = read_dose(text)
    assert (dose.low, dose.high, dose.per, dose.basis) == (amount, amount, "dose", None)
    assert show(dose.high) == text
