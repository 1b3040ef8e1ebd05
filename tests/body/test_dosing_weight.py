"""Regimens that go by an ideal or adjusted weight, on an invented medicine: by hand, missing, lean, and never above the scale."""

from __future__ import annotations

from fractions import Fraction

import polars as pl
import pytest
from hypothesis import given
from hypothesis import strategies as st
from relations.kit import ASK, FOLDER, LINE, TINY, as_file, check, in_folder, tiny

from dosecheck import Formulary, Verdict, read_order
from dosecheck.batch.columns import FIELDS
from dosecheck.batch.run import Batch
from dosecheck.records import NOT_CHECKED, QUERY, STOP, WITHIN
from dosecheck.rules.reckon import reckon

FIGURES = {"dose": "10 mg/kg", "min_gap": "8 hours", "max_doses": 3}
BY = {name: tiny({**FIGURES, "goes_by": name}) for name in ("actual", "ideal", "adjusted", "lean")}
# A girl of 12 years and 150 cm: ideal 17.9966 kg/m2 x 1.5 m x 1.5 m = 40.5 kg (WHO Reference 2007); at 70.5 kg adjusted
# 40.5 + 0.4 x 30 = 52.5 kg.
GIRL = {**ASK, "age": "12 years 0 months", "height": "150 cm", "sex": "female", "weight": "70.5 kg", "every": "8 hours"}


@pytest.mark.parametrize(
    ("goes_by", "dose", "outcome"),
    [
        ("ideal", "405 mg", WITHIN),
        ("ideal", "405.1 mg", QUERY),
        ("ideal", "445.6 mg", STOP),
        ("adjusted", "525 mg", WITHIN),
        ("adjusted", "525.1 mg", QUERY),
        ("actual", "705 mg", WITHIN),
        ("actual", "405 mg", QUERY),
    ],
)
def test_the_limits_are_held_by_the_weight_that_the_regimen_goes_by(goes_by: str, dose: str, outcome: str) -> None:
    verdict = check({**GIRL, "dose": dose}, BY[goes_by])
    assert verdict.outcome == outcome, [f.message for f in verdict.findings]


def test_the_working_shows_how_the_weight_came_about() -> None:
    verdict = check({**GIRL, "dose": "525 mg"}, BY["adjusted"])
    steps = [step.text for step in verdict.working]
    assert any(
        s.startswith("ideal weight: 17.9966 kg/m2 x 1.5 m x 1.5 m = 40.5 kg (median of girls of 12 years 0 months, WHO") for s in steps
    )
    assert "adjusted weight: 40.5 kg + 0.4 x (70.5 kg - 40.5 kg) = 52.5 kg" in steps
    assert any("10 mg/kg x 52.5 kg = 525 mg" in s for s in steps)
    assert any("adjusted weight: 52.5 kg here, not the 70.5 kg on the scale" in f.message for f in verdict.findings)


def test_an_order_per_kg_is_an_amount_by_the_scale() -> None:
    verdict = check({**GIRL, "dose": "10 mg/kg"}, BY["ideal"])
    assert verdict.outcome == STOP and verdict.one_dose.number == 705


@given(st.integers(min_value=120, max_value=1500), st.sampled_from(("ideal", "adjusted")))
def test_no_limit_is_ever_above_that_by_the_scale(tenths: int, goes_by: str) -> None:
    texts = {**GIRL, "weight": f"{tenths // 10}.{tenths % 10} kg", "dose": "405 mg"}
    comes = [[s.comes_to.value for s in check(texts, BY[name]).limits if s.limit.name == "dose"] for name in (goes_by, "actual")]
    assert all(one <= other for one, other in zip(*comes, strict=True))
    if Fraction(tenths, 10) <= Fraction("40.5"):
        assert comes[0] == comes[1]


@pytest.mark.parametrize(
    ("field", "text", "named"),
    [
        ("height", "", "the height"),
        ("sex", "", "the sex"),
        ("weight", "", "the weight"),
        ("age", "12 years", "the age in years and months, or the date of birth"),
        ("age", "23 months", "from 2 years on"),
    ],
)
@pytest.mark.parametrize("goes_by", ["ideal", "adjusted"])
def test_missing_is_not_checked_and_names_what_to_supply(goes_by: str, field: str, text: str, named: str) -> None:
    verdict = check({**GIRL, "dose": "405 mg", field: text}, BY[goes_by])
    assert verdict.outcome == NOT_CHECKED and "weight-kind" in verdict.codes
    assert named in next(f.message for f in verdict.findings if f.code == "weight-kind")


def test_lean_weight_is_not_reckoned() -> None:
    verdict = check({**GIRL, "dose": "405 mg"}, BY["lean"])
    assert verdict.outcome == NOT_CHECKED and "has been read at its source" in verdict.findings[0].message


def test_without_the_weight_an_overdose_by_the_scale_is_still_a_stop() -> None:
    assert check({**GIRL, "dose": "2000 mg", "height": ""}, BY["ideal"]).outcome == STOP


def test_a_regimen_without_figures_per_kg_needs_no_ideal_weight() -> None:
    figures = tiny({"dose": "400 mg", "min_gap": "8 hours", "max_doses": 3, "goes_by": "ideal"})
    assert check({**ASK, "dose": "400 mg", "every": "8 hours"}, figures).outcome == WITHIN


def test_only_that_regimen_goes_by_it() -> None:
    """Two regimens of one medicine: the other keeps the weight on the scale."""
    figures = tiny({**FIGURES, "goes_by": "ideal", "for": ["pain"]}, {**FIGURES, "id": "other", "for": ["fever"], "goes_by": "actual"})
    verdict = check({**GIRL, "dose": "405 mg"}, figures)
    comes = {s.regimen.id: s.comes_to.number for s in verdict.limits if s.limit.name == "dose" and not s.limit.beyond}
    assert comes == {"oral-child": 405, "other": 705}


def test_the_dose_command_shows_it_and_shows_nothing_per_kg_without() -> None:
    order, child = read_order(GIRL)
    (figures,) = reckon(order, child, BY["ideal"]).figures
    assert figures.high.number == 405 and any(step.text.startswith("ideal weight") for step in figures.steps)
    order, child = read_order({**GIRL, "sex": ""})
    (figures,) = reckon(order, child, BY["ideal"]).figures
    assert figures.high is None and "the sex" in figures.notes[0]


# A girl on her eighth birthday, 96 months of 30.4375 days: the WHO Reference 2007 has L -0.5627, M 25.0262, S 0.16186.
HEAVY = {**ASK, "age": "", "born": "2018-05-04", "sex": "female", "dose": "440 mg", "every": "8 hours"}
FAR = 25.0262 * (1 - 0.5627 * 0.16186 * 3) ** (1 / -0.5627)  # z of 3 by hand, in kg: about 44.1


def far(weight: str, *changes: dict, **more: str) -> Verdict:
    return check({**HEAVY, "weight": weight, **more}, with_policy(*changes))


def with_policy(*changes: dict) -> Formulary:
    """An invented medicine beside the shipped policy, its far z-score included."""
    files = {"policy.toml": (FOLDER / "policy.toml").read_bytes(), "sources.toml": (FOLDER / "sources.toml").read_bytes()}
    raw = {**TINY, "regimen": [{**LINE, **change} for change in changes or ({**FIGURES},)]}
    return in_folder({**files, "medicines/exampol.toml": as_file(raw)})


def test_a_weight_far_above_the_centiles_and_a_silent_regimen_is_a_query() -> None:
    assert far(f"{FAR - 0.002:.3f} kg").outcome == WITHIN
    verdict = far(f"{FAR + 0.002:.3f} kg")
    assert (verdict.outcome, verdict.codes) == (QUERY, ("weight-far-above",))
    assert "z 3" in verdict.findings[0].message and "(WHO, girls)" in verdict.findings[0].message


@pytest.mark.parametrize("goes_by", ["actual", "ideal", "adjusted", "lean"])
def test_a_regimen_that_says_which_weight_is_not_asked_about(goes_by: str) -> None:
    assert "weight-far-above" not in far("60 kg", {**FIGURES, "goes_by": goes_by}, height="127 cm").codes


def test_a_regimen_without_figures_per_kg_is_not_asked_about() -> None:
    assert "weight-far-above" not in far("60 kg", {"dose": "450 mg", "min_gap": "8 hours", "max_doses": 3}).codes


@pytest.mark.parametrize("more", [{"sex": ""}, {"born": "", "age": "8 years"}, {"sex": "", "born": "", "age": "8 years"}])
def test_what_is_not_told_takes_the_widest_curve(more: dict[str, str]) -> None:
    """A weight above for every sex and day that the child may be of; one that may be below is not asked about."""
    assert "weight-far-above" in far("70 kg", **more).codes
    assert "weight-far-above" not in far("46 kg", **{"born": "", "age": "8 years", "sex": ""}).codes
    assert "weight-far-above" in far("46 kg").codes


def test_far_above_by_columns_is_as_one_by_one() -> None:
    figures = with_policy({**FIGURES, "for": ["pain"]}, {**FIGURES, "id": "other", "for": ["fever"], "goes_by": "actual"})
    rows = [
        {**HEAVY, "weight": f"{kg} kg", "sex": sex, "born": "", "age": age, "for": purpose}
        for kg in (25, 40, 45, 46, 50, 70)
        for sex in ("female", "male", "")
        for age in ("8 years", "8 years 0 months", "2 years 3 months", "15 years")
        for purpose in ("pain", "fever", "")
    ]
    same_by_columns(figures, rows)


def test_a_file_of_orders_answers_as_one_order_does() -> None:
    rows = [
        {**GIRL, "dose": f"{dose} mg", **more} for dose in (350, 405, 406, 500, 706) for more in ({}, {"height": ""}, {"weight": "38 kg"})
    ]
    for figures in BY.values():
        same_by_columns(figures, rows)


def same_by_columns(figures: Formulary, rows: list[dict[str, str]]) -> None:
    batch = Batch(figures, read_order(ASK)[1].on)
    batch.screen.least_part = 0
    answers = batch.answer(pl.DataFrame([{f: r.get(f) or None for f in FIELDS} for r in rows], schema=dict.fromkeys(FIELDS, pl.String)))
    for row, outcome, found in zip(rows, answers["outcome"], answers["codes"], strict=True):
        verdict = check(row, figures)
        assert (outcome, found) == (verdict.outcome, ";".join(verdict.codes)), row
