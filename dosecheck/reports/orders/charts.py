"""The findings of `dosecheck batch charts`, whose doses were added up for each child: how many, and the first to look at."""

from __future__ import annotations

import os
from collections import Counter
from typing import NamedTuple

import polars as pl

from dosecheck.batch.files import read_orders
from dosecheck.errors import FileError
from dosecheck.records import NOT_CHECKED, OUTCOMES, QUERY, STOP

_NEEDED = ("child_id", "ingredient", "outcome", "code", "at", "rows", "sentence")
_WORST_FIRST = {STOP: 0, NOT_CHECKED: 1, QUERY: 2}


class ChartFinding(NamedTuple):
    """One finding about a child's doses of one ingredient; `rows` are those of the file of doses."""

    child_id: str
    ingredient: str
    outcome: str
    code: str
    at: str
    rows: str
    sentence: str


class ChartFindings(NamedTuple):
    """All that is told of one file of findings; `first` of `outcomes.total()`."""

    name: str
    outcomes: Counter[str]
    codes: tuple[tuple[str, Counter[str]], ...]
    first: tuple[ChartFinding, ...]


def read_charts(path: str, most: int) -> ChartFindings:
    """Args:
        most: how many findings to name: stops, then what was not checked, then queries; each by child and time, as in the file.

    Raises:
        FileError: it is no file of findings.
    """
    outcomes, codes = Counter(), {}
    first = pl.DataFrame(schema={**dict.fromkeys(_NEEDED, pl.String), "rank": pl.Int8})
    for chunk in read_orders(path):
        rows = _fair(path, chunk.rows)
        outcomes.update(dict(rows["outcome"].value_counts().iter_rows()))
        for code, outcome, count in rows.group_by("code", "outcome").len().iter_rows():
            codes.setdefault(code or "", Counter())[outcome] += count
        ranked = rows.with_columns(rank=pl.col("outcome").replace_strict(_WORST_FIRST, return_dtype=pl.Int8))
        first = pl.concat([first, ranked]).sort("rank", maintain_order=True).head(most)
    told = tuple(ChartFinding(*(text or "" for text in row)) for row in first.drop("rank").iter_rows())
    by_code = sorted(codes.items(), key=lambda item: (-item[1].total(), item[0]))
    return ChartFindings(os.path.basename(path), outcomes, tuple(by_code), told)


def _fair(path: str, rows: pl.DataFrame) -> pl.DataFrame:
    missing = [name for name in _NEEDED if name not in rows.columns]
    if missing:
        write = "Name the file that dosecheck batch charts wrote."
        raise FileError(path, f'It has no column "{missing[0]}", so it holds no findings of charts.', write)
    odd = rows.filter(~pl.col("outcome").is_in(list(_WORST_FIRST)).fill_null(False))
    if odd.height:
        raise FileError(path, f'A finding has the outcome "{odd["outcome"][0]}".', f"It is one of {', '.join(OUTCOMES[1:])}.")
    return rows.select(_NEEDED)
