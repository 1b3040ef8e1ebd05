"""Refused rows put aside, byte for byte as they were given, under the header of their file: to be mended and fed back.

What is a table and not text (Parquet) is put aside as CSV.  Why each row is refused stands in a second file, so that
the first is a file of orders as it is.  The rows are the site's own text: nothing in them is changed, also not what a
spreadsheet would run.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable
from pathlib import Path
from typing import NamedTuple

import polars as pl

from dosecheck.batch.chunk import Chunk


class Aside(NamedTuple):
    """One refused row: its bytes with the end of the line, its line in the file of orders (and that file's name where there are several), and why."""

    given: bytes
    file: str
    line: int
    why: str


def aside(chunk: Chunk, refused: pl.Series, sentences: pl.Series) -> list[Aside]:
    """The refused rows of a chunk, in order.

    Args:
        refused: true for each of them.
        sentences: what the result says of each row of the chunk.
    """
    rows = refused.arg_true().to_list()
    whole = bool(chunk.given) and sum(block.rows for block in chunk.given) == len(chunk.rows)
    given = _verbatim(chunk, rows) if whole else _as_csv(_fields(chunk, rows))
    return [Aside(text, _file(chunk, row), chunk.line[row], sentences[row] or "") for row, text in zip(rows, given, strict=True)]


def header_of(chunk: Chunk) -> bytes:
    """The header line of the file, as given; empty for JSON Lines."""
    return chunk.given[0].header if chunk.given else _as_csv([tuple(chunk.rows.columns)])[0]


def reasons(rows: Iterable[Aside], line: int) -> bytes:
    """The lines of the second file.

    Args:
        line: where the first of the rows begins in the first file.
    """
    told = []
    for row in rows:
        told.append((str(line), row.file, str(row.line), row.why))
        line += row.given.count(b"\n")
    return b"".join(_as_csv(told))


REASONS_HEADER = b"line_here,file,line_in_orders,why\n"


def places(results: Path, orders: str, form: str, chosen: str | Path | None) -> tuple[Path, Path]:
    """Where the refused rows of a result go, and why: results.refused.csv and results.refused.why.csv."""
    name = f"orders.{form}" if form else Path(orders).name.lower()
    suffix = next((end for end in (".jsonl", ".ndjson", ".tsv") if end in Path(name).suffixes[-2:]), ".csv")
    bare = results.name.split(".")[0] or results.name
    first = Path(chosen) if chosen else results.with_name(f"{bare}.refused{suffix}")
    return first, first.with_name(f"{first.stem}.why.csv")


def _file(chunk: Chunk, row: int) -> str:
    return next((name for first, name in reversed(chunk.files) if first <= row), "")


def _verbatim(chunk: Chunk, rows: list[int]) -> list[bytes]:
    texts, first, asked = [], 0, iter(rows)
    row = next(asked, None)
    for block in chunk.given:
        after = first + block.rows
        lines = block.text.removesuffix(b"\n").split(b"\n") if row is not None and row < after else []
        while row is not None and row < after:
            end = chunk.line[row + 1] if row + 1 < after else block.line + len(lines)
            texts.append(_row(lines[chunk.line[row] - block.line : end - block.line]))
            row = next(asked, None)
        first = after
    return texts


def _row(lines: list[bytes]) -> bytes:
    """Without the blank lines after it."""
    while len(lines) > 1 and not lines[-1].rstrip(b"\r"):
        lines = lines[:-1]
    return b"\n".join(lines) + b"\n"


def _fields(chunk: Chunk, rows: list[int]) -> list[tuple[str | None, ...]]:
    blanked = {refused.row: refused.fields for refused in chunk.refused if refused.fields}
    return [blanked.get(row) or chunk.rows.row(row) for row in rows]


def _as_csv(rows: list[tuple[str | None, ...]]) -> list[bytes]:
    texts = []
    for row in rows:
        text = io.StringIO()
        csv.writer(text, lineterminator="\n").writerow(row)
        texts.append(text.getvalue().encode())
    return texts
