"""Advice: each code on a small formulary made to deserve it, silence on one that does not, and acceptance with a reason."""

from __future__ import annotations

import json
from datetime import date
from pathlib import Path

import pytest
from cli.door import FOLDER, dosecheck, flat
from formulary.lint_folder import POLICY, SOURCES, folder, medicine
from hypothesis import given
from hypothesis import strategies as st

from dosecheck.formulary.load import Formulary
from dosecheck.records import Child, Order
from dosecheck.rules.check import check_order
from dosecheck.workshop.advice.advise import advise
from dosecheck.workshop.advice.bands import MOST_JUMP
from dosecheck.workshop.advice.line import Advice
from dosecheck.workshop.advice.pages import PAGES

DAY = date(2026, 11, 25)
BELIEVED = 'weight_z = { reason = "r", bands = [ { from = "0 months", low = "-4", high = "4" } ] }\n'
SOURCE = 'source = { id = "invented-handbook-2024", place = "table 3" }\n'


def regimen(id_: str = "oral-child", band: str = 'weight = { from = "10 kg", below = "40 kg" }', figures: str = "", **keys: str) -> str:
    dose = figures or 'dose = "15 mg/kg"\nmax_single = ["400 mg"]\nmax_daily = ["60 mg/kg"]\nmax_doses = 4'
    lines = {"valid_from": "2024-05-01", "route": '"oral"', "for": '["pain"]', **keys}
    head = "\n".join(f"{key} = {value}" for key, value in lines.items())
    return f'\n[[regimen]]\nid = "{id_}"\n{head}\n{band}\n{figures or dose}\n{SOURCE}'


def product(strength: str = "20 mg/mL", measure: str = '{ step = "0.1 mL" }') -> str:
    return f'\n[[product]]\nid = "liquid"\nname = "liquid"\nform = "oral liquid"\nroutes = ["oral"]\nstrength = "{strength}"\nmeasure = [{measure}]\n{SOURCE}'


def written(path: Path, more: str, **files: str) -> Path:
    for name, content in folder(**{"policy": POLICY + BELIEVED, "medicines_exampol": medicine(more=more), **files}).items():
        (path / name).parent.mkdir(parents=True, exist_ok=True)
        (path / name).write_bytes(content)
    return path


def lines(path: Path, more: str, **files: str) -> list[Advice]:
    return list(advise(Formulary(written(path, more, **files)), DAY).open)


def codes(path: Path, more: str, **files: str) -> list[str]:
    return [line.code for line in lines(path, more, **files)]


def kg(low: str, high: str) -> str:
    return f'weight = {{ from = "{low} kg", below = "{high} kg" }}'


FIXED = 'dose = "{0}"\nmax_daily = ["{1}"]\nmax_doses = 4'


def fixed(id_: str, band: str, milligrams: int) -> str:
    return regimen(id_, band, FIXED.format(f"{milligrams} mg", f"{4 * milligrams} mg"))


def test_a_sound_formulary_gets_no_advice(tmp_path: Path) -> None:
    assert lines(tmp_path, regimen() + product()) == []


GAPS = [
    (regimen("a", kg("5", "10")) + regimen("b", kg("12", "20")), "From 10 kg to 12 kg"),
    (
        fixed("a", 'age = { from = "2 months", below = "12 months" }', 60)
        + fixed("b", 'age = { from = "3 years", below = "5 years" }', 60),
        "From 1 year to 3 years",
    ),
    (fixed("a", 'age = { below = "28 days" }', 60) + fixed("b", 'age = { from = "1 month", below = "2 years" }', 60), ""),
    (
        fixed("a", 'age = { below = "21 days" }', 60) + fixed("b", 'age = { from = "1 month", below = "2 years" }', 60),
        "From 21 days to 28 days",
    ),
    (regimen("a", kg("5", "10")) + regimen("b", kg("10", "20")), ""),
    (regimen("a", kg("5", "10")) + regimen("b", kg("12", "20"), **{"for": '["fever"]'}), ""),
]


@pytest.mark.parametrize(("more", "expected"), GAPS)
def test_gaps_between_bands(tmp_path: Path, more: str, expected: str) -> None:
    """H10: told once, of the regimen before the gap; no month is shorter than 28 days, so "below 28 days" meets "from 1 month"."""
    found = [line for line in lines(tmp_path, more) if line.code == "gap-between-bands"]
    assert [line.why.startswith(expected) for line in found] == ([True] if expected else [])


@given(st.lists(st.integers(1, 30), min_size=2, max_size=6, unique=True))
def test_the_gaps_told_are_those_where_the_engine_finds_no_figure(tmp_path_factory: pytest.TempPathFactory, ends: list[int]) -> None:
    """Bands between every second pair of edges: each whole kilogram inside is checked exactly where no gap is told."""
    ends = sorted(ends)[: len(ends) // 2 * 2]
    bands = list(zip(ends[::2], ends[1::2], strict=True))
    path = tmp_path_factory.mktemp("gaps")
    told = lines(path, "".join(fixed(f"r{n}", kg(str(low), str(high)), 60) for n, (low, high) in enumerate(bands)))
    gaps = [(int(line.why.split()[1]), int(line.why.split()[4])) for line in told if line.code == "gap-between-bands"]
    formulary = Formulary(path)
    for weight in range(ends[0], ends[-1]):
        order = Order(medicine="exampol", route="oral", for_="pain", dose="60 mg", every="6 hours")
        checked = check_order(order, Child(weight=f"{weight} kg", age="8 years", on=DAY), formulary)
        assert ("no-regimen" in str([f.code for f in checked.findings])) == any(low <= weight < high for low, high in gaps)


def test_a_jump_at_an_edge(tmp_path: Path) -> None:
    """Twice is a table's usual step and silent; beyond it is told with both doses, at a weight or at an age."""
    assert MOST_JUMP == 2
    assert codes(tmp_path / "a", fixed("a", kg("5", "10"), 60) + fixed("b", kg("10", "20"), 120)) == []
    (line,) = lines(tmp_path / "b", fixed("a", kg("5", "10"), 60) + fixed("b", kg("10", "20"), 121))
    assert line.code == "jump-at-an-edge" and "At 10 kg the largest single dose goes from 60 mg to 121 mg" in line.why
    by_age = fixed("a", 'age = { from = "2 years", below = "6 years" }', 60) + fixed(
        "b", 'age = { from = "6 years", below = "9 years" }', 600
    )
    (line,) = lines(tmp_path / "c", by_age)
    assert line.why.startswith("At 6 years the largest single dose for a child of 20") and "about 10 times" in line.why


FIGURES = [  # figures of 10 kg to below 40 kg, the code that they deserve
    ('dose = "15 mg/kg"\nmax_single = ["600 mg"]\nmax_daily = ["60 mg/kg"]\nmax_doses = 4', "maximum-never-binds"),
    ('dose = "15 mg/kg"\nmax_single = ["599 mg"]\nmax_daily = ["60 mg/kg"]\nmax_doses = 4', ""),
    ('dose = "100 mg"\nmax_single = ["20 mg/kg"]\nmax_daily = ["400 mg"]\nmax_doses = 4', "maximum-never-binds"),
    ('dose = "100 mg"\nmax_single = ["9 mg/kg"]\nmax_daily = ["400 mg"]\nmax_doses = 4', ""),
    ('dose = "15 mg/kg"\nmax_daily = ["61 mg/kg"]\nmax_doses = 4', "maximum-never-binds"),
    ('dose = "15 mg/kg"\nmax_daily = ["59 mg/kg"]\nmax_doses = 4', "day-below-its-doses"),
    ('dose = "15 mg/kg"\nmax_daily = ["60 mg/kg"]\nmax_doses = 4', ""),
]


@pytest.mark.parametrize(("figures", "expected"), FIGURES)
def test_maxima_that_never_bind_or_are_passed(tmp_path: Path, figures: str, expected: str) -> None:
    """The heaviest child is 39.999 kg: 15 mg/kg comes to 599.985 mg, so 599 mg still binds and 600 mg never does."""
    assert codes(tmp_path, regimen(figures=figures)) == ([expected] if expected else [])


def test_a_figure_per_kg_without_end(tmp_path: Path) -> None:
    """Told unless a maximum, a weight or the age ends it below an adult's weight."""
    figures = 'dose = "15 mg/kg"\nmax_daily = ["60 mg/kg"]\nmax_doses = 4'
    grown, small = 'age = { from = "1 year", below = "18 years" }', 'age = { from = "1 month", below = "2 years" }'
    assert codes(tmp_path / "a", regimen(band=grown, figures=figures)) == ["no-absolute-maximum"]
    assert codes(tmp_path / "b", regimen(band=small, figures=figures)) == []
    assert codes(tmp_path / "c", regimen(band=grown, figures=figures + '\nmax_single = ["1 g"]')) == []
    assert codes(tmp_path / "d", regimen(band=grown + "\n" + kg("5", "50"), figures=figures)) == []


def test_a_dose_that_nothing_measures(tmp_path: Path) -> None:
    """At 10 kg 150 mg is 7.5 mL and is measured by 0.5 mL but not by 5 mL steps: 5 mL is a third too little."""
    assert codes(tmp_path / "a", regimen() + product(measure='{ step = "0.5 mL" }')) == []
    (line,) = lines(tmp_path / "b", regimen() + product(measure='{ step = "5 mL" }'))
    assert line.code == "not-measurable-here" and "lightest child, 10 kg" in line.why and "with liquid" in line.why
    found = lines(tmp_path / "c", regimen() + product(measure='{ up_to = "10 mL", step = "0.5 mL" }, { step = "15 mL" }'))
    assert found == [] or "heaviest" in found[0].why


def test_names_that_look_alike(tmp_path: Path) -> None:
    (line,) = lines(
        tmp_path, regimen(), medicines_exampole=medicine("exampole", more=regimen(), ingredient="other", head="high_risk = true")
    )
    assert line.code == "names-look-alike" and line.about == "exampol/exampole" and "One of them is high risk." in line.why


def test_one_ingredient_with_two_day_s_maxima(tmp_path: Path) -> None:
    other = medicine("secondol", more=regimen(figures='dose = "10 mg/kg"\nmax_daily = ["40 mg/kg"]\nmax_doses = 4'), ingredient="exampol")
    (line,) = lines(tmp_path, regimen(), medicines_secondol=other)
    assert line.code == "ingredient-maxima-differ" and "600 mg at 10 kg; that of secondol/oral-child is 400 mg at 10 kg" in line.why


def test_upkeep(tmp_path: Path) -> None:
    old = 'checked = [{ by = "A. N. Other", on = 2023-11-24, figures = "3f2a9c1b77d0" }]\n'
    policy = POLICY + BELIEVED + 'review_by = { value = 2026-11-24, reason = "r" }\none_at_a_time = { value = ["NSAID"], reason = "r" }\n'
    found = codes(tmp_path, regimen() + old, policy=policy, sources=SOURCES + SOURCES.replace("2024]", "1999]"))
    assert sorted(found) == ["check-old", "group-without-medicine", "review-overdue", "source-unused"]
    assert codes(tmp_path / "b", regimen() + old.replace("2023-11-24", "2023-11-28")) == []
    empty = folder(medicines_exampol=None, sources="")
    (tmp_path / "c").mkdir()
    for name, content in empty.items():
        (tmp_path / "c" / name).write_bytes(content)
    assert [line.code for line in advise(Formulary(tmp_path / "c"), DAY).open] == ["no-medicine"]


def test_advice_is_accepted_with_a_reason_and_an_acceptance_of_nothing_is_told(tmp_path: Path) -> None:
    row = '[[accepted]]\ncode = "maximum-never-binds"\nabout = ["exampol/oral-child"]\nreason = "So printed."\n'
    path = written(tmp_path, regimen(figures=FIGURES[0][0]), accepted=row)
    found = advise(Formulary(path), DAY)
    assert found.open == () and [(line.code, reason) for line, reason in found.accepted] == [("maximum-never-binds", "So printed.")]
    assert codes(tmp_path, regimen(), accepted=row) == ["acceptance-unused"]


def test_what_is_superseded_is_left_alone(tmp_path: Path) -> None:
    bad = FIGURES[0][0]
    assert codes(tmp_path, regimen(figures=bad) + regimen(valid_from="2025-01-01")) == []
    assert codes(tmp_path / "b", regimen(figures=bad) + regimen(valid_from="2027-01-01")) == ["maximum-never-binds"]


def test_every_code_has_its_page_and_every_page_its_code(tmp_path: Path) -> None:
    told = json.loads(dosecheck("formulary", "advice", "--json").out)
    assert set(told) == set(PAGES) and all(all(len(text) > 10 for text in page.values()) for page in told.values())
    assert "lightest and for the heaviest" in flat(dosecheck("formulary", "advice", "maximum-never-binds").out)
    assert dosecheck("formulary", "advice", "nosuch").status == 2
    modules = Path(__file__).parents[2] / "dosecheck" / "workshop" / "advice"
    text = "".join(file.read_text("utf-8") for file in modules.glob("*.py") if file.name != "pages.py")
    assert all(f'"{code}"' in text for code in PAGES)


def test_the_shipped_formulary_s_advice_is_all_accepted() -> None:
    found = advise(Formulary(FOLDER), DAY)
    assert [str(line) for line in found.open] == [] and found.accepted and all(line.code in PAGES for line, _ in found.accepted)


def test_the_command(tmp_path: Path) -> None:
    """Advice leaves the exit status alone; of a formulary with faults there is none."""
    path = str(written(tmp_path, regimen(figures=FIGURES[0][0])))
    said = dosecheck("formulary", "lint", path)
    assert said.status == 0 and "[maximum-never-binds]" in flat(said.out) and "1 advice line, 0 accepted" in flat(said.out)
    told = json.loads(dosecheck("formulary", "lint", path, "--json").out)
    assert told["faults"] == [] and told["advice"][0]["about"] == "exampol/oral-child" and told["accepted"] == []
    (tmp_path / "medicines/exampol.toml").write_text("id = 1", "utf-8")
    assert "advice only without faults" in flat(dosecheck("formulary", "lint", path).out)


def test_each_line_has_its_place(tmp_path: Path) -> None:
    """The header of the entry: of two versions that in force, of a table by band the row; what is of the whole file at its start."""
    loose = regimen("loose", 'age = { below = "12 years" }', 'dose = "15 mg/kg"\nmax_daily = ["60 mg/kg"]\nmax_doses = 4')
    rows = '[[regimen.band]]\nage = { from = "1 year", below = "2 years" }\ndose = "60 mg"\n'
    rows += '[[regimen.band]]\nage = { from = "2 years", below = "3 years" }\ndose = "900 mg"\n'
    table = regimen("table", 'age = { from = "1 year", below = "3 years" }', 'max_daily = ["4 g"]\nmax_doses = 4', route='"rectal"') + rows
    more = loose.replace("2024-05-01", "2020-05-01") + loose + table + product()
    found = lines(tmp_path, more, sources=SOURCES + SOURCES.replace("2024]", "2023]"), medicines_exampole=medicine("exampole", more=""))
    text = (tmp_path / "medicines/exampol.toml").read_text("utf-8").splitlines()
    at = {(line.code, line.entry): (line.file, line.line) for line in found}
    versions = [n for n, row in enumerate(text, 1) if row == 'id = "loose"']
    bands = [n for n, row in enumerate(text, 1) if row == "[[regimen.band]]"]
    assert at["no-absolute-maximum", 'regimen "loose"'] == ("medicines/exampol.toml", versions[1] - 1)
    assert {line.line for line in found if ", band " in line.entry} & set(bands), found
    assert at["source-unused", 'source "invented-handbook-2023"'] == ("sources.toml", 9)
    assert at["names-look-alike", ""] == ("medicines/exampol.toml", 1)
    assert all(line.located.startswith(f"{line.file}:{line.line}:1") for line in found)
