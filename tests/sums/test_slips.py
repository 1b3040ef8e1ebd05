"""A slip of a unit, of a weight or of a point never passes as a plain figure; what a nurse would write is read.

Where no source is named, the line is our own: common practice, no source.
"""

from __future__ import annotations

from pathlib import Path

import pytest
from said import ask, codes, faults, result, value

from dosecheck import InputError
from dosecheck.formulary.load import Formulary
from dosecheck.reading.figures import read_solution
from dosecheck.showing import show
from dosecheck.sums.weighed import BANDS, REFERENCE

SHIPPED = Formulary(Path(__file__).parents[2] / "formulary")
FLUIDS = [
    ("maintenance-fluid", {"rule": "100-50-20"}),
    ("ketoacidosis-fluid", {"rule": "4-2-1", "deficit": "60 mL/kg"}),
    ("deficit-fluid", {"dehydration": "5 %"}),
    ("burns-fluid", {"area": "20 %", "per_percent": "3 mL/kg", "since": "2 hours"}),
    ("fluid-bolus", {"rule": "shock with dehydration"}),
]


@pytest.mark.parametrize(("name", "told"), FLUIDS)
def test_pounds_taken_as_kilograms_are_asked_about(name: str, told: dict[str, str]) -> None:
    """H02: 14.06 kg is ordinary at 2 years (WHO), and the 31 of its pounds is not."""
    assert codes(ask(name, age="2 years", weight="14.06 kg", **told)) == []
    reckoned = ask(name, age="2 years", weight="31 kg", **told)
    assert reckoned.outcome == "query" and codes(reckoned)[0] == "weight-hard-to-believe"
    assert "in pounds, it is about 14.06 kg" in reckoned.answer.doubts[0].text


def test_the_z_limits_of_sums_are_the_shipped_policys() -> None:
    assert SHIPPED.z_bands == BANDS and SHIPPED.growth_reference == REFERENCE


@pytest.mark.parametrize(("weight", "doubted"), [("0.49 kg", True), ("0.5 kg", False), ("120 kg", False), ("121 kg", True)])
def test_a_weight_without_an_age_has_wide_limits(weight: str, doubted: bool) -> None:
    found = codes(ask("infusion-rate", dose="10 micrograms/kg/h", strength="0.1 mg/mL", weight=weight))
    assert ("weight-hard-to-believe" in found) is doubted


def test_a_baby_at_term_is_not_of_half_a_kilogram() -> None:
    assert codes(ask("newborn-fluid", weight="0.5 kg", day_of_life="1", born="at term")) == ["weight-hard-to-believe"]
    assert codes(ask("fluid-bolus", weight="1.2 kg", rule="resuscitation")) == ["small-baby"]


SLIPS = [
    ("infusion-rate", {"dose": "5 mg/kg/min", "strength": "10 mg/mL", "weight": "12 kg"}, "fast-for-weight"),
    ("infusion-rate", {"dose": "5 micrograms/min", "strength": "1 mg/mL", "weight": "12 kg"}, "weight-not-used"),
    ("infusion-dose", {"rate": "130 mL/h", "strength": "1 mg/mL", "weight": "12 kg"}, "fast-for-weight"),
    ("infusion-total", {"dose": "0.5 micrograms/kg/min", "loading": "50 mg/kg"}, "large-loading"),
    ("make-up-for-rate", {"strength": "10 mg/mL", "dose": "20 micrograms/h", "volume": "50 mL", "weight": "12 kg"}, "weight-not-used"),
    ("flow-rate", {"volume": "0.1 mL", "time": "10 hours"}, "rate-too-small"),
    ("flow-rate", {"volume": "1.4 mL", "time": "10 hours"}, "rate-rounded-far"),
    ("glucose-fluid", {"glucose": "8 mg/kg/h", "strength": "10 %"}, "glucose-too-slow"),
    ("glucose-rate", {"strength": "0.1 %", "fluid": "90 mL/kg/day"}, "glucose-too-slow"),
    ("dose-volume", {"strength": "24 mg/mL", "dose": "15 mg", "weight": "14.2 kg"}, "weight-not-used"),
    ("tablets", {"strength": "500 mg per tablet", "dose": "500 mg", "weight": "14.2 kg"}, "weight-not-used"),
    ("intranasal", {"strength": "50 micrograms/mL", "dose": "20 micrograms", "weight": "14.2 kg"}, "weight-not-used"),
    ("intranasal", {"strength": "50 micrograms/mL", "dose": "20 micrograms", "dead_space": "10 mL"}, "large-dead-space"),
    ("intranasal-dilution", {"ampoule": "5 mg", "dose": "0.1 micrograms/kg", "weight": "14 kg"}, "too-much-water"),
    ("reconstitute", {"vial": "250 mg", "displacement": "20 mL", "diluent": "4.8 mL"}, "large-displacement"),
    ("electrolyte", {"salt": "potassium chloride", "ions": "5 mEq/kg", "weight": "14.2 kg"}, "much-potassium"),
    ("electrolyte", {"salt": "potassium chloride", "ions": "500 mmol"}, "much-potassium"),
]


@pytest.mark.parametrize(("name", "told", "code"), SLIPS)
def test_a_slip_is_a_query(name: str, told: dict[str, str], code: str) -> None:
    reckoned = ask(name, **told)
    assert codes(reckoned) == [code] and reckoned.outcome == "query"


def test_potassium_up_to_the_sources_most_for_an_hour_is_no_query() -> None:
    """0.2 to 0.5, at most 1 mmol/kg/h: Emergency Calculations, Don't Forget the Bubbles."""
    reckoned = ask("electrolyte", salt="potassium chloride", ions="1 mmol/kg", weight="14.2 kg")
    assert codes(reckoned) == [] and any("never undiluted" in note for note in reckoned.answer.notes)
    sodium = ask("electrolyte", salt="sodium chloride", ions="500 mmol")
    assert codes(sodium) == [] and not any("undiluted" in note for note in sodium.answer.notes)


@pytest.mark.parametrize("text", ["1:1000", "1 : 1000", "1 in 1,000", "1:1,000", "1 in 1000", "0.1%"])
def test_a_ratio_is_read_as_ampoules_print_it(text: str) -> None:
    """1 in 1000 is 1 mg/mL: Drug manual, appendix 10, Wellington Intensive Care Unit."""
    assert show(read_solution(text)) == "1 mg/mL"


@pytest.mark.parametrize("text", ["1:10", "1:99", "1:1", "1 in 10,00", "1 in 1,0000", "2:1000", "1:0", "1:100,00", "1,5 %"])
def test_a_ratio_that_may_mean_parts_or_has_a_strange_comma_is_refused(text: str) -> None:
    assert faults("strength", strength=text) == ["strength"]


def test_a_printed_time_and_a_printed_weight_can_be_typed_back() -> None:
    assert result("flow-time", "in words", volume="500 mL", rate="75 mL/h") == "6 hours 40 minutes"
    assert result("flow-rate", "rate", volume="500 mL", time="6 hours 40 minutes").number == 75
    assert result("convert", "amount", amount="2 st 3 lb", to="lb") == "31 lb"
    assert faults("flow-rate", volume="50 mL", time="8 hours 90 minutes") == ["time"]


def test_sulphate_is_sulfate_and_a_near_word_is_offered() -> None:
    told = {"amount": "50 mg/kg", "weight": "14.2 kg", "strength": "50 %"}
    assert value(ask("electrolyte", salt="Magnesium sulphate heptahydrate", **told), "volume").number * 500 == 710
    offered = {("electrolyte", "salt", "calcium chlorid"): '"calcium chloride dihydrate"', ("maintenance-fluid", "rule", "421"): '"4-2-1"'}
    for (name, field, text), near in offered.items():
        assert near in _write(name, field, **{field: text})
    assert "in full" in _write("electrolyte", "salt", salt="KCl", ions="5 mmol")


def test_what_to_write_is_the_fields_own_example() -> None:
    assert "10 %" in _write("glucose-rate", "strength", strength="D10", fluid="90 mL/kg/day")
    assert "20 %" in _write("burns-fluid", "area", area="20", weight="14.2 kg", per_percent="3 mL/kg")
    assert '"mg" is not a unit of an amount.' in _why("electrolyte", "ions", salt="sodium chloride", ions="5 mg")
    assert "drops" in _write("drops", "set", set="20 gtt/mL", rate="75 mL/h")
    assert "out" in _write("reconstitute", "vial", vial="1.2 mega units", diluent="4 mL")


def _write(name: str, field: str, **texts: str) -> str:
    with pytest.raises(InputError) as caught:
        ask(name, **texts)
    return next(fault.write for fault in caught.value.faults if fault.field == field)


def _why(name: str, field: str, **texts: str) -> str:
    with pytest.raises(InputError, match=field) as caught:
        ask(name, **texts)
    return caught.value.faults[0].why


def test_pumps_and_syringes_are_in_millilitres_and_wards_in_micrograms_and_mmol() -> None:
    reckoned = ask("infusion-rate", dose="5 micrograms/kg/min", strength="200 mg in 50 mL", weight="2 st")
    assert reckoned.answer.results[0].text == "about 0.9525 mL/h"
    by_the_minute = ask("infusion-dose", rate="10 mL/h", strength="10 micrograms/mL", weight="7 kg").answer.results[2]
    assert by_the_minute.text == "about 0.2381 micrograms/kg/min"
    potassium = ask("infusion-dose", rate="4.3 mL/h", strength="20 mmol in 500 mL", weight="14.2 kg")
    assert potassium.answer.results[1].text == "about 0.01211 mmol/kg/h"
    assert ask("infusion-rate", dose="5 mg/kg/min", strength="0.05 mg/mL", weight="12 kg").answer.results[0].text == "72,000 mL/h"


def test_nothing_to_set_or_to_measure_is_never_printed_as_zero() -> None:
    for name, told in [
        ("infusion-rate", {"dose": "0.01 mg/h", "strength": "1 mg/mL"}),
        ("make-up", {"strength": "10 mg/mL", "wanted": "0.1 micrograms/mL", "volume": "50 mL"}),
        ("dose-volume", {"strength": "24 mg/mL", "dose": "24 micrograms"}),
    ]:
        assert not [r for r in ask(name, **told).answer.results if r.name.startswith("to ")]


def test_a_burn_says_the_rate_first() -> None:
    told = {"weight": "14.2 kg", "area": "20 %", "per_percent": "3 mL/kg", "age": "3 years"}
    first = ask("burns-fluid", since="2 hours 30 minutes", **told).answer.results[0]
    assert first.name == "rate until 8 hours from the burn" and "for 5 hours 30 minutes" in first.note


def test_a_powder_by_weight() -> None:
    """30 mg/kg of 14.2 kg is 426 mg; 600 mg with 0.4 mL of displacement in 11.6 mL of diluent is 50 mg/mL."""
    told = {"vial": "600 mg", "displacement": "0.4 mL", "diluent": "11.6 mL", "dose": "30 mg/kg"}
    assert result("reconstitute", "volume for the dose", weight="14.2 kg", **told).number * 50 == 426
    assert faults("reconstitute", **told) == ["weight"]
