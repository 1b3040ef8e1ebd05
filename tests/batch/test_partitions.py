"""Doses put aside come back once, all of a child together, the children in order, and never more than are allowed in memory."""

from __future__ import annotations

import errno
import random
from itertools import pairwise
from pathlib import Path

import polars as pl
import pytest

from dosecheck.batch import partitions, shares
from dosecheck.batch.partitions import Partitions
from dosecheck.batch.shares import edges
from dosecheck.errors import FileError

HELD = 50
NAMES = {
    "in any order": lambda rng, n: f"SM-{rng.randrange(300)}",
    "as they come": lambda rng, n: f"SM-{n // 3:06}",
    "backwards": lambda rng, n: f"SM-{9999 - n // 3:06}",
    "half of them one child's": lambda rng, n: "SM-7" if n % 2 else f"SM-{rng.randrange(300)}",
    "one child after another": lambda rng, n: f"SM-{n // 400}",
    "all one child's": lambda rng, n: "SM-1",
    "names that go on from one another": lambda rng, n: "SM" + rng.choice(("", "\1", "-", "é", "名")) * rng.randrange(4),
}


def doses(name: str, count: int = 2000) -> pl.DataFrame:
    rng = random.Random(count)
    names = pl.Series("child_id", [NAMES[name](rng, n) for n in range(count)], dtype=pl.String)
    return pl.DataFrame({"row": pl.int_range(1, count + 1, eager=True), "child_id": names})


@pytest.fixture(autouse=True)
def small(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(partitions, "HELD", HELD)
    monkeypatch.setattr(shares, "SHARES", 4)
    monkeypatch.setattr(shares, "_SAMPLE", 10)


def put_aside(folder: Path, rows: pl.DataFrame) -> list[pl.DataFrame]:
    with Partitions(folder / "findings.csv") as kept:
        for piece in rows.iter_slices(37):
            kept.add(piece)
        return list(kept.parts())


@pytest.mark.parametrize("name", NAMES)
def test_every_dose_once_with_its_childs_others_and_never_too_many(tmp_path: Path, name: str) -> None:
    rows = doses(name)
    parts = put_aside(tmp_path, rows)
    assert pl.concat(parts).sort("row").equals(rows)
    ends = [(part["child_id"].min(), part["child_id"].max()) for part in parts]
    assert all(last < first for (_, last), (first, _) in pairwise(ends))
    assert all(len(part) <= HELD or first == last for part, (first, last) in zip(parts, ends, strict=True))
    assert all(part.select((pl.col("row").diff().over("child_id") > 0).all()).item() for part in parts)
    assert list(tmp_path.iterdir()) == [], "the folder of the work is gone"


@pytest.mark.parametrize("count", [0, 1, HELD - 1])
def test_few_doses_stay_in_memory(tmp_path: Path, count: int, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(partitions, "Shares", None)
    rows = doses("in any order", count)
    assert pl.concat([rows[:0], *put_aside(tmp_path, rows)]).equals(rows)


def test_of_a_child_with_too_many_doses_only_the_first_are_read(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(partitions, "MOST", 100)
    rows = doses("half of them one child's")
    (one,) = (part for part in put_aside(tmp_path, rows) if "SM-7" in part["child_id"])
    assert one.equals(rows.filter(pl.col("child_id") == "SM-7")[:101])


@pytest.mark.parametrize("names", [["b"], ["b", "b"], ["a", "b"], ["b", "b", "b", "c"], list("abcdefgh"), ["b"] * 9 + ["b\0"]])
def test_any_two_names_are_told_apart_in_the_end(names: list[str]) -> None:
    """One round parts the least name from the greatest, whatever else it does."""
    all_of_them = pl.Series(["a", *names, "z"])
    places = edges(pl.Series(names)).search_sorted(all_of_them, side="right")
    assert places.is_sorted() and places[0] < places[-1]


@pytest.mark.parametrize("fails", [("write",), ("close",), ("write", "close")], ids="-".join)
def test_a_full_disk_is_one_sentence_and_leaves_nothing(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, fails: tuple[str, ...]) -> None:
    def full(*_: object) -> None:
        raise OSError(errno.ENOSPC, "Error writing bytes to file. Detail: something long")

    for name in fails:
        monkeypatch.setattr(shares.Share, name, full)
    with pytest.raises(FileError, match=r"There is no room beside it for the work: No space left on device\. Make room"):
        put_aside(tmp_path, doses("in any order"))
    assert list(tmp_path.iterdir()) == []
