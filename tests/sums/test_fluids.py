"""Maintenance and boluses: rules against a plain second reckoning, edges of the bands, what is refused or doubted."""

from __future__ import annotations

from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st
from said import ask, codes, value

from dosecheck import InputError

RULES = {"100-50-20": (100, 50, 20), "100-50-25": (100, 50, 25), "4-2-1": (4, 2, 1)}
GRAMS = st.integers(3000, 120_000)


def plainly(rule: str, grams: int) -> Fraction:
    """The rule gram by gram of three pieces: mL a day, or mL/h for 4-2-1."""
    first, second, third = RULES[rule]
    pieces = min(grams, 10_000) * first, max(0, min(grams, 20_000) - 10_000) * second, max(0, grams - 20_000) * third
    most = {"100-50-20": 2400, "4-2-1": 100}.get(rule)
    return min(Fraction(sum(pieces), 1000), Fraction(most)) if most else Fraction(sum(pieces), 1000)


@given(st.sampled_from(list(RULES)), GRAMS)
def test_maintenance_is_that_of_a_plain_second_reckoning(rule: str, grams: int) -> None:
    reckoned = ask("maintenance-fluid", weight=f"{grams} g", rule=rule, age="5 years")
    name, unit = ("by the hour", "mL/h") if rule == "4-2-1" else ("a day", "mL/day")
    assert value(reckoned, name).to(unit).number == plainly(rule, grams)
    assert value(reckoned, "a day") == value(reckoned, "by the hour")  # one rate, shown in two units


@given(st.sampled_from(list(RULES)), GRAMS, st.integers(0, 50_000))
def test_a_heavier_child_never_needs_less(rule: str, grams: int, more: int) -> None:
    light, heavy = (value(ask("maintenance-fluid", weight=f"{g} g", rule=rule), "a day") for g in (grams, grams + more))
    assert light <= heavy


@pytest.mark.parametrize(("weight", "shared"), [("8 kg", "25/24"), ("20 kg", "25/24"), ("35 kg", "1"), ("90 kg", "1")])
def test_the_two_forms_differ_and_each_says_so(weight: str, shared: str) -> None:
    """1000 mL a day against 40 mL/h, which is 960; they meet at 35 kg (1800), and again where both are held."""
    day, hour = (ask("maintenance-fluid", weight=weight, rule=rule) for rule in ("100-50-20", "4-2-1"))
    assert value(day, "a day").value / value(hour, "a day").value == Fraction(shared)
    assert any(note.startswith("By 4-2-1") for note in day.answer.notes) == (shared != "1")


def test_the_path_of_the_unit_does_not_matter() -> None:
    rates = {value(ask("maintenance-fluid", weight=weight, rule="100-50-20"), "a day") for weight in ("14.2 kg", "14200 g")}
    assert len(rates) == 1


@pytest.mark.parametrize(
    ("weight", "age", "outcome"),
    [
        ("3 kg", "5 weeks", "reckoned"), ("2.99 kg", "5 weeks", "not-checked"), ("3.6 kg", "28 days", "not-checked"),
        ("3.6 kg", "29 days", "reckoned"), ("3.6 kg", "4 weeks", "not-checked"), ("5.9 kg", "", "query"), ("6 kg", "", "reckoned"),
    ],
)  # fmt: skip
def test_a_baby_who_may_be_newborn_is_never_reckoned_in_silence(weight: str, age: str, outcome: str) -> None:
    assert ask("maintenance-fluid", weight=weight, rule="100-50-20", age=age).outcome == outcome


def test_above_the_usual_most_is_held_or_doubted() -> None:
    held = ask("maintenance-fluid", weight="65.001 kg", rule="100-50-20")
    assert held.answer.results[0].note == "held at the usual most"
    assert not ask("maintenance-fluid", weight="65 kg", rule="100-50-20").answer.results[0].note
    assert codes(ask("maintenance-fluid", weight="60 kg", rule="100-50-25")) == ["above-usual-most"]


def test_newborn_range_by_day_of_life() -> None:
    days = [ask("newborn-fluid", weight="3 kg", day_of_life=str(day), born="at term") for day in range(1, 29)]
    most = [value(day, "most a day") for day in days]
    assert most == sorted(most) and all(value(day, "least a day") < value(day, "most a day") for day in days)
    assert ask("newborn-fluid", weight="3 kg", day_of_life="29", born="at term").outcome == "not-checked"
    assert ask("newborn-fluid", weight="1.2 kg", day_of_life="3", born="early").outcome == "not-checked"
    assert codes(ask("newborn-fluid", weight="32 kg", day_of_life="3", born="at term")) == ["weight-hard-to-believe"]


@pytest.mark.parametrize(
    ("weight", "rule", "age", "doubts"),
    [
        ("50 kg", "resuscitation", "", []), ("50.1 kg", "resuscitation", "", ["large-bolus"]), ("8 kg", "shock with dehydration", "", ["age-not-told"]),
        ("26 kg", "shock with dehydration", "8 years", ["large-bolus"]), ("80 kg", "ketoacidosis", "", []),
    ],
)  # fmt: skip
def test_a_bolus_that_is_large_or_of_untold_age_is_doubted(weight: str, rule: str, age: str, doubts: list[str]) -> None:
    assert codes(ask("fluid-bolus", weight=weight, rule=rule, age=age)) == doubts


def test_bad_fields_of_fluids() -> None:
    with pytest.raises(InputError) as error:
        ask("maintenance-fluid", weight="14,2 kg", rule="4/2/1", age="2.5 years")
    assert [fault.field for fault in error.value.faults] == ["weight", "rule", "age"]
    for bad in ("0", "2.5", "-1", "three", "1e1"):
        with pytest.raises(InputError):
            ask("newborn-fluid", weight="3 kg", day_of_life=bad, born="at term")
    with pytest.raises(InputError, match="12 months are a year"):
        ask("maintenance-fluid", weight="14 kg", rule="4-2-1", age="2 years 14 months")
