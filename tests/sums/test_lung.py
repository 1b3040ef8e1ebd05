"""Peak flow and FEV1: the equations against an independent implementation, what is not covered, what is doubted."""

from __future__ import annotations

from decimal import Decimal
from fractions import Fraction

import pytest
from said import ask, codes, value

from dosecheck.body.lms import value_at
from dosecheck.errors import InputError
from dosecheck.sums.gli_2012 import GROUPS, fev1

# sex, months, height in cm, group, L, M, S: as reckoned by the open-source library pyspiro 1.0.0 (GLI_2012), an independent
# implementation that has the published splines of every quarter of a year.
REFERENCE = [
    ("male", 48, 100, "caucasian", "1.0044", "0.8781", "0.13045"),
    ("male", 87, 130, "caucasian", "1.0550", "1.6392", "0.12386"),
    ("male", 114, 130, "african american", "1.0780", "1.4479", "0.12633"),
    ("male", 168, 160, "african american", "1.1109", "2.6556", "0.13323"),
    ("male", 193, 160, "south east asian", "1.1227", "3.1359", "0.12279"),
    ("male", 204, 160, "caucasian", "1.1274", "3.5250", "0.11732"),
    ("female", 48, 100, "caucasian", "1.1540", "0.8608", "0.13562"),
    ("female", 54, 100, "other", "1.1540", "0.8128", "0.13375"),
    ("female", 63, 100, "other", "1.1540", "0.8204", "0.12955"),
    ("female", 100, 130, "caucasian", "1.1540", "1.5885", "0.11833"),
    ("female", 129, 130, "north east asian", "1.1540", "1.6804", "0.11512"),
    ("female", 204, 160, "south east asian", "1.1540", "2.8293", "0.12526"),
]  # fmt: skip


@pytest.mark.parametrize(("sex", "months", "height", "group", "power", "median", "spread"), REFERENCE)
def test_fev1_against_an_independent_library(sex, months, height, group, power, median, spread) -> None:
    """At whole ages to the last figure given; between them as near as the splines of whole ages can be."""
    lms = fev1(sex, Fraction(months, 12), Fraction(height), group)
    whole = months % 12 == 0
    assert abs(lms.power - Decimal(power)) <= Decimal("0.0001")
    assert abs(lms.median / Decimal(median) - 1) <= (Decimal("0.0001") if whole else Decimal("0.004"))
    assert abs(lms.spread - Decimal(spread)) <= (Decimal("0.00001") if whole else Decimal("0.0005"))


def test_a_check_value_between_whole_ages() -> None:
    """Reckoned from the public coefficients: a boy of 7.4 years and 122 cm, M 1.426 L, S 0.1232, lower limit 1.135 L, each to 0.002."""
    lms = fev1("male", Fraction("7.4"), Fraction(122), "caucasian")
    limit = value_at(Decimal("-1.645"), lms)
    for got, want in ((lms.median, "1.426"), (lms.spread, "0.1232"), (limit, "1.135"), (lms.power, "1.0567")):
        assert abs(got - Decimal(want)) <= Decimal("0.002")


def test_each_group_and_sex_has_its_own_figure() -> None:
    found = {fev1(sex, Fraction(10), Fraction(138), group).median for sex in ("female", "male") for group in GROUPS}
    assert len(found) == 2 * len(GROUPS)


def test_the_median_is_100_percent_and_the_lower_limit_is_z_minus_1_645() -> None:
    given = {"sex": "female", "age": "10 years 0 months", "height": "138 cm", "group": "other"}
    predicted, limit = (value(ask("fev1", **given), name) for name in ("predicted", "lower limit of normal"))
    at_median = ask("fev1", **given, measured=f"{float(predicted.number):.3f} L")
    assert value(at_median, "of predicted") == "100 %"
    assert abs(Decimal(value(at_median, "z-score"))) <= Decimal("0.01")
    at_limit = ask("fev1", **given, measured=f"{float(limit.number):.3f} L")
    assert abs(Decimal(value(at_limit, "z-score")) + Decimal("1.645")) <= Decimal("0.01")


@pytest.mark.parametrize("volume", ["1.35 L", "1350 mL"])
def test_litres_and_millilitres_are_the_same(volume: str) -> None:
    reckoned = ask("fev1", sex="male", age="8 years 0 months", height="1.28 m", group="caucasian", measured=volume)
    assert value(reckoned, "of predicted") == "84 %"


@pytest.mark.parametrize(
    ("age", "outcome"),
    [
        ("3 years 11 months", "not-checked"),
        ("4 years 0 months", "reckoned"),
        ("17 years 0 months", "reckoned"),
        ("17 years 1 month", "not-checked"),
    ],
)
def test_fev1_covers_the_ages_whose_figures_are_here(age: str, outcome: str) -> None:
    height = "104 cm" if age[0] in "34" else "170 cm"
    assert ask("fev1", sex="female", age=age, height=height, group="other").outcome == outcome


def test_fev1_needs_the_age_to_the_month_and_the_group() -> None:
    with pytest.raises(InputError, match="to the month"):
        ask("fev1", sex="female", age="7 years", height="125 cm", group="other")
    with pytest.raises(InputError) as error:
        ask("fev1", sex="girl", age="7 years 0 months", height="125 cm")
    assert [fault.field for fault in error.value.faults] == ["sex", "group"]


@pytest.mark.parametrize(("measured", "code"), [("0.5 L", "flow-low"), ("13.5 L", "flow-high"), ("1.35 L", "")])
def test_a_slip_of_the_point_is_doubted(measured: str, code: str) -> None:
    assert codes(ask("fev1", sex="male", age="8 years 0 months", height="128 cm", group="other", measured=measured)) == [code] * bool(code)


# ---- peak flow ----


@pytest.mark.parametrize(
    ("age", "outcome"),
    [("4 years 11 months", "not-checked"), ("5 years", "reckoned"), ("14 years 11 months", "reckoned"), ("15 years", "not-checked")],
)
def test_peak_flow_covers_5_to_14_years(age: str, outcome: str) -> None:
    assert ask("peak-flow", sex="male", height="110 cm" if age[0] in "45" else "165 cm", age=age).outcome == outcome


def test_peak_flow_rises_by_the_printed_slope() -> None:
    one, other = (value(ask("peak-flow", sex="female", height=height, age="9 years"), "predicted") for height in ("130 cm", "1.31 m"))
    assert (other.number - one.number) == Fraction("4.13")


def test_a_flow_by_the_second_or_without_a_unit_is_refused() -> None:
    for flow in ("4 L/s", "220", "220 mL", "0 L/min"):
        with pytest.raises(InputError):
            ask("peak-flow", sex="male", height="125 cm", age="8 years", measured=flow)


def test_no_flow_is_predicted_below_the_line() -> None:
    assert ask("peak-flow", sex="male", height="68 cm", age="5 years").outcome == "not-checked"


@pytest.mark.parametrize(
    ("measured", "best", "code"),
    [("130 L/min", None, ""), ("124 L/min", None, "flow-low"), ("130 L/min", "261 L/min", "flow-low"), ("400 L/min", None, "flow-high"), ("130 L/min", "260 L/min", "")],
)  # fmt: skip
def test_below_half_of_best_or_predicted_is_a_query(measured: str, best: str | None, code: str) -> None:
    given = {"best": best} if best else {}
    assert codes(ask("peak-flow", sex="male", height="125 cm", age="8 years", measured=measured, **given)) == [code] * bool(code)


def test_a_height_that_no_child_of_the_age_has_is_a_query() -> None:
    assert codes(ask("peak-flow", sex="male", height="165 cm", age="6 years")) == ["height-unlikely"]
    assert codes(ask("peak-flow", sex="male", height="116 cm", age="6 years")) == []
