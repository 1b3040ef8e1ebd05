"""Reads orders from Parquet and Arrow, as text.

Amounts must be written as text with their unit: a bare number says nothing of the unit, and a binary float is not
what was written.
"""

from __future__ import annotations

import io
from collections.abc import Iterable, Iterator
from functools import partial
from typing import BinaryIO

import polars as pl
import polars.selectors as cs
import pyarrow as pa
import pyarrow.parquet as pq

from dosecheck.batch.chunk import (
    CHUNK_ROWS,
    ENOUGH_ROWS,
    LONGEST_FIELD,
    Chunk,
    refuse_fields,
    shown,
    without_unfit,
)
from dosecheck.batch.coded import of_codes
from dosecheck.errors import FileError

_ARROW = b"ARROW1"
_STREAM_ENDS = b"\xff\xff\xff\xff\0\0\0\0"
_PIECE_ROWS, _ENOUGH_BYTES = 10_000, 64 << 20  # read at a time, so that long texts make no chunk larger than this
_CODE_BYTES, _SPARE_BYTES = 4, 1 << 16  # codes take at most so many bytes a row, and so many more for the texts

_parquet = partial(pq.ParquetFile, pre_buffer=False)  # what Arrow reads ahead it keeps to the end of the file


def read_parquet(file: BinaryIO, path: str) -> Iterator[Chunk]:
    """Columns of text, dates, moments, whole numbers or decimals; `line` is the number of the row, from 1.

    Texts that the file keeps as codes, since they are few, stay so.
    """
    try:
        source = _parquet(file)
        check_schema(source.schema_arrow, path)
        coded = [name for place, name in enumerate(source.schema_arrow.names) if _few_texts(source, place)]
        yield from _batches(_parquet(file, metadata=source.metadata, read_dictionary=coded) if coded else source, path)
    except (pa.ArrowException, OSError) as error:
        why = f"It cannot be read as Parquet: {shown(str(error).strip())}"
        raise FileError(path, why, "Export it again.") from error


def _few_texts(source: pq.ParquetFile, place: int) -> bool:
    """Whether a column of text is kept as codes in the file's first part, so that a row of it takes but a few bytes."""
    if not (source.num_row_groups and _is_text(source.schema_arrow.field(place).type)):
        return False
    first = source.metadata.row_group(0).column(place)
    return first.has_dictionary_page and first.total_uncompressed_size <= _CODE_BYTES * first.num_values + _SPARE_BYTES


def check_schema(schema: pa.Schema, path: str) -> None:
    """That each column has a name of its own and a type that can be read as text.

    Raises:
        FileError: the first fault; `path` says of what.
    """
    twice = sorted({name for name in schema.names if schema.names.count(name) > 1})
    if twice or not schema.names:
        raise FileError(path, f'It has two columns "{twice[0]}".' if twice else "It has no columns.", "Name each column once.")
    for field in schema:
        _refuse_type(field, path)


def _batches(source: pq.ParquetFile, path: str) -> Iterator[Chunk]:
    rows = 0
    for chunk in _chunks_of(source.schema_arrow, together(source.iter_batches(min(_PIECE_ROWS, ENOUGH_ROWS)), ENOUGH_ROWS), path):
        rows += chunk.rows.height
        yield chunk
    if rows != source.metadata.num_rows:
        raise FileError(path, f"It holds {rows:,} rows and says {source.metadata.num_rows:,}.", "Export it again.")


def together(batches: Iterable[pa.RecordBatch], enough: int) -> Iterator[pa.Table]:
    """Batches put together to at least so many rows, or to as many as _ENOUGH_BYTES hold; Arrow ends one wherever the codes change."""
    held: list[pa.RecordBatch] = []
    for batch in batches:
        held.append(batch)
        if sum(each.num_rows for each in held) >= enough or sum(each.nbytes for each in held) >= _ENOUGH_BYTES:
            yield pa.Table.from_batches(held)
            held = []
    if held:
        yield pa.Table.from_batches(held)


def read_arrow(file: BinaryIO, path: str) -> Iterator[Chunk]:
    """An Arrow file or stream, whichever it is; what is true of the columns of Parquet is true of these."""
    try:
        if file.peek(len(_ARROW))[: len(_ARROW)] == _ARROW:
            source = pa.ipc.open_file(file)
            yield from _chunks_of(source.schema, _sliced(map(source.get_batch, range(source.num_record_batches))), path)
        else:
            tail = _Tail(file)
            stream = pa.ipc.open_stream(pa.PythonFile(tail, "r"))
            yield from _chunks_of(stream.schema, _sliced(stream), path)
            if tail.last != _STREAM_ENDS:
                raise FileError(path, "Its mark of the end is missing: it is cut short.", "Export it again.")
    except (pa.ArrowException, OSError) as error:
        why = f"It cannot be read as Arrow: {shown(str(error).strip())}"
        raise FileError(path, why, "Export it again.") from error


class _Tail(io.RawIOBase):
    """Remembers the last bytes read: a stream that ends without its mark reads like a whole one."""

    def __init__(self, file: BinaryIO) -> None:
        self._file, self.last = file, b""

    def readable(self) -> bool:
        return True

    def read(self, size: int = -1) -> bytes:
        piece = self._file.read(size)
        self.last = (self.last + piece[-len(_STREAM_ENDS) :])[-len(_STREAM_ENDS) :]
        return piece


def _sliced(batches: Iterable[pa.RecordBatch]) -> Iterator[pa.Table]:
    piece = min(_PIECE_ROWS, CHUNK_ROWS)
    for batch in batches:
        yield from together((batch.slice(at, piece) for at in range(0, batch.num_rows, piece)), CHUNK_ROWS)


def _chunks_of(schema: pa.Schema, batches: Iterable[pa.Table], path: str) -> Iterator[Chunk]:
    check_schema(schema, path)
    first = 1
    for batch in batches:
        yield chunk_of(batch, numbers(first, batch.num_rows))
        first += batch.num_rows
    if first == 1:
        yield chunk_of(schema.empty_table(), numbers(first, 0))


def _refuse_type(field: pa.Field, path: str) -> None:
    kind = field.type.value_type if pa.types.is_dictionary(field.type) else field.type
    exact = (_is_text, pa.types.is_date, pa.types.is_integer, pa.types.is_null, pa.types.is_decimal, pa.types.is_timestamp)
    if not any(is_so(kind) for is_so in exact):
        write = "Write amounts as text with their unit."
        raise FileError(path, f'The column "{shown(field.name)}" is of type {kind}, not text.', write)


def _is_text(kind: pa.DataType) -> bool:
    return pa.types.is_string(kind) or pa.types.is_large_string(kind) or pa.types.is_string_view(kind)


def numbers(first: int, rows: int) -> pl.Series:
    """The numbers of so many rows, from the first one's."""
    return pl.int_range(first, first + rows, eager=True).alias("line")


def chunk_of(batch: pa.RecordBatch | pa.Table, line: pl.Series) -> Chunk:
    """The rows as text; columns of a schema that `check_schema` let through, `line` the number of each row.

    Raises:
        pa.ArrowException: it holds what it should not, such as text that is not UTF-8.
    """
    batch.validate(full=True)  # that all text is UTF-8, above all
    columns = {name: _coded(column) for name, column in zip(batch.schema.names, batch.columns, strict=True)}
    texts = {name: _as_text(batch.column(name)) if column is None else column for name, column in columns.items()}
    rows = pl.DataFrame(texts).with_columns(pl.when(cs.string() != "").then(cs.string()))  # an empty text is not given
    chunk = without_unfit(Chunk(rows, line, []))
    return refuse_fields(chunk, cs.string().str.contains("\0", literal=True), "A field holds a NUL character. Type it again.")


def _coded(column: pa.Array | pa.ChunkedArray) -> pl.Series | None:
    """Texts kept as codes, as they are; None where there are no codes, or where a text may be refused, or stands there twice."""
    if not (pa.types.is_dictionary(column.type) and _is_text(column.type.value_type)):
        return None
    if column.null_count == len(column):
        return pl.Series([None], dtype=pl.Enum([])).new_from_index(0, len(column))
    chunks = column.unify_dictionaries().chunks if isinstance(column, pa.ChunkedArray) else [column]
    if not chunks:
        return None
    texts = pl.Series(chunks[0].dictionary, dtype=pl.String)
    unfit = texts.str.contains("\0", literal=True) | (texts.str.len_bytes() > LONGEST_FIELD)
    if texts.null_count() or texts.n_unique() < len(texts) or unfit.any():
        return None
    column = of_codes(pa.chunked_array([each.indices for each in chunks]), texts)
    return column if "" not in texts else column.set(column == "", None)  # an empty text is not given


def _as_text(column: pa.Array | pa.ChunkedArray) -> pl.Series:
    """Dates as 2021-04-03, moments as 2021-04-03T13:10:00 (with +01:00 or Z where a time zone is known), decimals as their digits."""
    if pa.types.is_dictionary(column.type) and pa.types.is_string_view(column.type.value_type):
        return pl.Series(column).cast(pl.String)  # Arrow cannot take from such texts
    if pa.types.is_dictionary(column.type) and not _is_text(column.type.value_type):
        column = column.cast(column.type.value_type)
    if pa.types.is_date64(column.type):
        column = column.cast(pa.date32())
    if pa.types.is_decimal(column.type):
        return pl.Series([None if value is None else format(value, "f") for value in column.to_pylist()], dtype=pl.String)
    text = pl.Series(column if _is_text(column.type) else column.cast(pa.string()), dtype=pl.String)
    if pa.types.is_timestamp(column.type):
        text = text.str.replace(" ", "T", literal=True).str.replace(r"\.0+(Z|[+-]\d{4})?$", "$1")
        return text.str.replace(r"([+-]\d\d)(\d\d)$", "$1:$2")
    return text
