"""Making up, diluting, powders and the nose: nothing of the medicine is lost or made, and what is refused or doubted."""

from __future__ import annotations

from fractions import Fraction

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from said import ask, codes, faults, result

hundredths = st.integers(1, 9999).map(lambda n: f"{n // 100}.{n % 100:02d}".rstrip("0").rstrip("."))


def results(name: str, **told: str) -> dict:
    return {r.name: r.value for r in ask(name, **told).answer.results}


@given(hundredths, hundredths, st.integers(1, 3000))
def test_made_up_stock_and_diluent_are_the_whole_and_hold_the_medicine(strength, wanted, volume):
    assume(Fraction(wanted) < Fraction(strength))
    made = results("make-up", strength=f"{strength} mg/mL", wanted=f"{wanted} mg/mL", volume=f"{volume} mL")
    assert made["stock"].number + made["diluent"].number == volume
    assert made["stock"].number * Fraction(strength) == made["medicine"].number == Fraction(wanted) * volume


@given(hundredths, st.integers(5, 900), st.integers(1, 50))
def test_a_syringe_made_for_a_rate_gives_the_dose_at_that_rate(dose, tenths, rate):
    weight = f"{tenths // 10}.{tenths % 10} kg"
    told = {"dose": f"{dose} micrograms/kg/min", "weight": weight, "rate": f"{rate} mL/h", "volume": "50 mL"}
    reckoned = ask("make-up-for-rate", strength="1000 mg/mL", **told)
    if reckoned.outcome == "not-checked":
        return
    made = reckoned.answer.results[0].value
    per_hour = made.to("micrograms/mL").number * rate
    assert per_hour / 60 / Fraction(tenths, 10) == Fraction(dose)


@given(hundredths, st.integers(1, 100), st.integers(1, 100))
def test_diluting_by_volume_added_by_final_volume_or_by_strength_is_the_same(strength, volume, added):
    stock = {"strength": f"{strength} mg/mL", "volume": f"{volume} mL"}
    one = results("dilute", **stock, added=f"{added} mL")
    other = results("dilute", **stock, final=f"{volume + added} mL")
    assert one == other
    assert one["strength"].value * one["final volume"].value == one["medicine"].value


def test_a_wanted_strength_says_what_to_make_it_up_to():
    made = results("dilute", strength="5 %", volume="10 mL", wanted="1.25 %")
    assert (made["final volume"].number, made["diluent"].number, made["in percent"]) == (40, 30, "1.25 %")


@given(hundredths)
def test_percent_and_ratio_are_read_back_as_the_same_strength(strength):
    said = results("strength", strength=f"{strength} mg/mL")
    assert said["in one mL"].number == Fraction(strength)
    again = results("strength", strength=said["percent"])
    assert again["in one mL"] == said["in one mL"]


def test_a_strength_in_units_has_no_percent():
    assert list(results("strength", strength="50 units in 50 mL")) == ["in one mL"]


@given(hundredths, hundredths)
def test_a_powder_there_and_back(displacement, diluent):
    told = {"vial": "500 mg", "displacement": f"{displacement} mL"}
    made = results("reconstitute", **told, diluent=f"{diluent} mL")
    assert made["final volume"].number == Fraction(displacement) + Fraction(diluent)
    back = results("reconstitute", **told, final=_mL(made["final volume"]))
    assert (back["diluent"], back["strength"]) == (made["diluent"], made["strength"])


def _mL(volume) -> str:
    hundredths = int(volume.number * 100)
    return f"{hundredths // 100}.{hundredths % 100:02d}".rstrip("0").rstrip(".") + " mL"


def test_a_dose_from_a_powder_is_rounded_down():
    made = results("reconstitute", vial="250 mg", displacement="0.2 mL", diluent="5 mL", dose="120 mg")
    assert made["volume for the dose"].number == Fraction("2.496")
    assert made["to measure"].number == Fraction("2.4")


@given(st.integers(10, 500), st.integers(10, 600))
def test_a_spray_is_shared_out_whole_and_its_dead_space_counted_once(micrograms, strength):
    told = results("intranasal", dose=f"{micrograms} micrograms", strength=f"{strength} micrograms/mL")
    give, draw, each = (told[name].number for name in ("to give", "to draw up", "each nostril"))
    assert draw - give == Fraction("0.1")
    assert each * (2 if give > Fraction("0.25") else 1) == give
    assert abs(give - told["volume"].number) <= Fraction("0.025")


def test_the_sources_of_sharing_differ_and_are_told_apart():
    told = {"dose": "20 micrograms", "strength": "50 micrograms/mL"}
    assert result("intranasal", "each nostril", **told).number == Fraction("0.2")
    assert result("intranasal", "each nostril", **told, split_above="0.5 mL").number == Fraction("0.4")
    assert result("intranasal", "to draw up", **told, dead_space="0.05 mL").number == Fraction("0.45")


def test_twice_the_ampoule_in_the_same_water_is_twice_the_dose():
    told = {"dose": "0.1 mg/kg", "weight": "20 kg", "water": "0.5 mL"}
    five, ten = (result("intranasal-dilution", "dose given", ampoule=ampoule, **told) for ampoule in ("5 mg", "10 mg"))
    assert ten.value == 2 * five.value
    assert codes(ask("intranasal-dilution", ampoule="10 mg", **told)) == ["far-from-dose"]


@pytest.mark.parametrize(
    ("name", "told", "why"),
    [
        ("make-up", {"strength": "1 mg/mL", "wanted": "2 mg/mL", "volume": "50 mL"}, "only makes it weaker"),
        ("make-up", {"strength": "1 mg/mL", "wanted": "1 mg/mL", "volume": "50 mL"}, "as it is"),
        ("make-up", {"strength": "1 in 1000", "wanted": "0.2 %", "volume": "50 mL"}, "only makes it weaker"),
        ("dilute", {"strength": "1 mg/mL", "wanted": "2 mg/mL", "volume": "50 mL"}, "only makes it weaker"),
        ("make-up-for-rate", {"strength": "1 mg/mL", "dose": "2 mg/h", "volume": "50 mL"}, "only makes it weaker"),
    ],
)
def test_no_dilution_makes_it_stronger(name, told, why):
    reckoned = ask(name, **told)
    assert reckoned.outcome == "not-checked"
    assert why in reckoned.not_covered and not reckoned.answer.results


@pytest.mark.parametrize(
    ("name", "told", "fields"),
    [
        ("make-up", {"strength": "100 units/mL", "wanted": "1 mg/mL", "volume": "50 mL"}, ["strength"]),
        ("make-up", {"strength": "5 mg per tablet", "wanted": "1 mg/mL", "volume": "50"}, ["strength", "volume"]),
        ("make-up-for-rate", {"strength": "1 mg/mL", "dose": "1 micrograms/kg/min", "volume": "50 mL"}, ["weight"]),
        ("dilute", {"strength": "5 %", "volume": "10 mL"}, ["wanted or added or final"]),
        ("dilute", {"strength": "5 %", "volume": "10 mL", "added": "5 mL", "final": "15 mL"}, ["wanted or added or final"]),
        ("dilute", {"strength": "5 %", "volume": "10 mL", "final": "10 mL"}, ["final"]),
        ("strength", {"strength": "1:10"}, ["strength"]),
        ("reconstitute", {"vial": "250 mg", "displacement": "0.2 mL"}, ["diluent or final or wanted"]),
        ("reconstitute", {"vial": "250 mg", "displacement": "5 mL", "final": "5 mL"}, ["displacement"]),
        ("reconstitute", {"vial": "250 mg", "displacement": "0.2 mL", "final": "5 mL", "dose": "10 units"}, ["strength"]),
        ("reconstitute", {"vial": "250 mg", "displacement": "0.2 mL", "wanted": "10 units/mL"}, ["strength"]),
        ("intranasal", {"dose": "1.5 micrograms/kg", "strength": "50 micrograms/mL"}, ["weight"]),
        ("intranasal", {"dose": "1.5 micrograms", "strength": "50 units/mL"}, ["strength"]),
        ("intranasal-dilution", {"ampoule": "5 mL", "dose": "0.1 mg/kg", "weight": "10 kg"}, ["ampoule"]),
    ],
)
def test_what_contradicts_or_lacks_is_refused(name, told, fields):
    assert faults(name, **told) == fields


@pytest.mark.parametrize(
    ("name", "told", "expected"),
    [
        ("make-up", {"strength": "10 mg/mL", "wanted": "0.02 mg/mL", "volume": "50 mL"}, []),
        ("make-up", {"strength": "10 mg/mL", "wanted": "0.0199 mg/mL", "volume": "50 mL"}, ["volume-too-small"]),
        ("make-up", {"strength": "10 mg/mL", "wanted": "1 mg/mL", "volume": "4 L"}, ["volume-too-large"]),
        ("make-up", {"strength": "1.1 g/mL", "wanted": "1 mg/mL", "volume": "500 mL"}, ["strength-too-high"]),
        ("dilute", {"strength": "5 %", "volume": "10 mL", "final": "3001 mL"}, ["volume-too-large"]),
        ("reconstitute", {"vial": "250 mg", "final": "5 mL"}, ["displacement-not-told"]),
        ("reconstitute", {"vial": "250 mg", "displacement": "0.2 mL", "final": "5 mL", "dose": "250 mg"}, []),
        ("reconstitute", {"vial": "250 mg", "displacement": "0.2 mL", "final": "5 mL", "dose": "251 mg"}, ["more-than-one-vial"]),
        ("reconstitute", {"vial": "250 mg", "displacement": "0.2 mL", "final": "5 mL", "dose": "4 mg"}, ["volume-too-small"]),
        ("intranasal", {"dose": "100 micrograms", "strength": "50 micrograms/mL"}, []),
        ("intranasal", {"dose": "110 micrograms", "strength": "50 micrograms/mL"}, ["nostril-too-full"]),
        ("intranasal", {"dose": "4 micrograms", "strength": "50 micrograms/mL"}, ["far-from-dose"]),
        ("intranasal-dilution", {"ampoule": "5 mg", "dose": "10 mg"}, ["too-little-water"]),
        ("intranasal-dilution", {"ampoule": "5 mg", "dose": "5 mg"}, []),
    ],
)
def test_what_is_doubtful_and_what_is_just_not(name, told, expected):
    assert codes(ask(name, **told)) == expected
