"""Infusions, flows, drops and glucose: there and back, monotone, whatever the unit; and what is refused or doubted."""

from __future__ import annotations

from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st
from said import ask, codes, faults, result


def tenths(least: int, most: int) -> st.SearchStrategy[str]:
    return st.integers(least, most).map(lambda n: f"{n // 10}.{n % 10}".removesuffix(".0"))


WEIGHTS = tenths(5, 900).map("{} kg".format)
STRENGTHS = st.sampled_from(["1 mg/mL", "200 micrograms/mL", "50 mg in 47 mL", "1 in 1000", "0.9 %"])


@given(tenths(1, 5000), WEIGHTS)
def test_a_rate_gives_back_its_dose(rate, weight):
    dose = result("infusion-dose", "dose", rate=f"{rate} mL/h", strength="1 mg/mL", weight=weight)
    assert dose.number == Fraction(rate)  # 1 mg/mL: as many mg/h as mL/h
    assert result("infusion-rate", "rate", dose=f"{rate} mg/h", strength="1 mg/mL").number == Fraction(rate)


@given(tenths(1, 500), WEIGHTS, STRENGTHS)
def test_a_dose_by_the_minute_and_by_the_hour_run_alike(dose, weight, strength):
    minute = result("infusion-rate", "rate", dose=f"{dose} micrograms/kg/min", strength=strength, weight=weight)
    hour = result("infusion-rate", "rate", dose=f"{Fraction(dose) * 60} micrograms/kg/h", strength=strength, weight=weight)
    assert minute == hour


@given(tenths(1, 500), WEIGHTS)
def test_a_stronger_solution_runs_slower_and_a_heavier_child_faster(dose, weight):
    told = {"dose": f"{dose} micrograms/kg/min", "weight": weight}
    weak, strong = (result("infusion-rate", "rate", strength=strength, **told) for strength in ("1 mg/mL", "2 mg/mL"))
    assert weak.value == 2 * strong.value
    assert result("infusion-rate", "rate", strength="1 mg/mL", dose=told["dose"], weight="100 kg") > weak


def test_the_dose_is_told_by_the_hour_and_by_the_minute():
    told = ask("infusion-dose", rate="4.3 mL/h", strength="1 mg/mL", weight="14.2 kg").answer.results
    assert [(r.name, r.value.unit) for r in told] == [("dose", "mg/h"), ("dose by weight", "mg/kg/h"), ("by the minute", "mg/kg/min")]
    units = ask("infusion-dose", rate="2.5 mL/h", strength="1 units/mL", weight="25 kg").answer.results
    assert [r.text for r in units] == ["2.5 units/h", "0.1 units/kg/h"]


@pytest.mark.parametrize(
    ("told", "total"),
    [
        ({}, "720 micrograms/kg"),
        ({"loading": "50 micrograms/kg"}, "770 micrograms/kg"),
        ({"loading": "0.5 mg", "weight": "10 kg"}, "770 micrograms/kg"),
        ({"loading": "50 micrograms/kg", "time": "12 hours"}, "410 micrograms/kg"),
    ],
)
def test_a_total_with_its_loading_dose(told, total):
    reckoned = ask("infusion-total", dose="0.5 micrograms/kg/min", **told)
    assert reckoned.answer.results[0].text == total
    assert bool(reckoned.answer.notes) == ("loading" not in told)


@given(tenths(1, 9990), st.integers(10, 60))
def test_counted_drops_run_at_most_half_a_drop_away(rate, drops_per_ml):
    told = {"rate": f"{rate} mL/h", "set": f"{drops_per_ml} drops/mL"}
    exact, whole = (result("drops", name, **told) for name in ("drops", "to count"))
    assert exact.number == Fraction(rate) * drops_per_ml / 60
    assert abs(exact.number - whole.number) <= Fraction(1, 2) and whole.number.denominator == 1
    if whole.number:
        back = result("drops-rate", "rate", set=told["set"], drops=f"{whole.number} drops/min")
        assert back == result("drops", "which runs at", **told)


@given(st.integers(1, 3000), st.integers(1, 999))
def test_a_volume_lasts_as_long_as_it_takes(volume, rate):
    time = result("flow-time", "time", volume=f"{volume} mL", rate=f"{rate} mL/h")
    assert time.number == Fraction(volume, rate)


def test_times_in_words_are_rounded_to_a_minute():
    words = {
        "1000 mL": "13 hours 20 minutes",
        "75 mL": "1 hour",
        "74 mL": "59 minutes",
        "0.1 mL": "less than a minute",
        "375000 mL": "208 days 8 hours",
    }
    for volume, said in words.items():
        assert result("flow-time", "in words", volume=volume, rate="75 mL/h") == said


@given(tenths(10, 500), st.integers(10, 200), WEIGHTS)
def test_glucose_there_and_back(percent, fluid, weight):
    told = {"fluid": f"{fluid} mL/kg/day", "weight": weight}
    rate = result("glucose-rate", "glucose", strength=f"{percent} %", **told)
    assert rate.number == Fraction(percent) * fluid / 144  # the rule of thumb, from memory; plain arithmetic
    hourly = result("glucose-rate", "glucose", strength=f"{percent} %", fluid=f"{fluid} mL/h", weight=weight)
    assert hourly.number == Fraction(percent) * fluid / (6 * Fraction(weight.split()[0]))


def test_glucose_asks_for_the_fluid_or_the_strength_that_gives_it():
    assert result("glucose-fluid", "fluid", glucose="8 mg/kg/min", strength="10 %").number == Fraction("115.2")
    assert result("glucose-fluid", "rate", glucose="8 mg/kg/min", strength="10 %", weight="3.2 kg").number == Fraction("15.36")
    assert result("glucose-fluid", "in percent", glucose="8 mg/kg/min", fluid="115.2 mL/kg/day") == "10 %"


@pytest.mark.parametrize(
    ("name", "told", "fields"),
    [
        ("infusion-rate", {"dose": "5 micrograms/kg/min", "strength": "1 mg/mL"}, ["weight"]),
        ("infusion-rate", {"dose": "5 mg/h", "strength": "100 units/mL"}, ["strength"]),
        ("infusion-rate", {"dose": "5 mg/h", "strength": "5 mg per tablet"}, ["strength"]),
        ("infusion-rate", {"dose": "5 mg/kg", "strength": "1 mg/mL"}, ["dose"]),
        ("infusion-rate", {"dose": "5 mg/h", "strength": "2 mEq/mL"}, ["strength"]),
        ("infusion-dose", {"rate": "5 mL", "strength": "1 mg/mL"}, ["rate"]),
        ("infusion-total", {"dose": "5 mg/kg/h", "loading": "5 units/kg"}, ["loading"]),
        ("infusion-total", {"dose": "5 mg/kg/h", "loading": "5 mg"}, ["weight"]),
        ("infusion-total", {"dose": "5 mg/h", "loading": "5 mg/kg"}, ["weight"]),
        ("flow-rate", {"volume": "0 mL", "time": "8"}, ["volume", "time"]),
        ("drops", {"set": "20 drops"}, ["set"]),
        ("drops", {"set": "20 drops/mL"}, ["rate or volume"]),
        ("drops", {"set": "20 drops/mL", "rate": "75 mL/h", "volume": "1 L"}, ["rate or volume"]),
        ("drops", {"set": "20 drops/mL", "rate": "75 mL/h", "time": "8 hours"}, ["time"]),
        ("drops", {"set": "20 drops/mL", "volume": "1 L"}, ["time"]),
        ("glucose-rate", {"strength": "10 %", "fluid": "12 mL/h"}, ["weight"]),
        ("glucose-rate", {"strength": "10", "fluid": "12 mL/kg/h"}, ["strength"]),
        ("glucose-rate", {"strength": "1 mmol/mL", "fluid": "12 mL/kg/h"}, ["strength"]),
        ("glucose-fluid", {"glucose": "8 mg/kg/min"}, ["strength or fluid"]),
        ("glucose-fluid", {"glucose": "8 mg/kg/min", "strength": "10 %", "fluid": "90 mL/kg/day"}, ["strength or fluid"]),
    ],
)
def test_what_contradicts_or_lacks_is_refused(name, told, fields):
    assert faults(name, **told) == fields


@pytest.mark.parametrize(
    ("name", "told", "expected"),
    [
        ("infusion-rate", {"dose": "999 mg/h", "strength": "1 mg/mL"}, []),
        ("infusion-rate", {"dose": "999.1 mg/h", "strength": "1 mg/mL"}, ["rate-too-fast"]),
        ("infusion-rate", {"dose": "0.05 mg/h", "strength": "1 mg/mL"}, ["rate-rounded-far"]),  # 0.1 is twice 0.05
        ("infusion-rate", {"dose": "0.049 mg/h", "strength": "1 mg/mL"}, ["rate-too-small"]),
        ("infusion-rate", {"dose": "1 g/h", "strength": "1 g/mL"}, []),
        ("infusion-rate", {"dose": "2 g/h", "strength": "1001 mg/mL"}, ["strength-too-high"]),
        ("flow-rate", {"volume": "3 L", "time": "24 hours"}, []),
        ("flow-rate", {"volume": "3001 mL", "time": "24 hours"}, ["volume-too-large"]),
        ("flow-time", {"volume": "0.1 mL", "rate": "75 mL/h"}, ["time-too-short"]),
        ("drops", {"set": "9 drops/mL", "rate": "75 mL/h"}, ["set-unusual"]),
        ("drops", {"set": "60 drops/mL", "rate": "180 mL/h"}, []),
        ("drops", {"set": "60 drops/mL", "rate": "181 mL/h"}, ["drops-too-many"]),
        ("drops", {"set": "20 drops/mL", "rate": "1 mL/h"}, ["drops-too-few"]),
        ("drops-rate", {"set": "61 drops/mL", "drops": "20 drops/min"}, ["set-unusual"]),
        ("glucose-rate", {"strength": "20 %", "fluid": "151.2 mL/kg/day"}, []),
        ("glucose-rate", {"strength": "20 %", "fluid": "151.3 mL/kg/day"}, ["glucose-too-fast"]),
        ("glucose-rate", {"strength": "50.1 %", "fluid": "10 mL/kg/day"}, ["glucose-too-strong"]),
    ],
)
def test_what_is_doubtful_and_what_is_just_not(name, told, expected):
    assert codes(ask(name, **told)) == expected
    assert ask(name, **told).outcome == ("query" if expected else "reckoned")
