"""One medicine's file: each message has its broken file, and what is right passes."""

from __future__ import annotations

import re
import tomllib
from datetime import date
from pathlib import Path
from time import perf_counter

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from lint_folder import REGIMEN, faults, folder, medicine

from dosecheck.body.age import add_months, days_at_months
from dosecheck.formulary import lint, models
from dosecheck.formulary.cells import Band
from dosecheck.formulary.folder import packaged_folder, parse, read_folder
from dosecheck.formulary.limits import Policy, share
from dosecheck.formulary.measures import AT_MOST, CEILINGS, MEASURES, MOST_BITS, Comparison, bits_needed, sides
from dosecheck.formulary.medicine import compile_medicine
from dosecheck.formulary.meets import bands_meet, days_to_complete
from dosecheck.formulary.plainly import EXAMPLES

HERE = Path(__file__).parent
BROKEN = sorted((HERE.parent / "formulary_broken").glob("*.toml"))
README = Path(packaged_folder(), "README.md").read_text("utf-8")


# ---- broken files ----


@pytest.mark.parametrize("path", BROKEN, ids=lambda path: path.stem)
def test_each_broken_file_gives_its_message_and_no_other(path: Path) -> None:
    """The comment "# expect: " holds the start of a fault after the file's name: entry, key, what is wrong."""
    text = path.read_text("utf-8")
    expected = [line.removeprefix("# expect: ") for line in text.splitlines() if line.startswith("# expect: ")]
    report = lint.lint_files(folder(medicines_exampol=text))
    found = [str(fault) for fault in report.faults]
    assert all(fault.file == "medicines/exampol.toml" for fault in report.faults)
    assert len(found) == len(expected) and expected, found
    for one in expected:
        assert any(fault.startswith(f"medicines/exampol.toml, {one}") for fault in found), found


def test_each_fault_says_what_to_write() -> None:
    reports = [lint.lint_files(folder(medicines_exampol=path.read_bytes())) for path in BROKEN]
    for fault in (fault for report in reports for fault in report.faults):
        assert fault.why.endswith((".", "?")) and fault.write.endswith((".", "?")), fault


def test_a_slip_does_not_hide_the_others() -> None:
    """Every part of the file is still looked at; the entry with the slip causes no second fault."""
    slip = REGIMEN.replace("min_gap", "min_gpa").replace("oral-child", "slip")
    late = REGIMEN.replace("oral-child", "late").replace('"4 g"', '"40 g"').replace('"15 mg/kg"', '"15 mgkg"')
    found = faults(medicines_exampol=medicine(more=slip + late, head="hihg_risk = true").replace('status = "example"', "status = 3"))
    assert [re.search(r", ([a-z_]+): ", fault).group(1) for fault in found] == ["status", "hihg_risk", "min_gpa", "dose"]


# ---- order of keys and entries ----

MANY_FAULTS = medicine(
    more=REGIMEN.replace("min_gap", "min_gpa")
    + REGIMEN.replace("oral-child", "second").replace('"15 mg/kg"', '{ low = "9 mg/kg", high = "5 mg/kg" }')
    + REGIMEN.replace("oral-child", "third")
    + REGIMEN.replace("oral-child", "fourth").replace("handbook", "handbok")
)


@given(st.permutations(MANY_FAULTS.split("[[regimen]]")[1:]), st.randoms())
@settings(deadline=None, max_examples=30)
def test_the_order_of_entries_and_keys_changes_nothing(entries: list[str], random) -> None:
    shuffled = []
    for entry in entries:
        lines = entry.strip().splitlines()
        random.shuffle(lines)
        shuffled.append("\n[[regimen]]\n" + "\n".join(lines) + "\n")
    text = MANY_FAULTS.split("[[regimen]]")[0] + "".join(shuffled)
    report = lint.lint_files(folder(medicines_exampol=text))
    assert sorted(map(str, report.faults)) == sorted(map(str, lint.lint_files(folder(medicines_exampol=MANY_FAULTS)).faults))
    assert len(report.faults) == 4
    assert report.index == {"exampol": "medicines/exampol.toml"}


def test_faults_stand_in_the_order_of_the_file() -> None:
    text = medicine(more=REGIMEN.replace('"15 mg/kg"', "15").replace('["pain"]', '["Pain"]').replace("2024-05-01", '"today"'))
    assert [fault.split(", ")[2].split(":")[0] for fault in faults(medicines_exampol=text)] == ["valid_from", "for", "dose"]


# ---- what is right passes ----


def test_the_small_formulary_is_right() -> None:
    report = lint.lint_files(folder())
    assert report == ([], {"exampol": "medicines/exampol.toml"})


def test_the_entry_of_the_readme_is_right() -> None:
    block = README.split("## One entry, annotated")[1].split("## The grammar")[0]
    assert faults(medicines_exampol="\n".join(line.removeprefix("    ") for line in block.splitlines())) == []


@pytest.mark.parametrize(
    "heading, model",
    [
        ("[[ingredient]]", models.Ingredient),
        ("[[product]]", models.Product),
        ("[[regimen]]", models.Regimen),
        ("[[age_limit]]", models.AgeLimit),
        ("[[daily_band]]", models.DailyBand),
    ],
)
def test_the_readme_lists_the_keys_of_the_models(heading: str, model) -> None:
    section = README.split(f"### `{heading}`")[1].split("\n##")[0]
    listed = {key for row in re.findall(r"^\| (`.*?) \|", section, re.M) for key in re.findall(r"`([a-z_]+)`", row)}
    keys = {field.alias or name for name, field in model.model_fields.items()}
    assert listed <= keys
    assert keys - listed <= {"band", "min_duration"}  # in a row of their own form


def test_the_examples_in_messages_are_toml_with_that_key() -> None:
    for key, example in EXAMPLES.items():
        line = re.split(r"(?<=[\]}]): |, or |, with ", example)[0]
        if key not in ("ingredient", "source"):
            assert list(tomllib.loads(line)) == [key]


def test_the_shipped_formulary_is_right_and_compiles_and_is_linted_fast() -> None:
    files = read_folder(packaged_folder())
    start = perf_counter()
    report = lint.lint_files(files)
    assert perf_counter() - start < 2
    assert report.faults == []
    policy = Policy(share("10 %"), share("10 %"))
    for name in set(report.index.values()):
        assert compile_medicine(parse(name, files[name]), policy, name).names[0] == Path(name).stem


# ---- regimens that part, and that do not ----


def two(*changes: tuple[str, str]) -> str:
    second = REGIMEN.replace("oral-child", "oral-second")
    for before, after in changes:
        assert before in second
        second = second.replace(before, after)
    return medicine(more=REGIMEN + second)


@pytest.mark.parametrize(
    "change",
    [
        ('route = "oral"', 'route = "rectal"'),
        ('["pain"]', '["fever"]'),
        ('from = "3 months", below = "12 years"', 'from = "12 years"'),
        ('from = "3 months", below = "12 years"', 'below = "89 days"'),
        ("dose =", 'conditions = ["second line"]\ndose ='),
        ("dose =", 'release = "modified"\ndose ='),
        ("oral-second", "oral-child"),
    ],
)
def test_regimens_that_part_by_one_thing(change: tuple[str, str]) -> None:
    changes = [change] if change[1] != "oral-child" else [change, ("2024-05-01", "2025-01-01")]
    assert faults(medicines_exampol=two(*changes)) == []


@pytest.mark.parametrize(
    "change",
    [
        ('from = "3 months", below = "12 years"', 'from = "143 months"'),
        ('from = "3 months", below = "12 years"', 'below = "90 days"'),
        ('["pain"]', '["fever", "pain"]'),
        ("dose =", 'step = "first"\ndose ='),
        ("dose =", 'weight = { below = "50 kg" }\ndose ='),
        ("2024-05-01", "2025-01-01"),
    ],
)
def test_regimens_that_overlap(change: tuple[str, str]) -> None:
    (found,) = faults(medicines_exampol=two(change))
    assert 'regimen "oral-child": It overlaps the regimen "oral-second"' in found


def test_a_superseded_regimen_does_not_overlap_what_came_after_it() -> None:
    """ "a" of 2020 is superseded in 2022 by an "a" for fever; a "b" for pain from 2022 is then alone."""
    versions = [("a", "2020-01-01", "pain"), ("a", "2022-01-01", "fever"), ("b", "2022-01-01", "pain")]
    entries = [REGIMEN.replace("oral-child", i).replace("2024-05-01", day).replace("pain", why) for i, day, why in versions]
    assert faults(medicines_exampol=medicine(more="".join(entries))) == []
    early = [entries[0], entries[1], entries[2].replace("2022-01-01", "2021-12-31")]
    (found,) = faults(medicines_exampol=medicine(more="".join(early)))
    assert 'regimen "a": It overlaps the regimen "b"' in found


def test_bands_that_meet_at_15_kg_hold_no_child_twice() -> None:
    rows = '[[regimen.band]]\nweight = { from = "10 kg", below = "15 kg" }\ndose = "100 mg"\n'
    rows += '[[regimen.band]]\nweight = { from = "15000 g", below = "20 kg" }\ndose = "150 mg"\n'
    assert faults(medicines_exampol=medicine(more=REGIMEN.replace('dose = "15 mg/kg"\n', "") + rows)) == []


# ---- months against days ----


def test_days_to_complete_months_are_those_of_the_calendar_of_ages() -> None:
    for months in range(0, 230):
        fewest, most = days_to_complete(months)
        assert (fewest, days_to_complete(months + 1)[1] - 1) == days_at_months(months)
        assert fewest <= (add_months(date(2023, 11, 30), months) - date(2023, 11, 30)).days <= most


@pytest.mark.parametrize(
    "one, other, meet",
    [
        (Band("days", None, 28), Band("days", 28, None), False),
        (Band("days", None, 28), Band("months", 1, None), False),
        (Band("days", None, 29), Band("months", 1, None), True),
        (Band("months", None, 1), Band("days", 28, None), True),
        (Band("months", None, 1), Band("days", 31, None), False),
        (Band("months", None, 1), Band("days", 30, None), True),
        (Band("months", None, 1), Band("months", 1, None), False),
        (Band("corrected months", None, 1), Band("corrected days", 31, None), False),
        (Band("corrected months", None, 1), Band("days", 31, None), True),
        (Band("months", None, 1), Band("weight", 5, None), True),
    ],
)
def test_bands_meet(one: Band, other: Band, meet: bool) -> None:
    assert bands_meet((one,), (other,)) is meet
    assert bands_meet((other,), (one,)) is meet


# ---- sizes ----


@given(st.sampled_from(sorted(MEASURES)), st.integers(1, 10**30), st.integers(1, 10**30))
@settings(deadline=None, max_examples=100)
def test_the_bits_counted_are_those_of_the_sides_at_the_ceilings(measure: str, p: int, q: int) -> None:
    comparison = Comparison(measure, AT_MOST, p, q)
    if MEASURES[measure].power == 1:
        assert bits_needed(comparison) >= max(side.bit_length() for side in sides(comparison, CEILINGS))
    else:
        assert bits_needed(comparison) <= MOST_BITS


def test_of_very_many_faults_the_first_are_told_with_the_number_of_the_rest() -> None:
    found = faults(medicines_exampol=medicine(more="".join(f"x{n} = 1\n" for n in range(20_000))))
    assert len(found) == 301
    assert found[0] == "medicines/exampol.toml: There are 19700 faults more. Mend these first."


def test_a_large_medicine_is_refused_or_linted_in_bounded_time() -> None:
    many = "".join(REGIMEN.replace("oral-child", f"r{n}") for n in range(999))
    start = perf_counter()
    found = faults(medicines_exampol=medicine(more=many))
    assert perf_counter() - start < 20
    assert 'It overlaps the regimen "r1", "r10", "r100", "r101", "r102" and 993 more' in found[0]
    found = faults(medicines_exampol=medicine(more=many + REGIMEN + REGIMEN.replace("oral-child", "more")))
    assert found == ["medicines/exampol.toml, regimen: There are more than 1000 entries. Look for a copy too many."]


@pytest.mark.parametrize("path", BROKEN, ids=lambda path: path.stem)
def test_each_fault_has_the_line_and_column_of_its_key(path: Path) -> None:
    """An editor goes to the key; where that is missing, to the header of the entry, or to the entry around it."""
    text = path.read_text("utf-8")
    for fault in lint.lint_files(folder(medicines_exampol=text)).faults:
        line = text.splitlines()[fault.line - 1][fault.column - 1 :]
        keys = tuple(key for part in fault.key.split(".") if part for key in (part, f'"{part}"'))
        there = line.startswith((*keys, "[", "{", '"')) or "line " in fault.entry or (fault.line, fault.column, fault.entry) == (1, 1, "")
        assert fault.line >= 1 and fault.column >= 1 and there, (fault, line)
        assert fault.located.startswith(f"medicines/exampol.toml:{fault.line}:{fault.column}, ")


def test_a_fault_s_place_to_the_letter() -> None:
    text = medicine(more=REGIMEN.replace('dose = "15 mg/kg"', 'dose = { low = "9 mg/kg", hihg = "15 mg/kg" }'))
    (fault,) = lint.lint_files(folder(medicines_exampol="\ufeff" + text.replace("\n", "\r\n"))).faults
    assert text.splitlines()[fault.line - 1][fault.column - 1 :].startswith('hihg = "15 mg/kg"')
