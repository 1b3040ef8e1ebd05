"""Two results of the same orders: whose outcome changed, which orders are new, which are gone.

Orders are matched by `order_id`; where either file has no such column, by the number of the row.  An id that stands twice in
either file matches nothing and is named, and so are rows without one: nothing is guessed, and the numbers add up.
"""

from __future__ import annotations

import os
from typing import Any, NamedTuple

import polars as pl

from dosecheck.batch.colmap import ColumnMap
from dosecheck.records import NOT_CHECKED, OUTCOMES, QUERY, STOP, WITHIN
from dosecheck.reports.orders.results import read_results

_NAMED = 20
_RANK = {WITHIN: 0, QUERY: 1, NOT_CHECKED: 2, STOP: 3}


class Change(NamedTuple):
    """One order whose outcome changed; `was` is the order as it was written before, where that differs."""

    row: int
    order_id: str | None
    order: str
    was: str
    before: str
    after: str


class Apart(NamedTuple):
    """Orders that stand in one file alone, or that cannot be matched: how many, and the first of them by id or row."""

    count: int
    first: tuple[str, ...]

    @property
    def words(self) -> str:
        more = f" and {self.count - len(self.first):,} more" if self.count > len(self.first) else ""
        return ", ".join(self.first) + more


class TwoRuns(NamedTuple):
    """`table`: (outcome before, outcome now) to number of orders; `rows`: of the file before and of this one."""

    before: str
    matched_by: str
    rows: tuple[int, int]
    table: dict[tuple[str, str], int]
    changed: int
    changes: tuple[Change, ...]
    other_findings: int
    new: Apart
    gone: Apart
    twice: Apart
    without: tuple[int, int]
    left_out: tuple[int, int]

    @property
    def matched(self) -> int:
        return sum(self.table.values())


def compare(before: str, now: str, most: int, columns: ColumnMap | None = None) -> TwoRuns:
    """Reads both results once for who is who, and once more for the words of the orders that changed.

    Memory holds an id, an outcome and a print of the codes for each row of both.

    Args:
        before, now: files that `dosecheck batch` wrote.
        most: how many changed orders to name.
        columns: the map that the orders were checked with.

    Raises:
        FileError: one of them is no result.
    """
    old, new = (pl.concat(map(_key, read_results(path, columns))) for path in (before, now))
    runs, changed = _matched(old, new, os.path.basename(before))
    first = _worst_first(changed).head(most)
    words = [_words(path, columns, first[name]) if len(first) else {} for path, name in ((before, "row before"), (now, "row"))]
    return runs._replace(changes=tuple(_change(row, *words) for row in first.iter_rows(named=True)))


def _key(frame: pl.DataFrame) -> pl.DataFrame:
    return frame.select("row", "order_id", pl.col("outcome").cast(pl.Enum(OUTCOMES)), codes=pl.col("codes").fill_null("").hash())


def _words(path: str, columns: ColumnMap | None, rows: pl.Series) -> dict[int, str]:
    """What each of these rows orders."""
    wanted = rows.implode()
    found = (frame.filter(pl.col("row").is_in(wanted)) for frame in read_results(path, columns))
    return {row["row"]: order_words(row) for frame in found for row in frame.iter_rows(named=True)}


def _matched(old: pl.DataFrame, new: pl.DataFrame, name: str) -> tuple[TwoRuns, pl.DataFrame]:
    """The comparison without its changes, and the rows that changed."""
    by_id = not (old["order_id"].is_null().all() or new["order_id"].is_null().all())
    key = pl.col("order_id") if by_id else pl.col("row").cast(pl.String)
    old, new = old.with_columns(key=key), new.with_columns(key=key)
    twice = pl.concat([_twice(old), _twice(new)]).unique(maintain_order=True)
    left, right = (
        each.filter(pl.col("key").is_not_null()).join(twice.to_frame(), on="key", how="anti", maintain_order="left") for each in (old, new)
    )
    both = right.join(left, on="key", how="inner", suffix=" before", maintain_order="left")
    changed = both.filter(pl.col("outcome") != pl.col("outcome before"))
    same = both.filter((pl.col("outcome") == pl.col("outcome before")) & (pl.col("codes") != pl.col("codes before")))
    without = (old["key"].null_count(), new["key"].null_count())
    runs = TwoRuns(
        name,
        "order_id" if by_id else "row",
        (old.height, new.height),
        {(str(a), str(b)): n for a, b, n in both.group_by("outcome before", "outcome").len().sort("outcome before", "outcome").iter_rows()},
        changed.height,
        (),
        same.height,
        _apart(right.join(left, on="key", how="anti", maintain_order="left")["key"]),
        _apart(left.join(right, on="key", how="anti", maintain_order="left")["key"]),
        _apart(twice),
        without,
        (old.height - left.height - without[0], new.height - right.height - without[1]),
    )
    return runs, changed


def _twice(rows: pl.DataFrame) -> pl.Series:
    told = rows["key"].drop_nulls()
    return told.filter(told.is_duplicated()).unique(maintain_order=True)


def _apart(keys: pl.Series) -> Apart:
    return Apart(len(keys), tuple(keys.head(_NAMED)))


def _worst_first(changed: pl.DataFrame) -> pl.DataFrame:
    """Those that became a stop first, then not-checked, then query; among them those that were better before."""
    ranks = {name: pl.col(name).cast(pl.String).replace_strict(_RANK, return_dtype=pl.Int8) for name in ("outcome", "outcome before")}
    ranked = changed.with_columns(now=ranks["outcome"], then=ranks["outcome before"])
    return ranked.sort("now", "then", "row", descending=[True, False, False])


def order_words(row: dict[str, Any]) -> str:
    """ "paracetamol 210 mg at 14.2 kg"; what the file does not tell is left out."""
    what = f"{row['medicine'] or '(no medicine)'} {row['dose'] or '(no dose)'}"
    return what + (f" at {row['weight']}" if row["weight"] else "")


def _change(row: dict[str, Any], before: dict[int, str], now: dict[int, str]) -> Change:
    order, was = now[row["row"]], before[row["row before"]]
    return Change(row["row"], row["order_id"], order, "" if order == was else was, row["outcome before"], row["outcome"])
