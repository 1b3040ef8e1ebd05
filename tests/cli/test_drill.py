"""`dosecheck drill`: questions, marks and hints by the command, and every bad input."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from cli.door import FOLDER, Said, dosecheck, flat

from dosecheck.drill.kinds import KINDS


def drill(*args: str) -> Said:
    return dosecheck("drill", *args, "--formulary", str(FOLDER))


def asked(kind: str, *more: str) -> dict:
    return json.loads(drill("question", kind, "--json", *more).out)


def test_kinds_are_listed() -> None:
    said = dosecheck("drill", "kinds")
    assert said.status == 0 and all(f"{kind}: " in said.out for kind in KINDS)
    assert [row["kind"] for row in json.loads(dosecheck("drill", "kinds", "--json").out)] == list(KINDS)


@pytest.mark.parametrize("kind", KINDS)
def test_a_question_and_its_right_answer(kind: str) -> None:
    told = asked(kind, "--seed", "9", "--level", "2")
    wrong = json.loads(drill("mark", told["id"], "--answer", told["choices"][0]["word"] if told["choices"] else "0 mg", "--json").out)
    right = drill("mark", told["id"], "--answer", wrong["lesson"]["answer"].replace(",", ""))
    assert right.status == 0 and right.out.startswith("RIGHT.") and "An exercise, not an order" in flat(right.out)
    assert all(len(line) <= 80 for line in right.out.splitlines())


def test_marks_and_statuses() -> None:
    identity = asked("dose-by-weight", "--seed", "0")["id"]  # 0.5 mg/kg for 12 kg
    for answer, status, start in (
        ("6 mg", 0, "RIGHT."),
        ("6.0 mg", 0, "RIGHT."),
        ("6", 1, "NOT RIGHT: the unit is missing."),
        ("6 g", 1, "NOT RIGHT: the unit is wrong."),
        ("60 mg", 1, "NOT RIGHT."),
        ("six", 2, "NOT MARKED"),
        ("x" * 10_000, 2, "NOT MARKED"),
        ("\u0666 mg", 2, "NOT MARKED"),
    ):
        said = drill("mark", identity, "--answer", answer)
        assert (said.status, said.out.startswith(start)) == (status, True), said
    assert "60 mg: it is ten times the answer: look at the decimal point." in flat(drill("mark", identity, "--answer", "60 mg").out)
    assert "Answer:" not in drill("mark", identity, "--answer", "six").out
    assert 'Write "6 mg".' in flat(drill("mark", identity, "--answer", "6.0 mg").out)
    assert "Safer" not in drill("mark", identity, "--answer", "6.0 mg", "--overlook", "trailing-zero").out


def test_hints_one_step_at_a_time() -> None:
    first, second = (drill("question", "shared-dose", "--level", "2", "--hints", n).out for n in ("1", "2"))
    assert first.count("= ?") == second.count("= ?") == 1
    assert "one dose of the day" not in first and "one dose of the day" in second
    assert drill("question", "shared-dose", "--level", "2", "--hints", "99").out == second


@pytest.mark.parametrize(
    "args",
    [
        ("question", "nope"),
        ("question", "volume", "--level", "4"),
        ("question", "volume", "--seed", "-1"),
        ("question", "volume", "--seed", "1.5"),
        ("mark", "nope", "--answer", "5 mg"),
        ("mark", "volume.1.1.00000000", "--answer", "5 mg"),
        ("mark", "volume.1.1.5a5b58d2"),
        ("question", "volume", "--own", "/nowhere.toml"),
    ],
)
def test_bad_input_is_told_plainly(args: tuple[str, ...]) -> None:
    said = drill(*args)
    assert said.status == 2 and not said.out and 0 < len(said.err) < 600


def test_a_teachers_own_file(tmp_path: Path) -> None:
    path = tmp_path / "own.toml"
    path.write_text('[[question]]\nid = "one"\ntext = "Half of 5 mL?"\nanswer = "2.5 mL"\n', "utf-8")
    said = dosecheck("drill", "question", "one", "--own", str(path))
    assert said.status == 0 and "Half of 5 mL?" in said.out
    assert dosecheck("drill", "mark", "one", "--own", str(path), "--answer", "2.5 mL").status == 0
    assert dosecheck("drill", "mark", "two", "--own", str(path), "--answer", "2.5 mL").status == 2
