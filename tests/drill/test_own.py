"""A teacher's own questions: read whole, all faults at once, marked as any other."""

from __future__ import annotations

from pathlib import Path

import pytest

from dosecheck.drill.mark import mark
from dosecheck.drill.own import read_own
from dosecheck.errors import FileError, InputError

RIGHT = """
[[question]]
id       = "syrup-1"
text     = "SM-001 weighs 14.2 kg. Exampol: 15 mg/kg for one dose. How much is one dose, in mg?"
answer   = "213 mg"
rounding = "1 mg"
working  = ["15 mg/kg x 14.2 kg = 213 mg"]
source   = "Invented Handbook, page 3"
wrong    = [{ answer = "469 mg", says = "you took the pounds as kilograms" }]

[[question]]
id      = "call"
text    = "A dose was given twice. What do you do first?"
choices = ["look at the child", "write it down"]
answer  = "look at the child"

[[question]]
id     = "drip"
text   = "100 mL over 8 hours. How many mL/h?"
answer = "12.5 mL/h"
within = "0.1 mL/h"
"""


def written(tmp_path: Path, text: str | bytes) -> str:
    path = tmp_path / "own.toml"
    path.write_bytes(text if isinstance(text, bytes) else text.encode())
    return str(path)


def test_marked_as_any_other(tmp_path: Path) -> None:
    syrup, call, drip = read_own(written(tmp_path, RIGHT))
    assert mark(syrup, "0.213 g").right and mark(syrup, "213.4 mg").right
    assert mark(syrup, "469 mg").said[1] == "469 mg: you took the pounds as kilograms."
    assert "ten times" in mark(syrup, "2130 mg").said[1]
    assert syrup.lesson()["working"] == ["working: 15 mg/kg x 14.2 kg = 213 mg"]
    assert mark(call, "Look at the child").right and not mark(call, "write it down").right
    assert mark(call, "nothing").result == "unreadable"
    assert mark(drip, "12.6 mL/h").right and mark(drip, "12.5 mL an hour").right and not mark(drip, "12.7 mL/h").right
    assert "within 0.1 mL/h" in drip.ask


def test_all_faults_at_once(tmp_path: Path) -> None:
    faulty = """
[[question]]
text = 3
answer = "213"
colour = "blue"
[[question]]
id = "a"
text = "t"
answer = "5,0 mg"
rounding = "1 mL"
[[question]]
id = "a"
text = "t"
answer = "5 mg"
within = "1 mL"
wrong = [{ answer = "3 mL", says = "x" }, { answer = "4 mg" }, "y"]
[[question]]
id = "c"
text = "t"
answer = "maybe"
choices = ["yes", "no"]
working = "none"
"""
    with pytest.raises(InputError) as caught:
        read_own(written(tmp_path, faulty))
    said = "\n".join(map(str, caught.value.faults))
    for part in (
        'question 1, id: It is missing. Write id = "...".',
        "question 1, text: It is not text in quotes.",
        "question 1, colour: There is no such key here.",
        'question 2, "a", answer "5,0 mg": The answer has a comma.',
        'question 3, "a", within "1 mL": It is of another kind than the answer.',
        'question 3, "a", wrong "3 mL": It is of another kind than the answer.',
        "Each wrong answer has answer and says",
        'question 4, "c", working: It is not a list of texts.',
    ):
        assert part in said, said


def test_ids_stand_once(tmp_path: Path) -> None:
    twice = '[[question]]\nid = "a"\ntext = "t"\nanswer = "5 mg"\n' * 2
    with pytest.raises(InputError, match="The id stands twice"):
        read_own(written(tmp_path, twice))


@pytest.mark.parametrize("text", ["", "x = 1", "question = 3", "question = []", "question = [1]", "[[question]", b"\xff\xfe", b"\x00"])
def test_no_file_of_questions(tmp_path: Path, text: str | bytes) -> None:
    with pytest.raises(FileError) as caught:
        read_own(written(tmp_path, text))
    assert str(caught.value).count("\n") == 0


def test_no_file(tmp_path: Path) -> None:
    with pytest.raises(FileError, match="cannot be read"):
        read_own(str(tmp_path / "nowhere.toml"))
