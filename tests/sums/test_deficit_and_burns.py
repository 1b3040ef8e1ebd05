"""Deficits, ketoacidosis and burns: halves that add up, clocks that run from the burn, edges of each source, bad input."""

from __future__ import annotations

from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st
from said import ask, codes, value

from dosecheck import InputError

GRAMS = st.integers(3000, 80_000)


# ---- deficit ----


@given(GRAMS, st.integers(1, 15))
def test_what_runs_in_over_a_day_is_the_deficit_and_a_days_maintenance(grams: int, percent: int) -> None:
    reckoned = ask("deficit-fluid", weight=f"{grams} g", dehydration=f"{percent} %", age="5 years")
    rates = [value(reckoned, name).number for name in ("first 8 hours", "next 16 hours")]
    day = value(ask("maintenance-fluid", weight=f"{grams} g", rule="100-50-20"), "a day").number
    assert value(reckoned, "deficit").number == Fraction(grams * percent, 100)  # a gram of water is a millilitre
    assert 8 * rates[0] + 16 * rates[1] == day + value(reckoned, "deficit").number


@pytest.mark.parametrize(("share", "doubts"), [("10 %", []), ("10.1 %", ["large-deficit"]), ("0.1 %", ["small-deficit"]), ("1 %", [])])
def test_a_share_that_is_likely_a_slip_is_doubted(share: str, doubts: list[str]) -> None:
    assert codes(ask("deficit-fluid", weight="12 kg", dehydration=share)) == doubts


@pytest.mark.parametrize("share", ["10", "0.1", "0 %", "101 %", "ten %", "5 to 8 %", "10 mL/kg"])
def test_a_share_without_its_sign_is_refused(share: str) -> None:
    with pytest.raises(InputError):
        ask("deficit-fluid", weight="12 kg", dehydration=share)


# ---- ketoacidosis ----


@pytest.mark.parametrize(
    ("deficit", "outcome"),
    [("29 mL/kg", "not-checked"), ("30 mL/kg", "reckoned"), ("55 mL/kg", "query"), ("100 mL/kg", "reckoned"), ("101 mL/kg", "not-checked")],
)
def test_the_table_of_2023_is_not_stretched(deficit: str, outcome: str) -> None:
    assert ask("ketoacidosis-fluid", weight="20 kg", deficit=deficit, rule="4-2-1").outcome == outcome


@pytest.mark.parametrize(
    ("given", "outcome"),
    [
        ({"weight": "19.9 kg"}, "query"), ({"weight": "20 kg"}, "not-checked"), ({"dehydration": "4.9 %"}, "not-checked"),
        ({"dehydration": "8.1 %"}, "not-checked"),
    ],
)  # fmt: skip
def test_the_guideline_of_2009_is_never_more_than_a_query(given: dict[str, str], outcome: str) -> None:
    assert ask("ketoacidosis-fluid-2009", **{"weight": "12 kg", "dehydration": "5 %", **given}).outcome == outcome


def test_a_bolus_already_given_is_taken_off_once() -> None:
    without, with_it = (ask("ketoacidosis-fluid-2009", weight="12 kg", dehydration="5 %", bolus=bolus) for bolus in ("", "240 mL"))
    assert value(without, "by the hour").number - value(with_it, "by the hour").number == 5
    assert codes(ask("ketoacidosis-fluid-2009", weight="12 kg", dehydration="5 %", bolus="361 mL")) == ["replaced", "large-bolus"]
    with pytest.raises(InputError, match="no less than all"):
        ask("ketoacidosis-fluid-2009", weight="12 kg", dehydration="5 %", bolus="2520 mL")


# ---- burns ----

BURN = {"weight": "20 kg", "age": "6 years", "area": "20 %", "per_percent": "3 mL/kg"}


@given(st.integers(1, 479), st.integers(0, 599))
def test_the_first_half_is_all_in_by_8_hours_from_the_burn(minutes: int, given_ml: int) -> None:
    reckoned = ask("burns-fluid", **BURN, since=f"{minutes} minutes", given=f"{given_ml} mL" if given_ml else "")
    steps = {step.what: step.result for step in reckoned.answer.steps}
    left = Fraction(480 - minutes, 60)
    assert (steps["rate until then"].number - 60) * left + given_ml == 600  # 60 mL/h is maintenance at 20 kg
    assert (steps["rate for the 16 hours after"].number - 60) * 16 == 600


def test_a_later_start_never_runs_slower() -> None:
    rates = [value(ask("burns-fluid", **BURN, since=f"{hours} hours"), "rate until 8 hours from the burn") for hours in range(1, 8)]
    assert rates == sorted(rates)


@pytest.mark.parametrize(
    ("changes", "doubts"),
    [
        ({}, ["since-not-told"]), ({"since": "1 hour"}, []), ({"since": "4 hours"}, []), ({"since": "4.1 hours"}, ["fast-catching-up"]),
        ({"since": "1 hour", "given": "600 mL"}, ["half-already-given"]), ({"since": "1 hour", "area": "51 %"}, ["large-area"]),
        ({"since": "1 hour", "area": "9 %"}, ["small-area"]), ({"since": "1 hour", "area": "10 %"}, []),
        ({"since": "1 hour", "area": "8 %", "age": "17 months", "weight": "10 kg"}, []),
        ({"since": "1 hour", "area": "8 %", "age": "18 months", "weight": "10 kg"}, ["small-area"]),
        ({"since": "1 hour", "area": "8 %", "age": "", "weight": "10 kg"}, ["small-area"]),
    ],
)  # fmt: skip
def test_what_is_doubted_about_a_burn(changes: dict[str, str], doubts: list[str]) -> None:
    assert codes(ask("burns-fluid", **{**BURN, **changes})) == doubts


@pytest.mark.parametrize("changes", [{"since": "8 hours"}, {"area": "7.9 %"}, {"per_percent": "1.9 mL/kg"}, {"per_percent": "5 mL/kg"}])
def test_what_the_burns_formula_does_not_cover(changes: dict[str, str]) -> None:
    reckoned = ask("burns-fluid", **{**BURN, **changes})
    assert reckoned.outcome == "not-checked" and not reckoned.answer.results


@pytest.mark.parametrize(
    "changes", [{"area": "20"}, {"area": "120 %"}, {"per_percent": "3 mL"}, {"per_percent": "3"}, {"since": "2"}, {"given": "150 mL"}]
)
def test_bad_fields_of_a_burn(changes: dict[str, str]) -> None:
    with pytest.raises(InputError):
        ask("burns-fluid", **{**BURN, **changes})
