"""A new medicine's file: its faults are just what is to be filled in, and filled in it has none."""

from __future__ import annotations

import json
import os
import re
import tomllib
from pathlib import Path

import pytest
from cli.door import FOLDER, dosecheck, flat
from formulary.lint_folder import folder, medicine

from dosecheck.formulary.lint import lint_files
from dosecheck.workshop.tidy import tidied

REFUSED = 2
SOURCE = 'source = { id = "invented-handbook-2024", place = "table 3" }'
FILLED = (
    {
        **{"id": 'id = "oral-liquid"', "name": 'name = "oral liquid 120 mg in 5 mL"', "form": 'form = "oral liquid"'},
        **{"routes": 'routes = ["oral"]', "strength": 'strength = "120 mg in 5 mL"', "source": SOURCE},
    },
    {
        **{"id": 'id = "oral-child"', "valid_from": "valid_from = 2024-05-01", "route": 'route = "oral"', "for": 'for = ["pain"]'},
        **{"age": 'age = { from = "3 months", below = "12 years" }', "dose": 'dose = "15 mg/kg"', "min_gap": 'min_gap = "4 hours"'},
        **{"max_daily": 'max_daily = ["4 g"]', "source": SOURCE},
    },
)


def placed(path: Path, **files: str | bytes) -> Path:
    for name, content in folder(**files).items():
        (path / name).parent.mkdir(parents=True, exist_ok=True)
        (path / name).write_bytes(content)
    return path


@pytest.fixture
def made(tmp_path: Path) -> Path:
    assert dosecheck("formulary", "new", "secondol sodium", "--formulary", str(placed(tmp_path))).status == 0
    return tmp_path / "medicines/secondol-sodium.toml"


def faults(file: Path) -> list:
    return lint_files({**folder(), "medicines/secondol-sodium.toml": file.read_bytes()}).faults


def test_its_faults_are_what_is_to_be_filled_in(made: Path) -> None:
    lines = made.read_text("utf-8").splitlines()
    gaps = [n for n, line in enumerate(lines, 1) if not line.startswith("#") and ('""' in line or "[]" in line)]
    found = faults(made)
    assert sorted({fault.line for fault in found}) == gaps and len(gaps) == 15
    assert len(found) == sum(line.count('""') + line.count("[]") for line in lines if not line.startswith("#"))
    assert all(fault.write for fault in found)


def test_filled_in_it_has_none(made: Path) -> None:
    head, product, regimen = re.split(r"^(?=\[\[(?:product|regimen)\]\])", made.read_text("utf-8"), flags=re.M)
    parts = [
        re.sub(r"^(\w+) +=.*$", lambda line, given=given: given[line[1]], part, flags=re.M)
        for part, given in zip((product, regimen), FILLED, strict=True)
    ]
    made.write_text(head + "".join(parts), "utf-8")
    assert faults(made) == []
    raw = tomllib.loads(made.read_text("utf-8"))
    assert (raw["id"], raw["name"], raw["status"]) == ("secondol-sodium", "secondol sodium", "draft")


def test_every_key_is_there_with_a_comment_and_an_example_that_is_toml(made: Path) -> None:
    """With each example made a key, lint knows them all."""
    text = made.read_text("utf-8")
    loose = re.sub(r"^# ([a-z_]+ = )", r"\1", text, flags=re.M)
    raw = tomllib.loads(loose)
    assert {"egfr", "band", "max_rate", "goes_by", "ask_first"} <= set(raw["regimen"][0])
    made.write_text(loose, "utf-8")
    assert not [fault for fault in faults(made) if "no such key" in fault.why]
    rows = text.splitlines()
    assert all(rows[n - 1].startswith("# ") for n, row in enumerate(rows) if re.match(r"(?:# )?[a-z_]+ += ", row))
    assert max(map(len, rows)) <= 130


def test_it_is_in_order_and_commented_in_whole_sentences(made: Path) -> None:
    content = made.read_bytes()
    assert tidied("medicines/secondol-sodium.toml", content) == content


@pytest.mark.parametrize(
    "name, why",
    [
        ("exampol", "medicines/exampol.toml has this name already"),
        ("other name", "medicines/exampol.toml has this name already"),
        ("other-name", "looks like"),
        ("éxampol", "lower-case letters"),
        ("Secondol", "capital letters"),
        ("../policy", "lower-case"),
        ("a;b", "semicolon"),
        ("", "says nothing"),
        ("half", "medicines/half.toml has this name already"),
        ("wrong", "medicines/wrong.toml: It is no plain file."),
    ],
)
def test_what_is_there_or_is_no_name_is_refused(tmp_path: Path, name: str, why: str) -> None:
    """A file that cannot be parsed keeps its name too; nothing is written."""
    placed(tmp_path, medicines_exampol=medicine(head='aliases = ["other name"]'), medicines_half='id = "half"\nname = "')
    os.mkdir(tmp_path / "medicines/wrong.toml") if name == "wrong" else None
    before = sorted(path.name for path in tmp_path.rglob("*"))
    said = dosecheck("formulary", "new", name, "--formulary", str(tmp_path))
    assert said.status == REFUSED and why in flat(said.err) and "Nothing was written." in said.err
    assert sorted(path.name for path in tmp_path.rglob("*")) == before
    assert json.loads(dosecheck("formulary", "new", name, "--json", "--formulary", str(tmp_path)).out)["errors"]


def test_a_draft_that_waits_does_not_hinder_the_next(made: Path) -> None:
    said = dosecheck("formulary", "new", "thirdol", "--json", "--formulary", str(made.parents[1]))
    assert said.status == 0 and Path(json.loads(said.out)["file"]).name == "thirdol.toml"
    assert dosecheck("formulary", "new", "thirdol", "--formulary", str(made.parents[1])).status == REFUSED


def test_the_example_inside_is_nobodys_to_edit(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    monkeypatch.delenv("DOSECHECK_FORMULARY", raising=False)
    said = dosecheck("formulary", "new", "secondol")
    assert said.status == REFUSED and "formulary copy DIR" in flat(said.err) and not (FOLDER / "medicines/secondol.toml").exists()
