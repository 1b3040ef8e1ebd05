"""Figures by kidney function, on an invented medicine: told, not told, not to be reckoned, and reduced without figures."""

from __future__ import annotations

from fractions import Fraction

import polars as pl
import pytest
from hypothesis import given
from hypothesis import strategies as st
from relations.kit import ASK, LINE, REAL, check, codes, tiny

from dosecheck import InputError, read_order
from dosecheck.batch.columns import FIELDS
from dosecheck.batch.run import Batch
from dosecheck.records import NOT_CHECKED, QUERY, STOP, WITHIN
from dosecheck.rules.reckon import reckon

UNIT = "mL/min/1.73 m2"
FULL = {"id": "full", "egfr": {"from": f"60 {UNIT}"}, "dose": "10 mg/kg", "min_gap": "8 hours", "max_doses": 3}
HALF = {"id": "half", "egfr": {"from": f"30 {UNIT}", "below": f"60 {UNIT}"}, "dose": "5 mg/kg", "min_gap": "12 hours", "max_doses": 2}
LOW = {"id": "low", "egfr": {"below": f"30 {UNIT}"}, "dose": "5 mg/kg", "min_gap": "24 hours", "max_doses": 1}
BANDED = tiny(FULL, HALF, LOW)
PLAIN = tiny({"dose": "10 mg/kg", "min_gap": "8 hours", "max_doses": 3})
NO_FULL = tiny(HALF, LOW)
ORDER = {**ASK, "dose": "200 mg", "every": "8 hours"}
HALF_ORDER = {**ASK, "dose": "100 mg", "every": "12 hours"}
ONCE = {**ASK, "dose": "100 mg", "once": "yes"}
CHILD = {"height": "110 cm"}


def creatinine_for(rate: int) -> dict[str, str]:
    """Height and creatinine of a child with about this GFR, a little above it (the equation turned round by hand)."""
    number = Fraction(413, 1000) * 110 / rate * Fraction(999, 1000)
    return {"height": "110 cm", "creatinine": f"{int(number * 10**6) / 10**6} mg/dL"}


@pytest.mark.parametrize(
    ("rate", "order", "regimen", "outcome"),
    [
        (100, ORDER, "full", WITHIN),
        (60, ORDER, "full", WITHIN),
        (59, ORDER, "half", STOP),
        (59, HALF_ORDER, "half", WITHIN),
        (30, HALF_ORDER, "half", WITHIN),
        (29, HALF_ORDER, "low", STOP),
        (100, HALF_ORDER, "full", QUERY),
    ],
)
def test_the_figures_are_those_of_the_childs_own_function(rate: int, order: dict, regimen: str, outcome: str) -> None:
    verdict = check({**order, **creatinine_for(rate)}, BANDED)
    assert ([r.id for r in verdict.regimens], verdict.outcome) == ([regimen], outcome)
    assert "kidney-function-reduced" not in verdict.codes
    assert "eGFR" in verdict.understood["kidneys"] and any(step.text.startswith("eGFR: 0.413 x 110 cm") for step in verdict.working)


def test_not_told_is_a_query_where_the_other_figures_would_answer_otherwise() -> None:
    verdict = check(ORDER, BANDED)
    assert (verdict.outcome, verdict.codes) == (QUERY, ("kidneys-not-told",))
    assert [r.id for r in verdict.regimens] == ["full"]
    said = next(f.message for f in verdict.findings if f.code == "kidneys-not-told")
    assert f"half, for kidney function from 30 {UNIT}, below 60 {UNIT}: stop" in said


def test_not_told_is_a_note_where_all_figures_answer_alike() -> None:
    same = {"dose": {"low": "4 mg/kg", "high": "10 mg/kg"}}
    verdict = check(ONCE, tiny({**FULL, **same}, {**HALF, **same}))
    assert verdict.outcome == WITHIN
    assert [f.outcome for f in verdict.findings if f.code == "kidneys-not-told"] == [""]


def test_not_told_and_no_figures_for_full_function_is_not_checked() -> None:
    assert codes(check(ORDER, NO_FULL)) == {"kidney-function-missing"}
    assert check(ORDER, NO_FULL).outcome == NOT_CHECKED


def test_not_told_never_makes_an_answer_milder_than_the_full_figures() -> None:
    assert check({**ORDER, "dose": "2000 mg"}, BANDED).outcome == STOP
    assert check({**ORDER, "dose": ""}, BANDED).outcome == NOT_CHECKED


@given(st.integers(min_value=5, max_value=3000), st.sampled_from((ORDER, HALF_ORDER, ONCE)))
def test_no_creatinine_passes_what_its_own_figures_do_not(creatinine: int, order: dict) -> None:
    """An order that is within with the function untold is within with it told."""
    told = check({**order, **CHILD, "creatinine": f"{creatinine} micromol/L"}, BANDED)
    assert check(order, BANDED).outcome != WITHIN or told.outcome == WITHIN


def test_reduced_function_and_no_figures_for_it_is_a_query() -> None:
    assert check({**ORDER, **creatinine_for(60)}, PLAIN).outcome == WITHIN
    verdict = check({**ORDER, **creatinine_for(59)}, PLAIN)
    assert (verdict.outcome, verdict.codes) == (QUERY, ("kidney-function-reduced",))
    assert "G3a" in verdict.findings[0].message


def test_a_shipped_medicine_asks_too() -> None:
    texts = {
        "medicine": "paracetamol",
        "route": "oral",
        "for": "pain",
        "dose": "210 mg",
        "every": "6 hours",
        "weight": "14.2 kg",
        "age": "3 years",
    }
    assert check(texts).outcome == WITHIN
    assert codes(check({**texts, "height": "96 cm", "creatinine": "62 micromol/L"})) == {"kidney-function-reduced"}


@pytest.mark.parametrize("change", [{"height": ""}, {"age": "8 months"}, {"age": "18 years"}])
def test_a_creatinine_that_cannot_be_used_is_never_passed_over(change: dict[str, str]) -> None:
    figures = tiny({"age": {"below": "20 years"}, "dose": "10 mg/kg", "min_gap": "8 hours", "max_doses": 3})
    verdict = check({**ORDER, **CHILD, "creatinine": "62 micromol/L", **change}, figures)
    assert verdict.outcome == QUERY and "kidneys-not-reckoned" in verdict.codes


def test_the_dose_command_shows_the_full_figures_and_names_the_others() -> None:
    order, child = read_order(ASK)
    found = reckon(order, child, BANDED)
    assert [f.regimen.id for f in found.figures] == ["full"]
    assert "half, for kidney function" in next(f.message for f in found.findings if f.code == "kidneys-not-told")
    order, child = read_order({**ASK, **creatinine_for(40)})
    assert [f.regimen.id for f in reckon(order, child, BANDED).figures] == ["half"]


def test_a_file_of_orders_answers_as_one_order_does() -> None:
    orders = [{**order, **more} for order in (ORDER, HALF_ORDER, ONCE) for more in ({}, CHILD, *(creatinine_for(r) for r in (20, 45, 80)))]
    for figures, rows in (
        (BANDED, orders),
        (PLAIN, orders),
        (REAL, [{**o, "medicine": "gentamicin", "route": "intravenous"} for o in orders]),
    ):
        columns = pl.DataFrame([{f: o.get(f) for f in FIELDS} for o in rows], schema=dict.fromkeys(FIELDS, pl.String))
        batch = Batch(figures, read_order(ASK)[1].on)
        batch.screen.least_part = 0
        answers = batch.answer(columns)
        for row, outcome, found in zip(rows, answers["outcome"], answers["codes"], strict=True):
            verdict = check(row, figures)
            assert (outcome, found) == (verdict.outcome, ";".join(verdict.codes)), row


def test_bands_that_leave_no_doubt_who_is_meant() -> None:
    """Overlap is refused by lint; so is a regimen without a band beside one with it."""
    for first in ({"dose": "10 mg/kg", "id": "any"}, {**FULL, "egfr": {"from": f"50 {UNIT}"}}):
        with pytest.raises(Exception, match="overlaps the regimen"):
            tiny(first, HALF)
    assert LINE["age"]


def test_b_unit_of_creatinine_left_out() -> None:
    with pytest.raises(InputError, match="creatinine"):
        read_order({**ORDER, "creatinine": "62"})
