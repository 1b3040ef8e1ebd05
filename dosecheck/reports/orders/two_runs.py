"""Two results of the same orders: whose outcome changed, which orders are new, which are gone.

Orders are matched by `order_id`; where either file has no such column, by the number of the row.  An id that stands twice in
either file matches nothing and is named, and so are rows without one: nothing is guessed, and the numbers add up.
"""

from __future__ import annotations

import os
from collections import Counter
from itertools import product
from typing import Any, NamedTuple

import polars as pl

from dosecheck.batch.colmap import ColumnMap
from dosecheck.records import NOT_CHECKED, OUTCOMES, QUERY, STOP, WITHIN
from dosecheck.reports.orders.paired import Paired
from dosecheck.reports.orders.results import read_results

_NAMED = 20
_OUTCOME = pl.Enum(OUTCOMES)
_KEYED = pl.Schema({"row": pl.Int64, "order_id": pl.String, "key": pl.String, "outcome": _OUTCOME, "codes": pl.UInt64})
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

    Args:
        before, now: files that `dosecheck batch` wrote.
        most: how many changed orders to name.
        columns: the map that the orders were checked with.

    Raises:
        FileError: one of them is no result, or there is no room for the work.
    """
    paths = (before, now)
    by_id = all(any(frame["order_id"].count() for frame in read_results(path, columns)) for path in paths)
    matching = _Matching(most)
    with Paired(now, _KEYED) as paired:
        for side, path in enumerate(paths):
            for frame in read_results(path, columns):
                matching.count(side, keyed := _key(frame, by_id))
                paired.add(side, keyed.drop_nulls("key"))
        for old, new in paired.parts():
            matching.add(old, new)
    first = matching.changes
    words = [_words(path, columns, first[name]) if len(first) else {} for path, name in ((before, "row before"), (now, "row"))]
    runs = matching.told(os.path.basename(before), "order_id" if by_id else "row")
    return runs._replace(changes=tuple(_change(row, *words) for row in first.iter_rows(named=True)))


def _key(frame: pl.DataFrame, by_id: bool) -> pl.DataFrame:
    key = pl.col("order_id") if by_id else pl.col("row").cast(pl.String)
    return frame.select("row", "order_id", key=key, outcome=pl.col("outcome").cast(_OUTCOME), codes=pl.col("codes").fill_null("").hash())


def _words(path: str, columns: ColumnMap | None, rows: pl.Series) -> dict[int, str]:
    """What each of these rows orders."""
    wanted = rows.implode()
    found = (frame.filter(pl.col("row").is_in(wanted)) for frame in read_results(path, columns))
    return {row["row"]: order_words(row) for frame in found for row in frame.iter_rows(named=True)}


class _Matching:
    """What is known of the keys that were matched so far; as large with all of them as with the first.

    Args:
        most: how many changed orders to keep.
    """

    def __init__(self, most: int) -> None:
        self._most, self.changes = most, pl.DataFrame()
        self._rows, self._without, self._left_out = [0, 0], [0, 0], [0, 0]
        self._table: Counter[tuple[str, str]] = Counter()
        self._other_findings = 0
        self._apart = {name: _First() for name in ("new", "gone", "twice")}

    def count(self, side: int, frame: pl.DataFrame) -> None:
        self._rows[side] += len(frame)
        self._without[side] += frame["key"].null_count()

    def add(self, old: pl.DataFrame, new: pl.DataFrame) -> None:
        """All rows of both that have some keys."""
        twice = pl.concat([_twice(old, 0), _twice(new, 1)]).unique("key", keep="first", maintain_order=True)
        left, right = (each.join(twice, on="key", how="anti", maintain_order="left") for each in (old, new))
        self._left_out = [
            out + len(all_of_it) - len(kept) for out, all_of_it, kept in zip(self._left_out, (old, new), (left, right), strict=True)
        ]
        both = right.join(left, on="key", how="inner", suffix=" before", maintain_order="left")
        differs = pl.col("outcome") != pl.col("outcome before")
        counted = both.group_by("outcome before", "outcome").len()
        self._table.update({(before, after): count for before, after, count in counted.iter_rows()})
        self._other_findings += both.filter(~differs & (pl.col("codes") != pl.col("codes before"))).height
        self.changes = _worst_first(pl.concat([self.changes, both.filter(differs)], how="diagonal")).head(self._most)
        self._apart["new"].add(right.join(left, on="key", how="anti").with_columns(side=1))
        self._apart["gone"].add(left.join(right, on="key", how="anti").with_columns(side=0))
        self._apart["twice"].add(twice)

    def told(self, before: str, matched_by: str) -> TwoRuns:
        """All of it but the words of the changes."""
        table = {pair: self._table[pair] for pair in product(OUTCOMES, OUTCOMES) if self._table[pair]}
        changed = sum(count for (was, now), count in table.items() if was != now)
        counts = (tuple(self._rows), table, changed, (), self._other_findings)
        apart = {name: first.told() for name, first in self._apart.items()}
        return TwoRuns(before, matched_by, *counts, **apart, without=tuple(self._without), left_out=tuple(self._left_out))


class _First:
    """How many keys, and the first of them: those of the earlier file first, in the order of their rows."""

    def __init__(self) -> None:
        self._count = 0
        self._first = pl.DataFrame(schema={"key": pl.String, "side": pl.Int32, "row": pl.Int64})

    def add(self, rows: pl.DataFrame) -> None:
        self._count += len(rows)
        kept = rows.select("key", pl.col("side").cast(pl.Int32), "row")
        self._first = pl.concat([self._first, kept]).sort("side", "row").head(_NAMED)

    def told(self) -> Apart:
        return Apart(self._count, tuple(self._first["key"]))


def _twice(rows: pl.DataFrame, side: int) -> pl.DataFrame:
    """Each key that stands more than once, with the first of its rows."""
    return (
        rows.filter(pl.col("key").is_duplicated()).group_by("key", maintain_order=True).agg(pl.col("row").first()).with_columns(side=side)
    )


def _worst_first(changed: pl.DataFrame) -> pl.DataFrame:
    """Those that became a stop first, then not-checked, then query; among them those that were better before."""
    ranks = {name: pl.col(name).cast(pl.String).replace_strict(_RANK, return_dtype=pl.Int8) for name in ("outcome", "outcome before")}
    ranked = changed.with_columns(now=ranks["outcome"], then=ranks["outcome before"])
    return ranked.sort("now", "then", "row", descending=[True, False, False])


def order_words(row: dict[str, Any]) -> str:
    """ "paracetamol 210 mg at 14.2 kg"; what the file does not tell is left out."""
    what = f"{row['medicine'] or '(no medicine)'} {row['dose'] or '(no dose)'}"
    return what + (f" at {row['weight']}" if row["weight"] else "")


def how_words(row: dict[str, Any]) -> str:
    """ "oral, every 6 hours, oral-liquid-120-in-5": what else was written of how it is given, in its own words."""
    every = row["every"] and (f"every {row['every']}" if row["every"][0].isdigit() and "day" not in row["every"] else row["every"])
    times, once = row["times_a_day"] and f"{row['times_a_day']} times a day", row["once"] and f"once: {row['once']}"
    return ", ".join(filter(None, (row["route"], every, times, once, row["product"])))


def _change(row: dict[str, Any], before: dict[int, str], now: dict[int, str]) -> Change:
    order, was = now[row["row"]], before[row["row before"]]
    return Change(row["row"], row["order_id"], order, "" if order == was else was, row["outcome before"], row["outcome"])
