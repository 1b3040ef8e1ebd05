"""What the readers of order files hand on: a `Chunk` of rows, all text, and the rows that were `Refused`.

Nothing here knows medicine.  An empty field is null: nothing was given.  A refused row stays in its place as a
row of nulls, so that rows in = answers + refusals; `refused` says why, in words fit to be shown.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import NamedTuple

import polars as pl
import polars.selectors as cs

from dosecheck.batch.coded import Codes

LONGEST_FIELD = 131_072  # characters
LONGEST_ROW = 1 << 20  # bytes: where no end of a row is found within it, the file is refused
CHUNK_BYTES = 8 << 20
CHUNK_ROWS = 200_000
ENOUGH_ROWS, ENOUGH_BYTES = 300_000, 24 << 20  # small chunks are put together to that many rows, or that much text


class Refused(NamedTuple):
    """One row that cannot be read: its index in the chunk, its line in the file, why, and its text shown safely.

    `file` is the name of the file where there are several; `fields` all of the row, where the reader has them.
    """

    row: int
    line: int
    why: str
    text: str
    file: str = ""
    fields: tuple[str | None, ...] = ()

    @property
    def place(self) -> str:
        """ "line 3", or "ward-b.csv, line 3"; "" where the line is not known."""
        line = f"line {self.line}" if self.line else ""
        return f"{shown(self.file)}, {line}" if self.file else line


class Given(NamedTuple):
    """Whole lines of a text file as they stand there; they hold `rows` rows; `line` is the number of the first, `header` that of the file."""

    line: int
    text: bytes
    header: bytes
    rows: int


class Chunk(NamedTuple):
    """Some rows of a file, in file order; there is at least one chunk, so the columns are always known.

    rows: one row an order; every column of the file and no other, all pl.String, or pl.Enum where the file keeps codes for few texts.
    line: Int64, the line of the file on which each row begins; in Parquet the number of the row, from 1; 0 where it is not known.
    files: where there are several, the index of the first row of each and its name.
    given: the text of all the rows, in order; none where the file is no text.
    later: columns that the file may name later; no row of this chunk has (JSON Lines).
    """

    rows: pl.DataFrame
    line: pl.Series
    refused: list[Refused]
    files: tuple[tuple[int, str], ...] = ()
    given: tuple[Given, ...] = ()
    later: tuple[str, ...] = ()

    @property
    def named(self) -> list[str]:
        """The columns that the file itself names."""
        return [name for name in self.rows.columns if name not in self.later]

    @property
    def first_line(self) -> int | None:
        """Line of the first row; None in a chunk without rows."""
        return self.line[0] if len(self.line) else None


def shown(text: str | bytes, most: int = 200) -> str:
    """At most `most` characters, with hidden characters and odd bytes as escapes such as \\xb5."""
    if isinstance(text, bytes):
        text = text[: 5 * most].decode("utf-8", "backslashreplace")
    short = text if len(text) <= most else text[:most] + " ..."
    return "".join(c if c.isprintable() else c.encode("unicode_escape").decode() for c in short)


def plain(chunk: Chunk) -> Chunk:
    """With every column as pl.String."""
    return chunk._replace(rows=chunk.rows.cast(pl.String))


def in_codes(chunks: Iterable[Chunk]) -> Iterator[Chunk]:
    """With the columns of few texts coded."""
    codes = Codes()
    for chunk in chunks:
        yield chunk._replace(rows=codes.coded(chunk.rows))


def without_unfit(chunk: Chunk) -> Chunk:
    """Refuse the rows that hold a field of more than LONGEST_FIELD characters; columns that are coded hold none."""
    texts = chunk.rows.select(cs.string())
    longest = texts.select(pl.all().str.len_bytes().max())
    if all(size is None or size <= LONGEST_FIELD for size in (longest.row(0) if longest.width else ())):
        return chunk
    return refuse_fields(chunk, cs.string().str.len_chars() > LONGEST_FIELD, f"A field has more than {LONGEST_FIELD:,} characters.")


def refuse_fields(chunk: Chunk, unfit: pl.Expr, why: str) -> Chunk:
    """Blank each row with a field for which `unfit`, of columns of text, is true, and list it as refused."""
    marks = chunk.rows.select(unfit.fill_null(False))
    bad = pl.Series([False]) if not marks.width else marks.select(pl.any_horizontal(pl.all())).to_series()
    if not bad.any():
        return chunk
    refused = list(chunk.refused)
    texts = chunk.rows.select(marks.columns)
    for row in bad.arg_true():
        fields = (text for text, mark in zip(texts.row(row), marks.row(row), strict=True) if mark)
        refused.append(Refused(row, chunk.line[row], why, shown(next(fields)), fields=chunk.rows.row(row)))
    rows = chunk.rows.select(pl.when(~bad).then(pl.all()))
    return chunk._replace(rows=rows, refused=sorted(refused))
