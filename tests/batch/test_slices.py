"""Rows put aside by child: none is lost, all of a child come together, nothing stays behind; and what is told does not depend on it."""

from __future__ import annotations

import errno
import os
from pathlib import Path
from typing import Any

import polars as pl
import pytest

from dosecheck import Formulary
from dosecheck.batch import slices
from dosecheck.batch.repeats import SCHEMA, Repeats
from dosecheck.batch.slices import Slices
from dosecheck.errors import FileError

FORMULARY = Formulary(Path(__file__).parents[2] / "formulary")


def rows(first: int, count: int) -> pl.DataFrame:
    number = pl.int_range(first, first + count, eager=True)
    columns = {"row": number, "ingredient": number % 3, "child": (number * 7919) % 997, "born": number % 5}
    return pl.DataFrame(columns).cast(dict(SCHEMA))


@pytest.mark.parametrize("enough, count", [(1, 7), (900, 3), (10**6, 1)])
def test_none_is_lost_and_nothing_stays_behind(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, enough: int, count: int) -> None:
    monkeypatch.setattr(slices, "HELD", 500)
    monkeypatch.setattr(slices, "SLICES", 7)
    given = [rows(first, 130) for first in range(0, 3000, 130)]
    with Slices(SCHEMA, tmp_path) as kept:
        for each in given:
            kept.add(each)
        assert not list(tmp_path.iterdir()), "the files have no names"
        parts = list(kept.parts(enough))
    children = [set(part["child"]) for part in parts]
    assert len(parts) == count and sum(map(len, children)) == len(set.union(*children)), "a child is in one part"
    assert pl.concat(parts).sort("row").equals(pl.concat(given))


def test_no_room(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(slices, "HELD", 10)

    def full(*_: Any, **__: Any) -> Any:
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    monkeypatch.setattr(slices.tempfile, "TemporaryFile", full)
    with Slices(SCHEMA, tmp_path) as kept, pytest.raises(FileError, match="There is no room for the work: No space left on device"):
        kept.add(rows(0, 20))


@pytest.mark.parametrize("held", [4, 10**6])
def test_what_is_told(held: int, monkeypatch: pytest.MonkeyPatch) -> None:
    """Counted by hand: c1 has two orders of paracetamol, c2 none twice but two dates of birth, c3 three of one in three chunks."""
    monkeypatch.setattr(slices, "HELD", held)
    chunks = [
        [("c1", "paracetamol", "2020-01-01"), ("c2", "ibuprofen", "2021-01-01"), ("c3", "amoxicillin", None)],
        [("c1", "paracetamol", "2020-01-01"), (None, "paracetamol", None), ("c3", "amoxicillin", None)],
        [("c2", "paracetamol", "2021-01-02"), ("c3", "amoxicillin", "2019-05-05")],
    ]
    with Slices(SCHEMA, None) as kept:
        repeats, start = Repeats(FORMULARY, kept), 0
        for chunk in chunks:
            repeats.add(pl.DataFrame(chunk, schema=["child_id", "medicine", "born"], orient="row"), start)
            start += len(chunk)
        assert repeats.lines() == [
            "5 rows have another order of the same ingredient for the same child:",
            "paracetamol: rows 1, 4",
            "amoxicillin: rows 3, 6, 8",
            "1 children have rows that disagree about the date of birth (one child?):",
            "rows 2, 7",
        ]


def test_unknown_medicines_are_no_repeat() -> None:
    with Slices(SCHEMA, None) as kept:
        repeats = Repeats(FORMULARY, kept)
        repeats.add(pl.DataFrame({"child_id": ["c1", "c1", "c1"], "medicine": ["exampol", "exampol", None]}), 0)
        assert repeats.lines() == []
