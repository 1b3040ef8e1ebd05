"""Tubes and shocks: each rule over its whole range, edges of age, what is asked for and what is doubted."""

from __future__ import annotations

from fractions import Fraction

import pytest
from said import ask, codes, value


@pytest.mark.parametrize("years", range(2, 11))
def test_each_size_is_the_rule_to_the_nearest_half_and_half_way_up(years: int) -> None:
    """age / 4 + 4, + 3.5 and + 3 in half millimetres: years / 2 + 8, 7 and 6, where an odd year is half way and goes up."""
    reckoned = ask("tube-size", age=f"{years} years")
    sizes = [result.value.number * 2 for result in reckoned.answer.results[:3]]
    assert sizes == [(years + 1) // 2 + halves for halves in (8, 7, 6)]
    assert value(reckoned, "depth at the lip").number == Fraction(years, 2) + 12
    assert value(reckoned, "length by the nose").number == Fraction(years, 2) + 15
    assert [step.result.number for step in reckoned.answer.steps[:3]] == [Fraction(years, 4) + plus for plus in (4, Fraction(7, 2), 3)]


@pytest.mark.parametrize(
    ("age", "outcome"),
    [
        ("1 year 11 months", "not-checked"), ("2 years", "reckoned"), ("24 months", "reckoned"), ("10 years 11 months", "reckoned"),
        ("11 years", "not-checked"), ("5 days", "not-checked"),
    ],
)  # fmt: skip
def test_the_rules_hold_from_two_to_ten_completed_years(age: str, outcome: str) -> None:
    reckoned = ask("tube-size", age=age)
    assert reckoned.outcome == outcome
    assert bool(reckoned.answer.results) == (outcome == "reckoned")


def test_an_age_across_a_birthday_is_not_guessed() -> None:
    assert "which year" in ask("tube-size", age="156 weeks").not_covered  # 1,092 to 1,098 days: 2 years or 3


def test_both_rules_for_a_cuffed_tube_are_shown_and_the_sizes_beside() -> None:
    results = {result.name: result for result in ask("tube-size", age="5 years").answer.results}
    assert results["cuffed, by age / 4 + 3.5"].text == "5 mm" and results["cuffed, by age / 4 + 3"].text == "4.5 mm"
    assert "5 mm and 6 mm" in results["uncuffed"].note


@pytest.mark.parametrize(("weight", "energy", "to_set"), [("14.2 kg", "56.8", "57"), ("7.125 kg", "28.5", "29"), ("3 kg", "12", "12")])
def test_energy_is_exact_and_then_rounded_once(weight: str, energy: str, to_set: str) -> None:
    reckoned = ask("shock-energy", weight=weight, purpose="cardiac arrest")
    assert (value(reckoned, "energy").number, value(reckoned, "to set").number) == (Fraction(energy), Fraction(to_set))


def test_no_energy_for_cardioversion_without_a_told_figure() -> None:
    reckoned = ask("shock-energy", weight="15 kg", purpose="cardioversion")
    assert reckoned.outcome == "not-checked" and not reckoned.answer.results


@pytest.mark.parametrize(
    ("given", "doubts"),
    [
        ({"purpose": "cardiac arrest", "per_kg": "4 J/kg"}, []), ({"purpose": "cardiac arrest", "per_kg": "2 J/kg"}, ["other-energy"]),
        ({"purpose": "cardioversion", "per_kg": "0.4 J/kg"}, []), ({"purpose": "cardioversion", "per_kg": "0.1 J/kg"}, ["low-energy"]),
        ({"purpose": "cardioversion", "per_kg": "2 J/kg"}, []), ({"purpose": "cardioversion", "per_kg": "40 J/kg"}, ["other-energy"]),
        ({"purpose": "cardiac arrest", "weight": "49.9 kg"}, []), ({"purpose": "cardiac arrest", "weight": "50 kg"}, ["weight-of-an-adult"]),
        ({"purpose": "cardiac arrest", "weight": "100 g"}, ["weight-hard-to-believe", "energy-too-small"]),
    ],
)  # fmt: skip
def test_an_odd_energy_or_weight_is_doubted(given: dict[str, str], doubts: list[str]) -> None:
    reckoned = ask("shock-energy", **{"weight": "15 kg", **given})
    assert codes(reckoned) == doubts
    assert reckoned.outcome == ("query" if doubts else "reckoned")
