"""Text becomes a quantity strictly: what is accepted, and what it means.

What is refused is in `test_refused.py`; generated texts are in `test_any_text.py`.
"""

import ast
from datetime import date
from fractions import Fraction
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from dosecheck import reading
from dosecheck.quantity import COUNTED, UNITS, Quantity, factor
from dosecheck.reading import (
    SPELLINGS,
    AgeParts,
    Dose,
    Frequency,
    is_missing,
    read_age,
    read_amount,
    read_count,
    read_date,
    read_dose,
    read_frequency,
    read_length,
    read_strength,
    read_time,
    read_volume,
    read_weeks,
    read_weight,
    read_yes,
)

H = 3600


def quantity(number: int | str | Fraction, unit: str, kind: str) -> Quantity:
    return Quantity(Fraction(number) * factor(unit, kind), kind, unit)


def kind_and_unit(found: Quantity) -> tuple[Quantity, str]:
    return found, found.unit


# ---- spellings: the closed list, once more, so that a new one is added on purpose ----

ACCEPTED = {
    "mass": {
        "nanograms": "ng nanogram nanograms", "micrograms": "mcg µg μg ug microgram micrograms", "mg": "mg milligram milligrams",
        "g": "g gram grams",
    },
    "activity": {"milliunits": "milliunit milliunits", "units": "unit units IU|international unit|international units"},
    "substance": {"micromol": "micromol micromole micromoles", "mmol": "mmol millimol millimole millimoles", "mol": "mol"},
    "charge": {"mEq": "mEq milliequivalent milliequivalents"},
    "weight": {"g": "g gram grams", "kg": "kg kilogram kilograms", "lb": "lb lbs pound pounds", "oz": "oz ounce ounces", "st": "st stone stones"},
    "volume": {
        "microlitres": "microlitre microlitres microliter microliters", "L": "L litre litres liter liters",
        "mL": "mL ml millilitre millilitres milliliter milliliters",
    },
    "time": {
        "seconds": "second seconds", "minutes": "min mins minute minutes", "hours": "h hr hrs hour hours", "days": "day days",
        "weeks": "week weeks",
    },
    "length": {"mm": "mm millimetre millimetres", "cm": "cm centimetre centimetres", "m": "m metre metres"},
    "surface": {"m2": "m2 m²|square metre|square metres"},
    "energy": {"J": "J joule joules"},
    "creatinine": {
        "micromol/L": "micromol/L µmol/L μmol/L umol/L micromol/l micromoles/L micromole/liter", "mg/dL": "mg/dL mg/dl milligram/deciliter",
    },
    "filtration": {"mL/min/1.73 m2": "mL/min/1.73m2|mL/min/1.73 m2|mL/min/1.73 m²|mL/min per 1.73 m2"},
    **{thing: {next(iter(UNITS[thing])): f"{thing} {next(iter(UNITS[thing]))}"} for thing in COUNTED},
}  # fmt: skip
WORDS = [
    (kind, unit, word)
    for kind, units in ACCEPTED.items()
    for unit, words in units.items()
    for part, *more in [words.split("|")]
    for word in (*part.split(" "), *more)
]


def test_the_spellings_are_these_and_no_others():
    assert {kind: set(names.items()) for kind, names in SPELLINGS.items()} == {
        kind: {(word, unit) for k, unit, word in WORDS if k == kind} for kind in ACCEPTED
    }


@pytest.mark.parametrize(("kind", "unit", "word"), WORDS)
def test_each_spelling_means_its_unit_with_and_without_a_space(kind, unit, word):
    for text in (f"2.5 {word}", f"2.5{word}", f"  2.50   {word} "):
        if word == "IU" and "5I" in text:
            continue  # run together it is refused, as IU is misread for 10
        assert kind_and_unit(read_amount(text, (kind,), "amount", "1 mg")) == (quantity("2.5", unit, kind), unit)


# ---- weights, heights, volumes, times ----


@pytest.mark.parametrize(
    ("text", "number", "unit"),
    [
        ("14.2 kg", "14.2", "kg"), ("14.2kg", "14.2", "kg"), ("14.200 kg", "14.2", "kg"), ("14200 g", 14200, "g"), ("0.9 kg", "0.9", "kg"),
        ("10.00 kg", 10, "kg"), ("500 kg", 500, "kg"), ("33 lb", 33, "lb"), ("33 pounds", 33, "lb"), ("22 lb 4 oz", "22.25", "lb"),
        ("22lb 4oz", "22.25", "lb"), ("7 lb 15.5 oz", Fraction(255, 32), "lb"), ("0 lb 15 oz", Fraction(15, 16), "lb"),
        ("2 st 3 lb", Fraction(31, 14), "st"), ("2st 3lb", Fraction(31, 14), "st"), ("10.5 stone", "10.5", "st"), ("12 oz", 12, "oz"),
    ],
)  # fmt: skip
def test_weights(text, number, unit):
    assert kind_and_unit(read_weight(text)) == (quantity(number, unit, "weight"), unit)


def test_mr02_a_pound_is_exact():
    assert read_weight("33 lb") == read_weight("14.96854821 kg") != read_weight("33 kg")
    assert read_weight("2 st 3 lb") == read_weight("31 lb") == read_weight("14.06136347 kg")
    assert read_weight("22 lb 4 oz") == read_weight("22.25 lb") == read_weight("356 oz")


@given(st.integers(300, 120_000))
@settings(deadline=None)
def test_mr01_grams_and_kilograms_agree(grams):
    assert read_weight(f"{grams} g") == read_weight(f"{grams // 1000}.{grams % 1000:03} kg")


def test_heights_volumes_and_times():
    assert read_length("96 cm") == read_length("0.96 m") == quantity(96, "cm", "length")
    assert read_volume("50 mL") == read_volume("0.05 L") == read_volume("50 ml")
    assert read_time("30 minutes") == read_time("0.5 h") == read_time("1800 seconds")
    assert read_time("2 weeks", "length of the course", "5 days") == read_time("14 days")


# ---- doses ----


@pytest.mark.parametrize(
    ("text", "low", "high", "unit", "kind", "per", "basis"),
    [
        ("240 mg", 240, 240, "mg", "mass", "dose", None),
        ("0.5 mg", "0.5", "0.5", "mg", "mass", "dose", None),
        ("240 mg/dose", 240, 240, "mg", "mass", "dose", None),
        ("240 mg a dose", 240, 240, "mg", "mass", "dose", None),
        ("15 mg/kg", 15, 15, "mg/kg", "mass/weight", "dose", None),
        ("15 mg per kg per dose", 15, 15, "mg/kg", "mass/weight", "dose", None),
        ("15mg/kg/day", 15, 15, "mg/kg", "mass/weight", "day", None),
        ("15 mg / kg a day", 15, 15, "mg/kg", "mass/weight", "day", None),
        ("600 mg per day", 600, 600, "mg", "mass", "day", None),
        ("600 mg/days", 600, 600, "mg", "mass", "day", None),
        ("2 to 10 puffs", 2, 10, "puffs", "puff", "dose", None),
        ("2 puffs to 10 puffs", 2, 10, "puffs", "puff", "dose", None),
        ("5 to 10 mg/m2", 5, 10, "mg/m2", "mass/surface", "dose", None),
        ("5 mg/m2 to 10 mg/m² a day", 5, 10, "mg/m2", "mass/surface", "day", None),
        ("5 mg/kg/day to 10 mg/kg/day", 5, 10, "mg/kg", "mass/weight", "day", None),
        ("5 micrograms/kg/min", 5, 5, "micrograms/kg/min", "mass/time/weight", "time", None),
        ("0.1 units per kg per hour", "0.1", "0.1", "units/kg/h", "activity/time/weight", "time", None),
        ("5 mL/h", 5, 5, "mL/h", "volume/time", "time", None),
        ("10 IU", 10, 10, "units", "activity", "dose", None),
        ("5 µg", 5, 5, "micrograms", "mass", "dose", None),
        ("5 μg", 5, 5, "micrograms", "mass", "dose", None),
        ("1 suppository", 1, 1, "suppositories", "suppository", "dose", None),
        ("1 dose", 1, 1, "doses", "dose", "dose", None),
        ("2 doses a day", 2, 2, "doses", "dose", "day", None),
        ("80 mg of trimethoprim", 80, 80, "mg", "mass", "dose", "trimethoprim"),
        ("8 mg/kg a day of trimethoprim", 8, 8, "mg/kg", "mass/weight", "day", "trimethoprim"),
        ("8 mg/kg of trimethoprim a day", 8, 8, "mg/kg", "mass/weight", "day", "trimethoprim"),
        ("300 mg of phenytoin equivalents", 300, 300, "mg", "mass", "dose", "phenytoin equivalents"),
        ("20 mg PE/kg", 20, 20, "mg/kg", "mass/weight", "dose", "PE"),
        ("10 mEq (valence 2)", 5, 5, "mmol", "substance", "dose", None),
        ("1 mEq/kg (valence 1) a day", 1, 1, "mmol/kg", "substance/weight", "day", None),
    ],
)
def test_doses(text, low, high, unit, kind, per, basis):
    assert read_dose(text) == Dose(quantity(low, unit, kind), quantity(high, unit, kind), per, basis)
    assert read_dose(text).high.unit == unit and read_dose(text).kind == kind


def test_a_range_may_cross_units_but_is_one_amount_kind():
    dose = read_dose("500 mg to 1 g")
    assert (dose.low.number, dose.high.number, dose.high.unit) == (500, 1, "g")


@pytest.mark.parametrize(
    ("text", "number", "unit", "kind"),
    [
        ("120 mg in 5 mL", 24, "mg/mL", "mass/volume"), ("120mg/5ml", 24, "mg/mL", "mass/volume"),
        ("120 mg per 5 mL", 24, "mg/mL", "mass/volume"), ("24 mg/mL", 24, "mg/mL", "mass/volume"),
        ("100 mg in 3 mL", Fraction(100, 3), "mg/mL", "mass/volume"),
        ("2.4 g in 100 mL", Fraction(24, 1000), "g/mL", "mass/volume"), ("250 mg per tablet", 250, "mg/tablet", "mass/tablet"),
        ("100 micrograms/puff", 100, "micrograms/puff", "mass/puff"), ("10 units/mL", 10, "units/mL", "activity/volume"),
        ("1 in 1000", 1, "mg/mL", "mass/volume"), ("1 in 10000", "0.1", "mg/mL", "mass/volume"), ("0.9 %", 9, "mg/mL", "mass/volume"),
        ("50%", 500, "mg/mL", "mass/volume"), ("10 mmol in 10 mL", 1, "mmol/mL", "substance/volume"),
    ],
)  # fmt: skip
def test_strengths(text, number, unit, kind):
    assert kind_and_unit(read_strength(text)) == (quantity(number, unit, kind), unit)


# ---- how often, counts, ages, dates ----


@pytest.mark.parametrize(
    ("text", "gap", "times"),
    [
        ("6 hours", (6, 6), None), ("6h", (6, 6), None), ("every 6 hours", (6, 6), None), ("6 hourly", (6, 6), None),
        ("4 to 6 hours", (4, 6), None), ("every 4 to 6 hours", (4, 6), None), ("4 to 6 hourly", (4, 6), None), ("1 day", (24, 24), None),
        ("every 3 days", (72, 72), None), ("20 minutes", (Fraction(1, 3),) * 2, None), ("1.5 hours", (Fraction(3, 2),) * 2, None),
        ("4 times a day", None, 4), ("4 times per day", None, 4), ("four times a day", None, 4), ("1 time a day", None, 1),
        ("twice a day", None, 2), ("twice daily", None, 2), ("once a day", None, 1), ("once daily", None, 1),
    ],
)  # fmt: skip
def test_frequencies(text, gap, times):
    assert read_frequency(text) == Frequency(gap and (gap[0] * H, gap[1] * H), times)


def test_once_is_one_dose_and_not_once_a_day():
    assert read_frequency("once") == Frequency(once=True)


def test_counts():
    assert [read_count(text) for text in ("4", 4, " 4 ", "4 times a day", "twice daily", "300")] == [4, 4, 4, 4, 2, 300]


@pytest.mark.parametrize(
    ("text", "parts"),
    [
        ("3 years 2 months", (3, 2)), ("3 years, 2 months", (3, 2)), ("3 years and 2 months", (3, 2)), ("3years 2months", (3, 2)),
        ("1 year", (1,)), ("18 months", (None, 18)), ("5 weeks", (None, None, 5)), ("12 days", (None, None, None, 12)),
        ("0 days", (None, None, None, 0)), ("2 years 0 months", (2, 0)), ("3 years 2 months 1 week 3 days", (3, 2, 1, 3)),
    ],
)  # fmt: skip
def test_ages(text, parts):
    assert read_age(text) == AgeParts(*parts)


def test_gestations_dates_and_answers():
    assert [read_weeks(t) for t in ("31 weeks", "31 weeks 4 days", "31 weeks and 4 days", "20 weeks 1 day")] == [217, 221, 221, 141]
    assert read_date("2024-02-29") == read_date(date(2024, 2, 29)) == date(2024, 2, 29)
    assert (read_yes("yes", "answer"), read_yes(" no ", "answer"), read_yes(True, "answer")) == (True, False, True)


def test_placeholders_are_missing():
    assert all(map(is_missing, ["", "   ", "N/A", "unknown", "-", "?", "null", "nan", "NaN", "TBC", None]))
    assert not any(map(is_missing, ["0", "no", "none given", 0, False]))


def test_reading_imports_only_small_parts_of_the_standard_library():
    nodes = [node for file in Path(reading.__file__).parent.glob("*.py") for node in ast.walk(ast.parse(file.read_text("utf-8")))]
    modules = {node.module for node in nodes if isinstance(node, ast.ImportFrom)}
    modules |= {name.name for node in nodes if isinstance(node, ast.Import) for name in node.names}
    outside = {name for name in modules if not name.startswith("dosecheck.reading.")}
    assert outside <= {
        "__future__",
        "collections.abc",
        "re",
        "datetime",
        "decimal",
        "difflib",  # in figures.py, for words of a short list; only sums load it
        "fractions",
        "functools",
        "typing",
        "zoneinfo",
        "dosecheck.errors",
        "dosecheck.quantity",
    }
