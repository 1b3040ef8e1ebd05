"""One sheet re-worked by hand: 14.2 kg, 3 years 2 months.  Each figure and step is written out here from the published place
named beside it (title and place as on the sheet itself), the arithmetic in fractions, and nothing of the engine is used.

The measuring steps are the example formulary's own: 0.01 mL up to 1 mL; injections 0.1 mL up to 10 mL, then 1 mL; liquids
by mouth 0.1 mL up to 5 mL, then 0.5 mL (common practice, no source).
"""

from __future__ import annotations

from fractions import Fraction as F
from pathlib import Path

import pytest

from dosecheck import Child, Formulary
from dosecheck.reports.rows import Row
from dosecheck.reports.sheet import make_sheet

W = F("14.2")  # kg
SHEET = make_sheet(
    "SM-001",
    Child(weight="14.2 kg", weight_is="measured", weighed="2026-05-04", age="3 years 2 months", on="2026-05-04"),
    Formulary(Path(__file__).parents[2] / "formulary"),
)


def row(title: str, number: int) -> Row:
    return next(part for part in SHEET.parts if part.title == title).rows[number]


def text(number: F, unit: str) -> str:
    """The number as a decimal, exactly."""
    shown = f"{number.numerator * 10**6 // number.denominator:07d}"
    assert F(int(shown), 10**6) == number
    decimals = shown[-6:].rstrip("0")
    return f"{int(shown[:-6]):,}{'.' * bool(decimals)}{decimals} {unit}"


def down(volume: F, step: str) -> F:
    return volume // F(step) * F(step)


def up(volume: F, step: str) -> F:
    return -(-volume // F(step)) * F(step)


# section, row, dose, volume
BY_HAND = [
    # 10 micrograms/kg of 0.1 mg/mL = 100 micrograms in 1 mL: PALS 2010, table 1
    ("Heart has stopped", 0, text(10 * W, "micrograms"), text(down(10 * W / 100, "0.1"), "mL")),
    # 5 mg/kg, at most 300 mg: PALS 2010, table 1
    ("Heart has stopped", 1, text(min(5 * W, F(300)), "mg"), ""),
    # 150 micrograms from 6 months to 5 years, of 1 mg/mL: MSF Essential drugs, epinephrine
    ("Severe allergy", 0, text(F(150), "micrograms"), text(F(150) / 1000, "mL")),
    # 5 mg from 1 to 4 years, of 5 mg/mL: EMA, midazolam oromucosal solution, section 4.2
    ("Seizure", 0, text(F(5), "mg"), text(F(5) / 5, "mL")),
    # 0.5 mg/kg by the rectum, 0.3 mg/kg into a vein, at most 10 mg, of 10 mg in 2 mL: MSF Essential drugs, diazepam
    ("Seizure", 1, text(min(W / 2, F(10)), "mg"), text(down(W / 2 / 5, "0.1"), "mL")),
    ("Seizure", 2, text(min(F("0.3") * W, F(10)), "mg"), text(down(F("0.3") * W / 5, "0.01"), "mL")),
    # 0.5 g/kg of 10 %, 0.1 g in 1 mL: WHO pocket book 2013, emergency drugs
    ("Low blood sugar", 0, text(W / 2, "g"), text(down(W / 2 / F("0.1"), "1"), "mL")),
    # 2 to 10 puffs of 100 micrograms: MSF Essential drugs, salbutamol inhaler
    ("Asthma attack, croup", 0, "200 to 1,000 micrograms", "2 to 10 puffs"),
    # 0.15 mg/kg, at least 2.5 mg, of 2.5 mg in 2.5 mL: professional manual, salbutamol, nebulised
    ("Asthma attack, croup", 1, text(max(F("0.15") * W, F("2.5")), "mg"), text(max(F("0.15") * W, F("2.5")) / 1, "mL")),
    # 250 micrograms under 6 years, of 0.25 mg/mL: Australian Asthma Handbook
    ("Asthma attack, croup", 2, text(F(250), "micrograms"), text(F(250) / 250, "mL")),
    # 0.1 to 0.2 mmol/kg, at most 10 mmol: Australian Asthma Handbook
    ("Asthma attack, croup", 3, f"{text(W / 10, '').strip()} to {text(W / 5, 'mmol')}", ""),
    # 0.5 mg/kg, at most 5 mg, of 1 mg/mL: WHO pocket book 2013, emergency drugs
    ("Asthma attack, croup", 4, text(min(W / 2, F(5)), "mg"), text(min(W / 2, F(5)), "mL")),
    # 15 mg/kg, at most 1 g, of 120 mg in 5 mL: WHO persisting pain 2012, annex 1
    ("Pain", 0, text(min(15 * W, F(1000)), "mg"), text(down(15 * W / 24, "0.5"), "mL")),
    # 5 to 10 mg/kg, at most 400 mg, of 100 mg in 5 mL: MSF Essential drugs, ibuprofen
    (
        "Pain",
        1,
        f"{text(5 * W, '').strip()} to {text(10 * W, 'mg')}",
        f"{text(up(5 * W / 20, '0.1'), '').strip()} to {text(down(10 * W / 20, '0.5'), 'mL')}",
    ),
    # 0.5 to 1.5 micrograms/kg, at most 75 micrograms, of 50 micrograms/mL: Royal Children's Hospital, intranasal fentanyl
    (
        "Pain",
        2,
        f"{text(W / 2, '').strip()} to {text(F('1.5') * W, 'micrograms')}",
        f"{text(up(W / 2 / 50, '0.01'), '').strip()} to {text(down(F('1.5') * W / 50, '0.01'), 'mL')}",
    ),
    # 0.1 mg/kg, at most 7.5 mg, of 10 mg/mL: Canadian Paediatric Society 2022, table 2
    ("Pain", 3, text(W / 10, "mg"), text(down(W / 10 / 10, "0.01"), "mL")),
    # 10 micrograms/kg: WHO persisting pain 2012, annex 1, naloxone
    ("Too much opioid", 0, text(10 * W, "micrograms"), ""),
]


@pytest.mark.parametrize("title, number, dose, measure", BY_HAND)
def test_each_dose_and_volume_is_that_of_the_hand(title: str, number: int, dose: str, measure: str) -> None:
    found = row(title, number)
    assert (found.dose, found.measure) == (dose, measure)


def test_every_row_was_re_worked() -> None:
    """None of the rows of medicines is left out above; the sums are below."""
    done = {(title, number) for title, number, *_ in BY_HAND}
    there = {(part.title, number) for part in SHEET.parts for number, found in enumerate(part.rows) if not found.is_sum}
    assert done == there


def results(title: str, number: int) -> dict[str, str]:
    return {result.name: result.value for result in row(title, number).results}


def test_the_shock() -> None:
    """4 J/kg: ERC 2010, Resuscitation 81:1249."""
    assert results("Heart has stopped", 2) == {"energy": text(4 * W, "J"), "to set": f"{round(4 * W)} J"}


def test_the_tubes() -> None:
    """Age 3: age / 4 + 4 uncuffed, + 3.5 or + 3 cuffed, to the nearest 0.5 mm, half way up; / 2 + 12 and + 15 cm."""
    nearest = [(F(3, 4) + plus + F(1, 4)) // F(1, 2) * F(1, 2) for plus in (F(4), F("3.5"), F(3))]
    lengths = [F(3, 2) + 12, F(3, 2) + 15]
    assert list(results("Breathing tube", 0).values()) == [text(size, "mm") for size in nearest] + [
        text(length, "cm") for length in lengths
    ]


def test_the_fluids() -> None:
    """10 mL/kg: NICE NG29. 100 mL/kg for the first 10 kg and 50 mL/kg for the next: Holliday and Segar 1957."""
    assert results("Fluids", 0) == {"bolus": text(10 * W, "mL")}
    day = 100 * 10 + 50 * (W - 10)
    hourly = day / 24
    assert results("Fluids", 1) == {
        "a day": text(day, "mL/day"),
        "by the hour": f"about {text(F(round(hourly * 100), 100), 'mL/h')}",
        "to set": text(F(round(hourly * 10), 10), "mL/h"),
    }


def test_the_days_maximum_is_there_where_it_binds() -> None:
    """Ibuprofen 30 mg/kg a day is less than four doses of 10 mg/kg; paracetamol's 4 g is more than its four doses."""
    assert any(f"at most {text(30 * W, 'mg')} in 24 hours" in line for line in row("Pain", 1).keep)
    assert not any("4 g" in line for line in row("Pain", 0).keep)
