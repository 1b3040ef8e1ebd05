"""`dosecheck journal ...`: what each says, its exit status, and what it leaves in the files."""

from __future__ import annotations

import csv
import io
import json
import stat
from contextlib import closing
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from cli.door import dosecheck
from journal.test_chain import at_the_file, filled

from dosecheck.journal import Journal

REFUSED = 2


@pytest.fixture
def path(tmp_path: Path) -> str:
    filled(tmp_path / "j.db").close()
    return str(tmp_path / "j.db")


def test_head_and_verify(path: str) -> None:
    """The hash that one prints is what the other takes, in either case."""
    number, head = dosecheck("journal", "head", path).out.split()
    assert number == "6" and len(head) == 64
    said = dosecheck("journal", "verify", path)
    assert said.status == 0 and "Whole" in said.out and "--head" in said.out
    said = dosecheck("journal", "verify", path, "--head", head.upper())
    assert said.status == 0 and "nothing up to it was changed" in said.out
    assert json.loads(dosecheck("journal", "verify", path, "--json").out) == {
        "whole": True,
        "entry": None,
        "why": None,
        "last": 6,
        "hash": head,
    }
    assert dosecheck("journal", "verify", path, "--head", "0" * 63 + "1").status == 1


@pytest.mark.parametrize("head", ["", " ", "12ab", "g" * 64])
def test_a_hash_that_is_none_is_refused(path: str, head: str) -> None:
    """An empty one, from a variable that was not set, must not count as looked for."""
    said = dosecheck("journal", "verify", path, "--head", head)
    assert said.status == REFUSED and "--head is no hash" in said.err and not said.out


def test_the_broken_link_is_named(path: str) -> None:
    at_the_file(Path(path), 'update entry set asked = \'{"weight":"30 kg"}\' where number = 4')
    said = dosecheck("journal", "verify", path)
    assert said.status == 1 and said.out.startswith("BROKEN at entry 4: what it says does not fit its hash")
    told = json.loads(dosecheck("journal", "verify", path, "--json").out)
    assert (told["whole"], told["entry"]) == (False, 4)


@pytest.mark.parametrize("more", [["verify"], ["head"], ["export", "--out", "x.csv"], ["remove", "--older-than", "9", "--yes"]])
def test_what_cannot_be_read_has_status_two(tmp_path: Path, more: list[str], monkeypatch: pytest.MonkeyPatch) -> None:
    """And no journal is made by looking for one."""
    monkeypatch.chdir(tmp_path)
    Path("text.db").write_text("no journal\n" * 500)
    Path("empty.db").write_bytes(b"")
    for name in ("nowhere.db", "text.db", "empty.db", "."):
        said = dosecheck("journal", more[0], name, *more[1:])
        assert said.status == REFUSED and name in said.err and not said.out
    assert sorted(file.name for file in tmp_path.iterdir()) == ["empty.db", "text.db"] and not Path("empty.db").read_bytes()


def test_export(path: str, tmp_path: Path) -> None:
    """Every entry in a file for its owner alone; nothing in it that a spreadsheet would run."""
    with closing(Journal(path, new=False)) as journal:
        journal.add("order", {"for": "=1+1"}, {}, "0f3a9c", by='=HYPERLINK("x")')
        journal.add("order", {}, {}, "@f", by="-2")
    said = dosecheck("journal", "export", path, "--out", str(tmp_path / "out.csv"))
    assert said.status == 0 and "8 entries" in said.out and "keep it accordingly" in said.out
    assert stat.S_IMODE((tmp_path / "out.csv").stat().st_mode) == 0o600
    with open(tmp_path / "out.csv", newline="", encoding="utf-8") as file:
        rows = list(csv.DictReader(file))
    assert [row["number"] for row in rows] == [str(number) for number in range(1, 9)]
    assert json.loads(rows[0]["asked"]) == {"child": "SM-001", "weight": "3 kg"}
    assert [row["by"] for row in rows[5:]] == ["K.N.", '\'=HYPERLINK("x")', "'-2"] and rows[7]["fingerprint"] == "'@f"
    assert not any(value.startswith(("=", "+", "-", "@")) for row in rows for value in row.values())


def test_remove_asks_and_says_how_many(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Four entries of 100 days ago, one of today."""
    name = str(tmp_path / "j.db")
    now = datetime.now(UTC)
    times = iter([now - timedelta(days=100)] * 4 + [now])
    with closing(Journal(name, lambda: next(times))) as journal:
        for _ in range(5):
            journal.add("order", {}, {}, "0f3a9c")
    monkeypatch.setattr("sys.stdin", io.StringIO("n\n"))
    said = dosecheck("journal", "remove", name, "--older-than", "90")
    assert said.status == 1 and "Nothing was removed." in said.out and dosecheck("journal", "head", name).out.startswith("5 "), (
        "nobody said yes"
    )
    said = dosecheck("journal", "remove", name, "--older-than", "90", "--yes")
    assert said.status == 0 and said.out == "4 entries were removed.\n"
    assert dosecheck("journal", "verify", name).status == 0
    assert dosecheck("journal", "remove", name, "--older-than", "90", "--yes").out == "0 entries were removed.\n"
    assert dosecheck("journal", "remove", name, "--older-than", "0", "--yes").status == REFUSED
