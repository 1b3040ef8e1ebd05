"""The widest limits of a weight over an age and over both sexes, and its z-score as an interval."""

from __future__ import annotations

from decimal import Decimal
from itertools import product

import oracle_growth
import pytest

from dosecheck.body.believable import Limits, weight_limits, z_ends
from dosecheck.body.growth import LAST_DAY, REFERENCES, SEXES
from dosecheck.formulary.weight_z import ZBand, first_day
from dosecheck.reading import read_weight

BANDS = tuple(
    ZBand(first_day(age), Decimal(low), Decimal(high))
    for age, low, high in (("0 days", "-4", "4"), ("5 years", "-3.5", "4"), ("8 years", "-3.5", "3.5"), ("10 years", "-3.5", "2.5"))
)


def one_day(reference: str, sex: str, day: int, bands: tuple[ZBand, ...] = BANDS) -> Limits:
    return weight_limits(bands, reference, (sex,), (day, day))


def test_a_limit_is_the_weight_at_that_z_to_a_whole_gram() -> None:
    """WHO's own figures, girls of 365 days: L -0.2022, M 8.9462 kg, S 0.12267; below 3 the curve, beyond it the outer rule."""
    bands = (ZBand(0, Decimal(-2), Decimal(4)),)
    power, median, spread = -0.2022, 8.9462, 0.12267  # plain arithmetic beside the exact one
    two, three, low = (median * (1 + power * spread * z) ** (1 / power) for z in (2, 3, -2))
    assert one_day("who", "female", 365, bands) == (round(low * 1000), round((three + (three - two)) * 1000))


@pytest.mark.parametrize("reference, sex", [*product(REFERENCES, SEXES)])
def test_an_interval_has_the_widest_limits_of_all_its_days(reference: str, sex: str) -> None:
    """To 2 g: beyond growing up the outer curves turn, and every thirtieth day is looked at."""
    each = [one_day(reference, sex, day) for day in range(LAST_DAY + 1)]
    for first in (0, 1, 2, 700, 1800, 2900, 3600, *range(5, LAST_DAY - 365, 97)):
        for width in (3, 30, 365):
            got = weight_limits(BANDS, reference, (sex,), (first, first + width))
            days = each[first : first + width + 1]
            assert 0 <= got.low - min(day.low for day in days) <= 2, (first, width)
            assert 0 <= max(day.high for day in days) - got.high <= 2, (first, width)


@pytest.mark.parametrize("reference, sex", [*product(REFERENCES, SEXES)])
def test_limits_against_a_slow_second_way(reference: str, sex: str) -> None:
    """The oracle's plain floats on the tables' own lines come to the same whole grams."""
    rows = [{"from": "0 days", "low": "-4", "high": "4"}, {"from": "5 years", "low": "-3.5", "high": "4"}]
    rows += [{"from": "8 years", "low": "-3.5", "high": "3.5"}, {"from": "10 years", "low": "-3.5", "high": "2.5"}]
    policy = {"weight_z": {"bands": rows}, "growth_reference": reference}
    for day in (0, 730, 731, 1826, 1827, 2921, 2922, 3652, 3653, LAST_DAY, *range(3, LAST_DAY, 61)):
        assert oracle_growth.widest(policy, (sex,), {day}) == one_day(reference, sex, day), day


def test_an_untold_sex_takes_both() -> None:
    for day in (0, 400, 3000, 5000):
        girl, boy = (one_day("who", sex, day) for sex in SEXES)
        assert weight_limits(BANDS, "who", SEXES, (day, day)) == (min(girl.low, boy.low), max(girl.high, boy.high))


def test_where_nothing_is_to_be_said() -> None:
    assert weight_limits((), "who", SEXES, (10, 10)) is None
    assert weight_limits(BANDS, "who", SEXES, (-1, 10)) is None
    assert weight_limits(BANDS, "who", SEXES, (10, LAST_DAY + 1)) is None
    assert weight_limits(BANDS[1:], "who", SEXES, (1826, 1830)) is None
    assert z_ends(read_weight("10 kg"), "who", SEXES, (-3, 3)) is None


def test_a_curve_without_an_end_has_no_limit() -> None:
    """CDC, girls of 17 years: no weight is so large that its z is 4."""
    bands = (ZBand(0, Decimal(-4), Decimal(4)),)
    assert one_day("cdc", "female", 6209, bands).high is None
    assert weight_limits(bands, "cdc", SEXES, (6000, 6209)).high is None


def test_z_of_a_weight_over_an_age() -> None:
    """The oldest day gives the least z; weights at a limit have its z."""
    low, high = z_ends(read_weight("14.2 kg"), "who", ("male",), (1096, 1461))
    assert low == z_ends(read_weight("14.2 kg"), "who", ("male",), (1461, 1461))[0] and high > low
    for day, sex in product((0, 500, 1900, 3400, 4400), SEXES):
        grams = one_day("who", sex, day)
        band = max(b for b in BANDS if b.day <= day)
        for limit, z in zip(grams, band[1:], strict=True):
            assert abs(z_ends(read_weight(f"{limit} g"), "who", (sex,), (day, day))[0] - z) <= Decimal("0.01")


def test_a_z_out_of_all_reason_is_cut_off() -> None:
    assert z_ends(read_weight("500 kg"), "who", ("male",), (30, 30)) == (20, 20)
    assert z_ends(read_weight("1 g"), "cdc", ("male",), (6000, 6000)) == (-20, -20)


@pytest.mark.parametrize("text, day", [("28 days", 28), ("0 months", 0), ("1 month", 31), ("5 years", 1827), ("10 years", 3653)])
def test_the_first_day_of_a_band(text: str, day: int) -> None:
    """A month is 30.4375 days, as in the growth references."""
    assert first_day(text) == day
