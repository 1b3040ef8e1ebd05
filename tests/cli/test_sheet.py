"""The sheet by its command: what is written and where, exit statuses, every fault at once, and a file that is whole or not there."""

from __future__ import annotations

import json
import os
from pathlib import Path
from typing import Any

import pytest
from door import FOLDER, Said, dosecheck, flat, options

from dosecheck import saving

CHILD = {
    "child": "SM-001",
    "weight": "14.2 kg",
    "weight_is": "measured",
    "weighed": "2026-05-04",
    "age": "3 years 2 months",
    "on": "2026-05-04",
}


def sheet(*more: str, **changes: Any) -> Said:
    return dosecheck("sheet", "--formulary", str(FOLDER), *options({**CHILD, **changes}), *more)


@pytest.mark.parametrize(
    "changes, status",
    [
        ({}, 0),
        ({"weight": "142 kg"}, 1),
        ({"weight_is": "estimated"}, 1),
        ({"weighed": "2024-05-04"}, 1),
        ({"weight": None}, 2),
        ({"age": None}, 2),
        ({"child": None}, 2),
        ({"child": "a\u202eb"}, 2),
        ({"weight": "14.2"}, 2),
        ({"formulary": "no-such-folder"}, 2),
    ],
)
def test_exit_statuses(changes: dict[str, Any], status: int) -> None:
    assert sheet(**changes).status == status


def test_no_line_for_this_child(tmp_path: Path) -> None:
    folder = tmp_path / "formulary"
    assert dosecheck("formulary", "copy", str(folder)).status == 0
    (folder / "sheet.toml").write_text('[[section]]\ntitle = "Airway"\nlines = [{ sum = "tube-size" }]\n', "utf-8")
    assert dosecheck("sheet", "--formulary", str(folder), *options({**CHILD, "age": "1 year", "weight": "10 kg"})).status == 4


def test_no_weight_says_what_to_do_and_guesses_none() -> None:
    said = sheet(weight=None)
    assert said.out == "" and "Weigh the child" in flat(said.err) and '"dosecheck child" shows estimates' in flat(said.err)


def test_every_fault_at_once() -> None:
    said = sheet(child="a\x07b", weight="14,2 kg", age="three", on="4.5.2026")
    assert said.status == 2
    assert [line.split(" ")[3] for line in said.err.splitlines() if line.startswith("  - ")] == ["child", "weight", "age", "on"]
    assert "\x07" not in said.err


def test_faults_as_json() -> None:
    told = json.loads(sheet("--json", weight=None, age=None).out)
    assert [fault["field"] for fault in told["errors"]] == ["weight", "age"]


def test_the_summary_has_the_doses_the_mark_and_the_caution() -> None:
    said = flat(sheet().out)
    for text in (
        "Doses for one child: SM-001, 2026-05-04 EXAMPLE - NOT FOR CLINICAL USE",
        "adrenaline (intravenous, cardiac arrest): 142 micrograms; to measure 1.4 mL of injection 0.1 mg/mL (1 in 10 000)",
        "Energy of a shock (cardiac arrest): energy: 56.8 J; to set: 57 J",
        "the prescriber decides",
        "Doses given before are not counted",
    ):
        assert text in said, text


def test_what_is_doubtful_comes_before_any_dose() -> None:
    said = sheet(weight="142 kg", weight_is="estimated").out
    assert said.index("LOOK AT THIS FIRST") < said.index("hard to believe") < said.index("adrenaline")
    assert "ESTIMATED" in said


def test_lines_fit_80_columns() -> None:
    for changes in ({}, {"weight": "3.1 kg", "age": "20 days"}, {"weight": "92 kg", "age": "15 years"}):
        assert all(len(line) <= 80 for line in sheet(**changes).out.splitlines())


def test_html_and_json_hold_the_same_doses(tmp_path: Path) -> None:
    page = tmp_path / "sheet.html"
    said = sheet("--json", out=str(page))
    told = json.loads(said.out)
    text = page.read_text("utf-8")
    assert told["written"] == str(page) and told["outcome"] == "made"
    rows = [row for part in told["sections"] for row in part["rows"] if row["dose"]]
    assert len(rows) >= 15
    assert all(row[name].replace(" ", "\u00a0").split("\u00a0to\u00a0")[-1] in text for row in rows for name in ("dose", "measure"))


@pytest.mark.usefixtures("pango")
def test_a_pdf_is_written_whole(tmp_path: Path) -> None:
    page = tmp_path / "sheet.pdf"
    assert sheet(out=str(page)).status == 0
    assert page.read_bytes().startswith(b"%PDF-") and [file.name for file in tmp_path.iterdir()] == ["sheet.pdf"]


@pytest.mark.parametrize("name", ["sheet.docx", "sheet", "sheet.html.exe", "."])
def test_another_form_is_refused(name: str, tmp_path: Path) -> None:
    said = sheet(out=str(tmp_path / name))
    assert said.status == 2 and "Use a .html or a .pdf file." in said.err


def test_a_place_that_cannot_be_written(tmp_path: Path) -> None:
    assert "It cannot be written" in sheet(out=str(tmp_path / "none" / "x.html")).err
    (tmp_path / "x.html").mkdir()
    assert "This is a folder." in sheet(out=str(tmp_path / "x.html")).err


def test_a_stop_half_way_leaves_the_old_sheet(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    page = tmp_path / "sheet.html"
    page.write_text("old", "utf-8")

    def full(*_: Any) -> None:
        raise OSError(28, os.strerror(28))

    monkeypatch.setattr(saving.os, "fsync", full)
    said = sheet(out=str(page))
    assert said.status == 2 and "No space left" in said.err
    assert page.read_text("utf-8") == "old" and [file.name for file in tmp_path.iterdir()] == ["sheet.html"]


def test_a_missing_pdf_library_is_one_plain_sentence(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(__import__("sys").modules, "weasyprint", None)
    said = sheet(out=str(tmp_path / "x.pdf"))
    assert said.status == 2 and "Traceback" not in said.err
    assert 'pip install "dosecheck[pdf]"' in flat(said.err)


def test_a_formulary_without_a_list(tmp_path: Path) -> None:
    folder = tmp_path / "formulary"
    assert dosecheck("formulary", "copy", str(folder)).status == 0
    (folder / "sheet.toml").unlink()
    assert dosecheck("formulary", "lint", str(folder)).status == 0, "the file may be left out"
    said = dosecheck("sheet", "--formulary", str(folder), *options(CHILD))
    assert said.status == 2 and "sheet.toml: The file is missing" in flat(said.err)
