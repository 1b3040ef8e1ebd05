"""Reads CSV: UTF-8 only, one stated delimiter, each row with as many fields as the header, wholly blank lines skipped.

Most blocks take the fast way: Arrow parses them, and counts of rows and lines prove that nothing was lost.  A block
in which anything is wrong is read a second time, with its faulty rows put aside and every row numbered.
"""

from __future__ import annotations

import codecs
from collections.abc import Callable, Iterator
from typing import BinaryIO

import polars as pl
import pyarrow as pa
import pyarrow.csv as arrow_csv

from dosecheck.batch.chunk import Chunk, Given, Refused, shown, without_unfit
from dosecheck.batch.csv_cut import Block, CsvFile, Marks, Span, how_many, not_utf8

_PART = 2 << 20  # bytes that one of Arrow's threads takes at a time
Note = Callable[[arrow_csv.InvalidRow], str]


def read_csv(file: BinaryIO, path: str, delimiter: str = ",") -> Iterator[Chunk]:
    """The chunks of one CSV file; one empty chunk where there is a header alone."""
    source = CsvFile(file, path, delimiter)
    read = False
    for block in source.blocks():
        read = True
        chunk = without_unfit(_fast(block, source) or _careful(block, source))
        yield chunk._replace(given=(Given(block.line, block.text, source.header, len(chunk.rows)),))
    if not read:
        nothing = pl.DataFrame(schema=dict.fromkeys(source.names, pl.String))
        yield Chunk(nothing, pl.Series("line", [], pl.Int64), [], given=(Given(1, b"", source.header, 0),))


def _fast(block: Block, source: CsvFile) -> Chunk | None:
    """None unless every line of the block is accounted for by a good row."""
    if block.broken:
        return None
    plain = _plain(block, source.names, source.delimiter)
    if plain is not None:
        return plain
    try:
        rows = _parse(block.text, source, None)
    except pa.ArrowInvalid:  # a wrong number of fields, a byte that is not UTF-8, a row larger than a part
        return None
    if rows.height == block.lines:
        return Chunk(rows, pl.int_range(block.line, block.line + block.lines, eager=True).alias("line"), [])
    taken = _lines_taken(rows)
    if taken.sum() != block.lines:
        return None
    return Chunk(rows, _lines_from(block.line, taken), [])


def _plain(block: Block, names: list[str], delimiter: str) -> Chunk | None:
    """Without quotes and carriage returns, polars parses twice as fast, and a count proves the rest.

    Polars refuses a row with too many fields; so if there are as many delimiters as the rows need, none has too few,
    and no line is blank.
    """
    text = block.text
    if any(mark in text for mark in (b'"', b"\r", b"\0")) or text.startswith(codecs.BOM_UTF8):
        return None
    if how_many(text, delimiter) != block.lines * (len(names) - 1):
        return None
    try:
        rows = pl.read_csv(text, has_header=False, new_columns=names, separator=delimiter, infer_schema=False, quote_char=None, glob=False)
    except pl.exceptions.PolarsError:  # a row with too many fields, or a byte that is not UTF-8
        return None
    if rows.height != block.lines or rows.width != len(names):
        return None
    return Chunk(rows, pl.int_range(block.line, block.line + block.lines, eager=True).alias("line"), [])


def _parse(text: bytes, source: CsvFile, note: Note | None) -> pl.DataFrame:
    """Every field as text, an empty one as null.  With `note` nothing is skipped: it is told of each row of wrong size."""
    if text.startswith(codecs.BOM_UTF8):  # where files were joined it is text; Arrow drops the first one
        text = codecs.BOM_UTF8 + text
    table = arrow_csv.read_csv(
        pa.BufferReader(text),
        arrow_csv.ReadOptions(column_names=source.names, use_threads=note is None, block_size=_PART if note is None else len(text) + 1),
        arrow_csv.ParseOptions(
            delimiter=source.delimiter, newlines_in_values=b'"' in text, ignore_empty_lines=note is None, invalid_row_handler=note
        ),
        arrow_csv.ConvertOptions(column_types=dict.fromkeys(source.names, pa.large_string()), strings_can_be_null=True, null_values=[""]),
    )
    return pl.from_arrow(table)


def _lines_taken(rows: pl.DataFrame) -> pl.Series:
    """How many lines of the file each row takes: one, and one more for each line feed inside quotes."""
    inside = pl.all().str.count_matches("\n", literal=True).fill_null(0)
    return rows.select((1 + pl.sum_horizontal(inside)).cast(pl.Int64).alias("line")).to_series()


def _lines_from(first: int, taken: pl.Series) -> pl.Series:
    return first + taken.cum_sum() - taken


def _careful(block: Block, source: CsvFile) -> Chunk:
    """Faulty rows become rows of nulls in their places; blank lines are left out."""
    aside = sorted({*block.broken, *_undecodable(block, source)})
    wrong: list[arrow_csv.InvalidRow] = []

    def note(row: arrow_csv.InvalidRow) -> str:
        wrong.append(row)
        return "skip"

    good = _parse(_without(block.text, aside), source, note)
    places = [row.number - 1 for row in wrong]
    faults = [_fault_of(row, block.text, aside, source.marks) for row in wrong]
    order = _order(good.height, places)
    taken = pl.concat([_lines_taken(good), pl.Series("line", [lines for lines, _, _ in faults], pl.Int64)]).gather(order)
    line = _lines_from(block.line, taken)
    rows = good.select(pl.all().gather(order.set(order >= good.height, None)))
    kept = _not_blank(rows, line - block.line, block.text)
    where = zip((kept.cum_sum() - 1).gather(places), line.gather(places), faults, strict=True)
    refused = [Refused(row, number, why, shown(given)) for row, number, (_, why, given) in where]
    return Chunk(rows.filter(kept), line.filter(kept), refused)


def _undecodable(block: Block, source: CsvFile) -> list[Span]:
    text = block.text
    if _decodes(text):
        return []
    return [(start, end) for start, end in source.rows(block) if not _decodes(text[start:end])]


def _decodes(text: bytes) -> bool:
    try:
        return text.isascii() or text.decode() is not None
    except UnicodeDecodeError:
        return False


def _without(text: bytes, aside: list[Span]) -> bytes:
    """Each row of `aside` gives way to a mark, one field with its number, which Arrow reports as of wrong size."""
    pieces, at = [], 0
    for number, (start, end) in enumerate(aside):
        pieces += [text[at:start], b"\0%d\n" % number]
        at = end
    return b"".join([*pieces, text[at:]])


def _fault_of(row: arrow_csv.InvalidRow, text: bytes, aside: list[Span], marks: Marks) -> tuple[int, str, str | bytes]:
    """Lines taken, why it is refused, and the row as it was given."""
    if not row.text.startswith("\0"):
        found, lines = row.actual_columns, row.text.count("\n") + 1
        why = f"It has {found} field{'s' * (found != 1)}; the header has {row.expected_columns}."
        why += (
            f" A quote makes one row of {lines} lines." if lines > 1 else f" A {marks.name} inside a field needs quotes around the field."
        )
        return lines, why, row.text
    start, end = aside[int(row.text[1:])]
    given = text[start:end]
    try:
        given.decode()
        why = marks.fault(given)
    except UnicodeDecodeError as error:
        why = not_utf8(error)
    return given.count(b"\n"), why, given


def _order(good: int, places: list[int]) -> pl.Series:
    """For each row of the block its index among the good rows followed by the wrong ones, which stand at `places`."""
    wrong = pl.repeat(False, good + len(places), eager=True).scatter(places, True)
    return pl.concat([(~wrong).arg_true(), wrong.arg_true()]).arg_sort().cast(pl.Int64)


def _not_blank(rows: pl.DataFrame, at: pl.Series, text: bytes) -> pl.Series:
    """False for the rows that are no more than a blank line; `at` counts lines of `text` from 0."""
    kept = pl.repeat(True, rows.height, eager=True)
    empty = rows.select(pl.all_horizontal(pl.all().is_null())).to_series()
    if not empty.any():
        return kept
    lines = text.split(b"\n")
    blank = [row for row in empty.arg_true() if lines[at[row]] in (b"", b"\r")]
    return kept.scatter(blank, False)
