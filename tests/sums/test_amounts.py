"""Units, volumes, tablets, salts and iron: there and back, tied to what is named; and what is refused or doubted."""

from __future__ import annotations

from fractions import Fraction
from itertools import permutations

import pytest
from hypothesis import given
from hypothesis import strategies as st
from said import ask, codes, faults, result

from dosecheck.quantity import UNITS
from dosecheck.sums.electrolytes import SALTS
from dosecheck.sums.equivalents import IRON, PAIRS


@pytest.mark.parametrize("kind", ["mass", "activity", "substance", "volume", "time"])
def test_units_convert_there_and_back(kind):
    for one, other in permutations(UNITS[kind], 2):
        there = result("convert", "amount", amount=f"7 {one}", to=other)
        assert there.split()[-1] == (other.removesuffix("s") if there.startswith("1 ") else other)
        if "about" not in there:
            assert result("convert", "amount", amount=there.replace(",", ""), to=one) == f"7 {one}"


def test_a_unit_is_shown_as_asked_for_and_a_gram_is_of_drug_or_child_by_the_other_unit():
    asked = [
        ("1 g", "nanograms", "1,000,000,000 nanograms"),
        ("3200 g", "kg", "3.2 kg"),
        ("0.05 kg", "g", "50 g"),
        ("22 lb", "kg", "about 9.979 kg"),
    ]
    for amount, unit, said in asked:
        assert result("convert", "amount", amount=amount, to=unit) == said
    assert result("convert", "amount", amount="5 micrograms/kg/min", to="mg/kg/h") == "0.3 mg/kg/h"


@given(st.integers(1, 10_000), st.integers(1, 500), st.integers(1, 20))
def test_a_dose_and_its_volume(dose, top, below):
    strength = f"{top} mg in {below} mL"
    volume = result("dose-volume", "volume", strength=strength, dose=f"{dose} mg")
    assert volume.number == Fraction(dose * below, top)
    measured = [r.value.number for r in ask("dose-volume", strength=strength, dose=f"{dose} mg").answer.results if r.name == "to measure"]
    assert all(0 < volume.number - m < Fraction("0.1") for m in measured)


@given(st.integers(1, 5000), st.sampled_from(["100", "250", "500", "3.5"]), st.sampled_from(["whole", "halves", "quarters"]))
def test_tablets_lie_on_both_sides_of_the_dose(dose, strength, parts):
    told = {"dose": f"{dose} mg", "strength": f"{strength} mg per tablet", "parts": parts}
    exact, under, over = (result("tablets", name, **told).number for name in ("exactly", "not above", "not below"))
    part = Fraction(1, {"whole": 1, "halves": 2, "quarters": 4}[parts])
    assert exact == dose / Fraction(strength)
    assert under <= exact <= over <= under + part and (under / part).denominator == (over / part).denominator == 1


def test_parts_are_said_as_they_are_spoken():
    reckoned = ask("tablets", dose="22.5 mg", strength="15 mg per tablet", parts="halves")
    assert [r.note for r in reckoned.answer.results[1:]] == ["1 and 1/2: gives 22.5 mg"] * 2
    assert reckoned.answer.notes


@pytest.mark.parametrize("salt", SALTS)
def test_every_way_of_writing_a_salt_is_the_same_amount(salt):
    by_mass = _all("electrolyte", salt=salt, amount="1 g")
    meq = by_mass["mEq"].number
    assert by_mass["mmol"].number * SALTS[salt].charge == meq
    assert by_mass["other ion"].number == by_mass["mmol"].number * SALTS[salt].others
    one = _all("electrolyte", salt=salt, ions="1 mEq")
    assert one["salt"].value * meq == by_mass["salt"].value
    ten = _all("electrolyte", salt=salt, volume="10 mL", strength="10 %")
    assert ten == by_mass
    assert _all("electrolyte", salt=salt, amount="1 g", strength="10 %")["volume"].number == 10
    assert _all("electrolyte", salt=salt, ions="5 mmol", strength="2 mmol/mL")["volume"].number == Fraction(5, 2)
    assert _all("electrolyte", salt=salt, ions="5 mEq", strength="2 mEq/mL")["volume"].number == Fraction(5, 2)
    assert _all("electrolyte", salt=salt, ions="0.5 mmol/kg", weight="10 kg") == _all("electrolyte", salt=salt, ions="5 mmol")


def _all(name: str, **told: str) -> dict:
    return {r.name: r.value for r in ask(name, **told).answer.results}


def test_a_salt_or_water_left_open_is_refused_with_the_names_in_full():
    for open_name in ("calcium", "calcium chloride", "magnesium sulfate", "sodium acetate", "calcium gluconate"):
        assert faults("electrolyte", salt=open_name, amount="1 g") == ["salt"]
    with pytest.raises(Exception, match='"magnesium sulfate heptahydrate" or "magnesium sulfate anhydrous"'):
        ask("electrolyte", salt="magnesium sulfate", amount="1 g")


def test_the_mass_of_a_metal_alone_is_known_of_calcium_alone():
    assert ask("electrolyte", salt="potassium chloride", element="39 mg").outcome == "not-checked"
    chloride, gluconate = (
        _all("electrolyte", salt=s, element="20 mg") for s in ("calcium chloride dihydrate", "calcium gluconate monohydrate")
    )
    assert chloride["mmol"] == gluconate["mmol"] and chloride["salt"] < gluconate["salt"]
    assert chloride["mmol"].number == Fraction(20) / Fraction("40.078")


@pytest.mark.parametrize("pair", PAIRS, ids=[pair.one for pair in PAIRS])
def test_a_form_becomes_the_other_and_comes_back(pair):
    there = _all("equivalent", amount=f"75 {pair.much.unit}", stated_as=pair.one)["equivalent"]
    assert there.value * pair.much.value == pair.as_much.value * 75 * (pair.much.value / pair.much.number)
    back = _all("equivalent", amount=f"1000 {pair.as_much.unit}/kg", stated_as=pair.other)["equivalent"]
    assert back.kind == f"{pair.much.kind}/weight"


@pytest.mark.parametrize("product", IRON)
def test_iron_salt_and_product_are_one_amount(product):
    of = IRON[product]
    by_iron = _all("elemental-iron", product=product, iron="30 mg")
    by_salt = _all("elemental-iron", product=product, salt="60 mg")
    for told in (by_iron, by_salt):
        assert told["iron"].value / of.iron.value == told["salt"].value / of.salt.value == told["of the product"].value / of.one.value
    assert of.iron < of.salt


def test_iron_is_told_by_weight_and_the_sources_disagreement_is_named():
    told = {"product": "dried ferrous sulfate tablet", "weight": "10 kg"}
    assert result("elemental-iron", "iron by weight", **told, iron="3 mg/kg").number == 3
    assert "60 mg of iron in 200 mg" in " ".join(ask("elemental-iron", **told, iron="30 mg").answer.notes)
    assert codes(ask("elemental-iron", **told, iron="600 mg")) == []
    assert codes(ask("elemental-iron", **told, iron="601 mg")) == ["iron-toxic"]


@pytest.mark.parametrize(
    ("name", "told", "fields"),
    [
        ("convert", {"amount": "5 mg", "to": "mL"}, ["to"]),
        ("convert", {"amount": "5 mg", "to": "units"}, ["to"]),
        ("convert", {"amount": "500 mg", "to": "kg"}, ["to"]),
        ("convert", {"amount": "5 mg/kg", "to": "mg"}, ["to"]),
        ("convert", {"amount": "5 mEq", "to": "mmol"}, ["to"]),
        ("convert", {"amount": "5 mg", "to": "2 g"}, ["to"]),
        ("convert", {"amount": "5 mcgs", "to": "MG"}, ["amount", "to"]),
        ("dose-volume", {"strength": "10 mg/mL"}, ["dose or volume"]),
        ("dose-volume", {"strength": "10 mg/mL", "dose": "5 mg/kg"}, ["weight"]),
        ("dose-volume", {"strength": "10 mg/mL", "dose": "5 units"}, ["strength"]),
        ("dose-volume", {"strength": "10 mg per tablet", "dose": "5 mg"}, ["strength"]),
        ("tablets", {"dose": "5 mg", "strength": "5 mg in 5 mL"}, ["strength"]),
        ("tablets", {"dose": "5 mg", "strength": "5 mg per capsule", "parts": "halves"}, ["parts"]),
        ("tablets", {"dose": "5 units", "strength": "5 mg per tablet"}, ["dose"]),
        ("tablets", {"dose": "5 mg", "strength": "5 mg per tablet", "parts": "thirds"}, ["parts"]),
        ("electrolyte", {"salt": "sodium chloride"}, ["amount or ions or element or volume"]),
        ("electrolyte", {"salt": "sodium chloride", "volume": "10 mL"}, ["strength"]),
        ("electrolyte", {"salt": "sodium chloride", "volume": "10 mL", "strength": "5 units/mL"}, ["strength"]),
        ("electrolyte", {"salt": "sodium chloride", "amount": "1 g", "strength": "5 units/mL"}, ["strength"]),
        ("electrolyte", {"salt": "sodium chloride", "ions": "5 mmol/kg"}, ["weight"]),
        ("electrolyte", {"salt": "sodium chloride", "ions": "5 mg"}, ["ions"]),
        ("equivalent", {"amount": "5 mg", "stated_as": "phenytoin"}, ["stated_as"]),
        ("equivalent", {"amount": "5 units", "stated_as": "caffeine"}, ["amount"]),
        ("equivalent", {"amount": "5 mg", "stated_as": "ergocalciferol by units"}, ["amount"]),
        ("elemental-iron", {"product": "ferrous sulfate", "iron": "5 mg"}, ["product"]),
        ("elemental-iron", {"product": "ferrous sulfate drops", "taken": "2 tablets"}, ["taken"]),
        ("elemental-iron", {"product": "ferrous sulfate drops", "iron": "2 mg/kg"}, ["weight"]),
    ],
)
def test_what_contradicts_or_lacks_is_refused(name, told, fields):
    assert faults(name, **told) == fields


@pytest.mark.parametrize(
    ("name", "told", "expected"),
    [
        ("dose-volume", {"strength": "10 mg/mL", "dose": "1 mg"}, []),
        ("dose-volume", {"strength": "10 mg/mL", "dose": "0.9 mg"}, ["volume-too-small"]),
        ("dose-volume", {"strength": "1 mg/mL", "dose": "3001 mg"}, ["volume-too-large"]),
        ("tablets", {"dose": "5 g", "strength": "500 mg per tablet"}, []),
        ("tablets", {"dose": "5001 mg", "strength": "500 mg per tablet"}, ["many"]),
        ("tablets", {"dose": "124 mg", "strength": "500 mg per tablet", "parts": "quarters"}, ["dose-below-one-part"]),
        ("electrolyte", {"salt": "sodium chloride", "volume": "10 mL", "strength": "101 %"}, ["strength-too-high"]),
    ],
)
def test_what_is_doubtful_and_what_is_just_not(name, told, expected):
    assert codes(ask(name, **told)) == expected
