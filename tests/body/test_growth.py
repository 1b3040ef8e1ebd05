"""The growth references and the LMS method, against what WHO and CDC print and against an independent library."""

from __future__ import annotations

from decimal import Decimal
from itertools import pairwise, product
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from pygrowup import Observation

from dosecheck.body.growth import LAST_DAY, REFERENCES, SEXES, joints, lms_at, table_for
from dosecheck.body.lms import Lms, centile, value_at, z_score

TABLES = Path(__file__).parents[2] / "dosecheck" / "body" / "tables"
# z of a centile: a property of the normal distribution, as any table of it prints.
CENTILES = {"p3": "-1.8807936", "p5": "-1.6448536", "p10": "-1.2815516", "p25": "-0.6744898", "p50": "0",
            "p75": "0.6744898", "p85": "1.0364334", "p90": "1.2815516", "p95": "1.6448536", "p97": "1.8807936"}  # fmt: skip


# ---- the tables ----


@pytest.mark.parametrize("path", sorted(TABLES.glob("*.txt")), ids=lambda path: path.stem)
def test_every_line_is_as_long_and_every_age_is_there(path: Path) -> None:
    lines = path.read_bytes().splitlines(keepends=True)
    assert {len(line) for line in lines} == {len(lines[0])}
    rows = [line.split() for line in lines[1:]]
    girls, boys = rows[: len(rows) // 2], rows[len(rows) // 2 :]
    assert {row[0] for row in girls} == {b"F"} and {row[0] for row in boys} == {b"M"}
    assert [row[1] for row in girls] == [row[1] for row in boys]
    ages = [int(row[1]) for row in girls]
    assert len(ages) == {"who-2006": 1827, "cdc-2000": 218}.get(path.stem[:8], 169) - 108 * ("2007-weight" in path.stem) + (
        "2000-bmi" in path.stem
    )
    assert all(after - age in ((1, 2) if "half" in path.stem else (1,)) for age, after in pairwise(ages))


# The sample points of the sources' own files: reference, sex, day, measure, L, M, S.
SAMPLES = [
    ("who", "male", 0, "weight", "0.3487", "3.3464", "0.14602"),
    ("who", "female", 365, "weight", "-0.2022", "8.9462", "0.12267"),
    ("who", "male", 1826, "weight", "-0.1506", "18.3352", "0.13517"),
    ("who", "female", 4383, "bmi", "-1.4006", "17.9966", "0.13129"),  # 144 months
    ("cdc", "male", LAST_DAY, "weight", "-0.91648762", "70.59761453", "0.161476792"),  # 240 months
]


@pytest.mark.parametrize("reference, sex, day, measure, power, median, spread", SAMPLES)
def test_sample_points(reference: str, sex: str, day: int, measure: str, power: str, median: str, spread: str) -> None:
    assert lms_at(reference, sex, day, measure)[:3] == tuple(map(Decimal, (power, median, spread)))


def test_between_two_rows_in_proportion() -> None:
    """731 days are 24 months and 8/487 of a month: as much of the way from CDC's row of 24 to that of 24.5 months, twice."""
    found = lms_at("cdc", "male", 731)
    share = Decimal(16) / 487
    for got, first, second in zip(
        found, ("-0.20615245", "12.6707633", "0.108125811"), ("-0.216501213", "12.74154396", "0.108166006"), strict=False
    ):
        assert abs(got - (Decimal(first) + (Decimal(second) - Decimal(first)) * share)) < Decimal("1e-15")


def test_which_table_speaks() -> None:
    """WHO to 5 and 10 years (19 for height), CDC after it; or CDC from 2 years on."""
    names = {
        day: (table_for("who", day).file[:8], table_for("cdc", day).file[:8]) for day in (0, 730, 731, 1826, 1827, 3652, 3653, LAST_DAY)
    }
    assert names == {
        0: ("who-2006", "who-2006"),
        730: ("who-2006", "who-2006"),
        731: ("who-2006", "cdc-2000"),
        1826: ("who-2006", "cdc-2000"),
        1827: ("who-2007", "cdc-2000"),
        3652: ("who-2007", "cdc-2000"),
        3653: ("cdc-2000", "cdc-2000"),
        LAST_DAY: ("cdc-2000", "cdc-2000"),
    }
    assert table_for("who", 6939, "height").name == "WHO" and table_for("who", 6940, "height").name == "CDC"
    assert joints("who") == (1826, 1827, 3652, 3653) and joints("cdc") == (730, 731)
    assert lms_at("who", "male", -1) is None and lms_at("who", "male", LAST_DAY + 1) is None


def test_every_day_has_its_figures() -> None:
    for reference, sex, measure in product(REFERENCES, SEXES, ("weight", "height", "bmi")):
        for day in range(0, LAST_DAY + 1, 1 if measure == "weight" else 29):
            lms = lms_at(reference, sex, day, measure)
            assert 2 < lms.median < 200 and 0 < lms.spread < 1 and abs(lms.power) < 4


# ---- against what is printed ----


def test_cdc_printed_centiles() -> None:
    """Source: CDC growth charts (2000), data files wtage, statage and bmiagerev, the centile columns; every eleventh age.

    Printed to 8 places, kept here to 4; a centile follows from L, M and S of its own row.
    """
    heading, *rows = (Path(__file__).with_name("cdc_centiles.txt")).read_text("ascii").splitlines()
    names, compared = heading.split()[3:], 0
    for row in rows:
        measure, letter, half_months, *printed = row.split()
        lms = _cdc_row(measure, letter, half_months)
        for name, text in zip(names, printed, strict=True):
            if text != "-":
                assert abs(value_at(Decimal(CENTILES[name]), lms) - Decimal(text).scaleb(-4)) <= Decimal("0.00008"), (row, name)
                compared += 1
    assert compared > 1200


def _cdc_row(measure: str, letter: str, half_months: str) -> Lms:
    """The row itself, whatever its day: most half months fall on no whole day."""
    lines = (TABLES / f"cdc-2000-{measure}-by-half-month.txt").read_text("ascii").splitlines()
    (found,) = [line.split() for line in lines if line.split()[:2] == [letter, half_months]]
    return Lms(*(Decimal(number).scaleb(-9) for number in found[2:]), False)


# Source: WHO Child Growth Standards 2006, expanded tables by day: the lines of -2, 0 and +2 standard deviations.
WHO_LINES = [
    ("weight", "male", 0, "2.459", "3.346", "4.419"),
    ("weight", "male", 183, "6.357", "7.939", "9.855"),
    ("weight", "male", 730, "9.67", "12.148", "15.272"),
    ("weight", "female", 0, "2.395", "3.232", "4.23"),
    ("weight", "female", 183, "5.733", "7.302", "9.341"),
    ("height", "male", 0, "46.098", "49.884", "53.67"),
    ("height", "male", 730, "81.693", "87.802", "93.911"),
    ("height", "male", 1461, "94.939", "103.327", "111.715"),
    ("height", "female", 0, "45.422", "49.148", "52.873"),
    ("height", "female", 183, "61.217", "65.751", "70.285"),
]


@pytest.mark.parametrize("measure, sex, day, low, median, high", WHO_LINES)
def test_who_printed_lines(measure: str, sex: str, day: int, low: str, median: str, high: str) -> None:
    for z, printed in (("-2", low), ("0", median), ("2", high)):
        assert abs(value_at(Decimal(z), lms_at("who", sex, day, measure)) - Decimal(printed)) < Decimal("0.0006")


# ---- against an independent library ----

METHODS = {"weight": "wfa", "height": "lhfa", "bmi": "bmifa"}


@pytest.mark.parametrize("measure, sex", [*product(METHODS, SEXES)])
def test_who_against_an_independent_library(measure: str, sex: str) -> None:
    """pygrowup2 rounds z to 0.01, knows whole days to 5 years and whole months after it (16 months are 487 days exactly)."""
    months = [487 * step for step in range(4, 8 if measure == "weight" else 15)]
    compared = 0
    for day in (*range(1, 1827, 13), 1826, *months):
        lms = lms_at("who", sex, day, measure)
        for z in map(Decimal, ("-6", "-4.5", "-3.2", "-2.9", "-1.3", "0.4", "1.9", "2.9", "3.2", "4.5", "6")):
            value = value_at(z, lms)
            if value is None or not lms.power:  # the library divides by L
                continue
            value = value.quantize(Decimal("0.0001"))
            theirs = _theirs(measure, sex, day, value)
            if theirs is not None:
                assert abs(z_score(value, lms) - theirs) <= Decimal("0.0101"), (day, z)
                compared += 1
    assert compared > 1000


def _theirs(measure: str, sex: str, day: int, value: Decimal) -> Decimal | None:
    """None where the library holds the value to be out of its bounds."""
    method = getattr(Observation(sex, age_in_days=day), METHODS[measure])
    extra = {"recumbent": day < 731, "auto_adjust": False} if measure == "height" else {}
    try:
        return method(value, **extra)
    except Exception as error:
        assert type(error).__name__ == "MeasurementOutOfRangeError"
        return None


# ---- what must hold of any such curve ----

days = st.integers(0, LAST_DAY)
curves = st.builds(lms_at, st.sampled_from(REFERENCES), st.sampled_from(SEXES), days, st.sampled_from(("weight", "height", "bmi")))


@settings(deadline=None, max_examples=200)
@given(curves, st.decimals("-8", "8", places=2))
def test_there_and_back(lms: Lms, z: Decimal) -> None:
    value = value_at(z, lms)
    if value is not None:
        assert abs(z_score(value, lms) - z) < Decimal("1e-12")


@settings(deadline=None, max_examples=200)
@given(curves, st.decimals("0.5", "300", places=3), st.decimals("0.001", "50", places=3))
def test_more_is_never_a_lower_z(lms: Lms, value: Decimal, more: Decimal) -> None:
    assert z_score(value + more, lms) > z_score(value, lms)


def test_the_outer_rule_begins_where_the_curve_ends() -> None:
    """WHO: beyond 3 evenly, by the distance between 2 and 3; a CDC curve goes on."""
    who, cdc = lms_at("who", "female", 1000), lms_at("cdc", "female", 1000)
    at = {z: value_at(Decimal(z), who) for z in (2, 3, 4, 5)}
    assert abs(at[4] - at[3] - (at[3] - at[2])) < Decimal("1e-15") and abs(at[5] - at[4] - (at[3] - at[2])) < Decimal("1e-15")
    assert value_at(Decimal(5), cdc) - value_at(Decimal(4), cdc) > value_at(Decimal(4), cdc) - value_at(Decimal(3), cdc)


def test_where_a_curve_does_not_reach() -> None:
    """With a strongly negative L no weight is so large that its z is 4."""
    girl = lms_at("cdc", "female", 6209)
    assert value_at(Decimal(4), girl) is None and z_score(Decimal(500), girl) < 4


@pytest.mark.parametrize(
    "z, expected", [("0", 50), ("-0.42", 34), ("1.645", 95), ("-2.33", 1), ("-2.6", 0), ("2.6", 100), ("9", 100), ("-9", 0)]
)
def test_centile(z: str, expected: int) -> None:
    """As any table of the normal distribution prints."""
    assert centile(Decimal(z)) == expected


def test_l_of_zero_is_the_logarithm() -> None:
    """Where L crosses zero z does not jump."""
    near, zero = Lms(Decimal("0.0000001"), Decimal(9), Decimal("0.12"), True), Lms(Decimal(0), Decimal(9), Decimal("0.12"), True)
    for value in map(Decimal, ("5", "9", "12", "20")):
        assert abs(z_score(value, near) - z_score(value, zero)) < Decimal("0.00001")
    assert abs(value_at(Decimal(2), near) - value_at(Decimal(2), zero)) < Decimal("0.00001")
