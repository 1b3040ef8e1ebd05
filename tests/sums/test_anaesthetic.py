"""Local anaesthetics: parts that add up to no more than the whole, always rounded down, figures of the formulary alone."""

from __future__ import annotations

import shutil
from fractions import Fraction
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from said import ask, codes, value

from dosecheck import Formulary, InputError
from dosecheck.sums.frame import Reckoned

FOLDER = Path(__file__).parents[2] / "formulary"
FORMULARY = Formulary(FOLDER)
CHILD = {"weight": "20 kg", "age": "6 years"}
AGENTS = {
    "lidocaine": ("1 %", 10, Fraction(9, 2)),
    "bupivacaine": ("0.25 %", Fraction(5, 2), 2),
    "lidocaine with adrenaline": ("2 %", 20, 7),
}


def la(**texts: str) -> Reckoned:
    return ask("local-anaesthetic", FORMULARY, **{**CHILD, **texts})


@settings(deadline=None)
@given(st.sampled_from(list(AGENTS)), st.sampled_from(list(AGENTS)), st.integers(15_000, 28_000), st.integers(1, 300))
def test_two_agents_together_never_pass_the_whole(agent: str, other: str, grams: int, tenths: int) -> None:
    strength, mg_per_ml, per_kg = AGENTS[agent]
    other_strength, other_mg_per_ml, other_per_kg = AGENTS[other]
    kg, other_ml = Fraction(grams, 1000), Fraction(tenths, 10)
    reckoned = la(
        weight=f"{grams} g",
        medicine=agent,
        strength=strength,
        other=other,
        other_strength=other_strength,
        other_volume=f"{float(other_ml)} mL",
    )
    volume = value(reckoned, "at most").number
    used = other_ml * other_mg_per_ml / (other_per_kg * kg)
    part = volume * mg_per_ml / (per_kg * kg)
    assert part + used <= 1 or volume == 0
    if used < 1:
        assert part + used > 1 - Fraction(1, 10) * mg_per_ml / (per_kg * kg)  # one more step would pass it
    assert ("nothing-left" in codes(reckoned)) == (used >= 1)


def test_what_is_given_first_does_not_matter() -> None:
    """10 mL of one leave 3.3 mL of the other; 3.3 mL of the other leave 10 mL and a little of the one."""
    one = la(medicine="lidocaine", strength="1 %", other="bupivacaine", other_strength="0.25 %", other_volume="10 mL")
    back = la(medicine="bupivacaine", strength="0.25 %", other="lidocaine", other_strength="1 %", other_volume=one.answer.results[0].text)
    assert value(one, "at most").number == Fraction("3.3") and 10 <= value(back, "at most").number < Fraction("10.5")


def test_the_same_agent_before_counts() -> None:
    again = la(medicine="lidocaine", strength="1 %", other="lidocaine", other_strength="2 %", other_volume="2 mL")
    assert value(again, "at most").number == 5  # 90 mg, 40 mg of it used


@pytest.mark.parametrize(("grams", "volume"), [(3000, "0.67"), (4444, "0.99"), (4445, "1"), (14_200, "3.1"), (25_000, "5.6")])
def test_always_down_to_a_stated_step(grams: int, volume: str) -> None:
    """4.5 mg/kg of 20 mg/mL: 0.675, 0.9999, 1.000125, 3.195 and 5.625 mL."""
    reckoned = la(weight=f"{grams} g", age="8 years", medicine="lidocaine", strength="2 %")
    assert value(reckoned, "at most").number == Fraction(volume)
    assert "rounded down to 0.01 mL" in reckoned.answer.results[0].note or grams > 4444


@pytest.mark.parametrize("strength", ["0.9 %", "0.11 %", "100 mg/mL"])
def test_a_strength_that_no_product_has_is_doubted(strength: str) -> None:
    assert codes(la(medicine="lidocaine", strength=strength)) == ["strength-unknown"]


@pytest.mark.parametrize("strength", ["1 in 200000", "0.1 %", "200 mg/mL", "5 micrograms/mL"])
def test_a_strength_ten_times_away_gives_no_volume(strength: str) -> None:
    """12.78 L of "1 in 200000" is no most of lidocaine: it is the strength of the adrenaline."""
    reckoned = la(medicine="lidocaine", strength=strength)
    assert reckoned.outcome == "not-checked" and not reckoned.answer.results and "label" in reckoned.not_covered


def test_the_answer_names_regimen_source_and_formulary() -> None:
    reckoned = la(medicine="lidocaine", strength="1 %")
    answer = reckoned.answer
    assert any("infiltration-anaesthesia-child" in note for note in answer.notes)
    assert any("Clark" in note for note in answer.notes) and any("not for clinical use" in note for note in answer.notes)
    assert "300 mg" in "".join(step.text for step in answer.steps) and "prescribing information" in answer.sources[0]
    assert reckoned.as_dict()["formulary"]["fingerprint"] == FORMULARY.fingerprint


@pytest.mark.parametrize(
    ("changes", "why"),
    [
        ({"medicine": "prilocaine"}, "No medicine named"), ({"medicine": "bupivacaine with adrenaline"}, "No medicine named"),
        ({"medicine": "lidocain"}, "Nothing of it was used"), ({"medicine": "paracetamol"}, "No regimen by the route"),
        ({"medicine": "bupivacaine", "strength": "0.25 %", "weight": "50 kg", "age": "15 years"}, "No regimen fits"),
        ({"age": "18 years", "weight": "60 kg"}, "No regimen fits"),
    ],
)  # fmt: skip
def test_no_figure_no_answer(changes: dict[str, str], why: str) -> None:
    reckoned = la(**{"medicine": "lidocaine", "strength": "1 %", **changes})
    assert reckoned.outcome == "not-checked" and why in reckoned.not_covered and not reckoned.answer.results


@pytest.mark.parametrize(
    ("changes", "code"),
    [({"weight": "33 kg", "age": "3 years"}, "weight-not-believable"), ({"weight": "3 kg", "age": "10 days"}, "gestation-not-told")],
)
def test_what_the_check_doubts_of_the_child_is_doubted_here(changes: dict[str, str], code: str) -> None:
    assert code in codes(la(**{"medicine": "lidocaine", "strength": "1 %", **changes}))


def test_another_agent_needs_all_three_of_its_fields() -> None:
    with pytest.raises(InputError) as error:
        la(medicine="lidocaine", strength="1 %", other="bupivacaine")
    assert [fault.field for fault in error.value.faults] == ["other_strength", "other_volume"]


@pytest.mark.parametrize("field", ["strength", "other_strength"])
def test_a_strength_of_another_kind_is_refused_by_its_name(field: str) -> None:
    other = {"other": "bupivacaine", "other_strength": "0.25 %", "other_volume": "1 mL"}
    with pytest.raises(InputError) as error:
        la(**{"medicine": "lidocaine", "strength": "1 %", **other, field: "10 units/mL"})
    assert error.value.faults[0].field == field


def test_of_several_regimens_the_smallest_most_is_taken_and_doubted(tmp_path: Path) -> None:
    shutil.copytree(FOLDER, tmp_path / "formulary")
    file = tmp_path / "formulary" / "medicines" / "lidocaine.toml"
    text = file.read_text("utf-8")
    start = text.index("[[regimen]]")
    regimen = text[start : text.index("[[age_limit]]")].replace("infiltration-anaesthesia-child", "nerve-block-child")
    file.write_text(
        text[:start] + regimen.replace("4.5 mg/kg", "3 mg/kg").replace('"local anaesthesia"', '"nerve block"') + text[start:], "utf-8"
    )
    reckoned = ask("local-anaesthetic", Formulary(tmp_path / "formulary"), **CHILD, medicine="lidocaine", strength="1 %")
    assert value(reckoned, "at most of lidocaine").number == 60 and codes(reckoned) == ["several-regimens"]
