"""MR16, MR31 and MR37 on the one-page sheet, over many children: what it prints passes its own check, and recomputes."""

from __future__ import annotations

from functools import cache

import pytest
from kit import HIGH, REAL, TOO_OFTEN, check, codes
from test_mr_working import product_of, recompute, unsafe

from dosecheck import Child
from dosecheck.formulary.sheet import MedicineLine
from dosecheck.reports.rows import Row
from dosecheck.reports.sheet import Sheet, make_sheet
from dosecheck.showing import show

CHILDREN = [  # believable or not: the sheet may mark them, and must not print a dose that is too high
    ("3.1 kg", "20 days"),
    ("4.87 kg", "2 months"),
    ("7.35 kg", "6 months"),
    ("8 kg", "11 months"),
    ("9.99 kg", "1 year"),
    ("11.63 kg", "23 months"),
    ("14.2 kg", "3 years 2 months"),
    ("17.77 kg", "5 years"),
    ("20 kg", "6 years 0 months"),
    ("49.99 kg", "11 years 11 months"),
    ("50 kg", "12 years 0 months"),
    ("33.3 lb", "4 years"),
    ("2 st 3 lb", "3 years"),
    ("66.67 kg", "13 years"),
    ("120 kg", "17 years"),
    ("1.05 kg", "8 years"),
]


@cache
def sheet_of(weight: str, age: str) -> Sheet:
    child = Child(weight=weight, age=age, weight_is="measured", weighed="2026-05-04", on="2026-05-04", gestation="40 weeks")
    return make_sheet("SM-001", child, REAL)


def doses(weight: str, age: str) -> list[tuple[MedicineLine, Row]]:
    lines = [line for section in REAL.sheet() for line in section.lines]
    pairs = zip(lines, sheet_of(weight, age).rows, strict=True)
    return [(line, row) for line, row in pairs if isinstance(line, MedicineLine) and row.dose]


def typed(line: MedicineLine, weight: str, age: str, dose: str) -> set[str]:
    """The codes of an order for `dose`, as a user would type it from the page."""
    texts = {"medicine": line.medicine, "route": line.route, "for": line.for_, "product": line.product, "once": "yes", "over": "30 minutes"}
    child = {"weight": weight, "age": age, "weight_is": "measured", "weighed": "2026-05-04", "on": "2026-05-04", "gestation": "40 weeks"}
    step = {"step": line.step} if line.step else {}
    return codes(check({k: v for k, v in {**texts, **step, **child, "dose": dose}.items() if v}))


@pytest.mark.parametrize("weight, age", CHILDREN)
def test_mr16_what_the_sheet_prints_passes_its_own_check(weight: str, age: str) -> None:
    """MR16: dose and volume, each typed back, are not too high; the volume is within the figures or the row says why to ask."""
    for line, row in doses(weight, age):
        for printed in (row.dose, row.measure):
            text = printed.removeprefix("at most ").replace("about ", "").replace(",", "")
            if text:
                found = typed(line, weight, age, text)
                assert not found & (HIGH | TOO_OFTEN), (line, printed, found)
                assert printed != row.measure or row.doubts or not found - {"weight-not-believable"}, (line, printed, found)


def test_mr16_there_is_much_to_check() -> None:
    """The test's own: most rows have a dose for most children."""
    assert sum(len(doses(weight, age)) for weight, age in CHILDREN) > 190


@pytest.mark.parametrize("weight, age", CHILDREN)
def test_mr37_the_arithmetic_on_the_sheet_recomputes(weight: str, age: str) -> None:
    """MR37: each equation of a medicine's row is true; what is rounded says so."""
    done = 0
    for _, row in doses(weight, age):
        for line in row.working:
            found = recompute(f"x: {line.partition(', rounded')[0]}")
            if found:
                value, result, rounded = found
                assert value == result or (rounded and abs(result / value - 1) < 1 / 500), (row.name, line)
                done += 1
    assert done >= 8


@pytest.mark.parametrize("weight, age", CHILDREN)
def test_h06_a_volume_is_never_above_the_dose(weight: str, age: str) -> None:
    """H06: the most to measure holds no more than the dose's upper end."""
    for line, row in doses(weight, age):
        product = REAL.medicine(line.medicine).product(line.product) if line.product else None
        if row.measure:
            strength = next(iter(product.strengths.values()))
            held = product_of(row.measure.split(" to ")[-1].removeprefix("at most "))[0] * product_of(show(strength))[0]
            most, rounded = product_of(row.dose.split(" to ")[-1].removeprefix("at most "))
            assert held <= most or (rounded and held < most * (1 + 1 / 1000)), row


@pytest.mark.parametrize("weight, age", CHILDREN)
def test_h32_no_number_on_the_sheet_is_unsafe(weight: str, age: str) -> None:
    """H32: dose, volume, arithmetic, what to observe and why to ask, of every row."""
    for row in sheet_of(weight, age).rows:
        said = [row.dose, row.measure, *row.working, *row.keep, *row.doubts, *row.why_not, *(r.value for r in row.results)]
        assert not unsafe("\n".join(said)), said


@pytest.mark.parametrize("weight, age", CHILDREN)
def test_h34_a_row_without_a_dose_says_why(weight: str, age: str) -> None:
    """H34: no row is left out, and none is silent."""
    rows = sheet_of(weight, age).rows
    assert len(rows) == sum(len(section.lines) for section in REAL.sheet())
    assert all(bool(row.dose or row.results) != bool(row.why_not) for row in rows)


def test_mr31_nothing_of_one_child_stays_for_the_next() -> None:
    """MR31, H31: the second child's sheet is the same whichever came before."""
    first, other = CHILDREN[6], CHILDREN[12]
    alone = sheet_of(*other).as_dict()
    sheet_of.cache_clear()
    sheet_of(*first)
    assert sheet_of(*other).as_dict() == alone


def test_h06_heavier_never_gives_less() -> None:
    """A heavier child of the same age never has a smaller dose on the same row."""
    light, heavy = (sheet_of(weight, "3 years 2 months").rows for weight in ("14.2 kg", "14.9 kg"))
    for one, two in zip(light, heavy, strict=True):
        if one.dose:
            assert product_of(one.dose.split(" to ")[-1])[0] <= product_of(two.dose.split(" to ")[-1])[0]
