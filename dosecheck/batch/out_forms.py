"""What a writer writes: rows as CSV, TSV, JSON Lines, Arrow, Parquet or a workbook into an open file; text packed as gzip or Zstandard where asked.

When the file is put under its own name is left to `out.py`.
"""

from __future__ import annotations

import io
import re
from collections.abc import Callable, Sequence
from functools import partial
from pathlib import Path
from typing import BinaryIO, Protocol

import polars as pl
import polars.selectors as cs
import pyarrow as pa
import pyarrow.parquet as pq

from dosecheck.batch.arrow_out import Arrow
from dosecheck.batch.coded import each_text, texts_of
from dosecheck.batch.csv_cut import DELIMITERS
from dosecheck.batch.forms import STANDARD, form_of
from dosecheck.batch.parquet_out import Parquet
from dosecheck.batch.workbook_out import Workbook
from dosecheck.saving import FORMULA

_NEGATIVE_NUMBER = r"^-[0-9]+(\.[0-9]+)?$"


def no_formulas(rows: pl.DataFrame, own: Sequence[str] = ()) -> pl.DataFrame:
    """An apostrophe before each text that a spreadsheet would run; a plain negative number stays as it is.

    Args:
        own: columns that we made ourselves and that never start so.
    """
    rows = rows.with_columns(cs.categorical().cast(pl.String))
    others = [column for column in _texts(rows) if column.name not in own]
    return rows.with_columns(each_text(column, _neutral) for column in others if texts_of(column).str.contains(FORMULA).any())


def _texts(rows: pl.DataFrame) -> list[pl.Series]:
    return [column for column in rows.get_columns() if isinstance(column.dtype, pl.String | pl.Enum)]


def _neutral(texts: pl.Series) -> pl.Series:
    runs = texts.str.contains(FORMULA) & ~texts.str.contains(_NEGATIVE_NUMBER)
    return pl.select(pl.when(runs).then("'" + texts).otherwise(texts)).to_series().alias(texts.name)


def _quoted(rows: pl.DataFrame, mark: str) -> pl.DataFrame:
    """Each text as CSV has it: in quotes where it holds a quote, the mark between fields or an end of a line, or is empty."""
    special = rf'["\r\n{re.escape(mark)}]|^$'

    def quoted(texts: pl.Series) -> pl.Series:
        inside = '"' + texts.str.replace_all('"', '""', literal=True) + '"'
        return pl.select(pl.when(texts.str.contains(special)).then(inside).otherwise(texts)).to_series().alias(texts.name)

    return rows.with_columns(each_text(column, quoted) for column in _texts(rows) if texts_of(column).str.contains(special).any())


class Form(Protocol):
    """One way of writing rows into an open file: `begin`, or `go_on` with what is there in part; then `write`; then `finish`."""

    def __init__(self, file: BinaryIO, columns: Sequence[str], own: Sequence[str]) -> None: ...

    def begin(self) -> None:
        """Writes what stands before the first row."""

    def go_on(self) -> None:
        """Writes nothing: takes up what an earlier run has written, to the end of one of its chunks.

        Raises:
            ValueError: it is not what was written.
        """

    def write(self, rows: pl.DataFrame) -> None: ...

    def finish(self) -> None:
        """Writes what stands after the last row, once; after an error it only lets go of the file, which is not kept."""


class _Csv:
    def __init__(self, file: BinaryIO, columns: Sequence[str], own: Sequence[str], mark: str = ",") -> None:
        self._file, self._columns, self._own, self._mark = file, columns, own, mark

    def begin(self) -> None:
        names = pl.DataFrame([list(self._columns)], schema=[str(n) for n in range(len(self._columns))], orient="row")
        self._put(no_formulas(names))

    def go_on(self) -> None: ...

    def write(self, rows: pl.DataFrame) -> None:
        self._put(no_formulas(rows, self._own))

    def _put(self, rows: pl.DataFrame) -> None:
        # quoted here, a text of many rows is looked at once; polars looks at the field of every row, in twice the time
        _quoted(rows, self._mark).write_csv(self._file, include_header=False, separator=self._mark, quote_style="never")

    def finish(self) -> None: ...


class _Lines:
    def __init__(self, file: BinaryIO, columns: Sequence[str], own: Sequence[str]) -> None:
        self._file = file

    def begin(self) -> None: ...

    def go_on(self) -> None: ...

    def write(self, rows: pl.DataFrame) -> None:
        rows.write_ndjson(self._file)

    def finish(self) -> None: ...


class _Packed:
    """Text, every chunk of it a gzip part or a Zstandard frame of its own, without a time: the same rows give the same bytes.

    So a file that was cut between chunks is whole as far as it goes.
    """

    def __init__(self, file: BinaryIO, columns: Sequence[str], own: Sequence[str], inner: type[Form], compression: str) -> None:
        self._file, self._codec, self._text = file, pa.Codec(compression, compression_level=1), io.BytesIO()
        self._inner = inner(self._text, columns, own)

    def begin(self) -> None:
        self._inner.begin()
        self._pass_on()

    def go_on(self) -> None: ...

    def write(self, rows: pl.DataFrame) -> None:
        self._inner.write(rows)
        self._pass_on()

    def finish(self) -> None: ...

    def _pass_on(self) -> None:
        if self._text.tell():
            self._file.write(self._codec.compress(self._text.getbuffer(), asbytes=True))
            self._text.seek(0)
            self._text.truncate()


_FORMS: dict[str, Callable[..., Form]] = {
    "csv": _Csv,
    "tsv": partial(_Csv, mark=DELIMITERS["tab"]),
    "jsonl": _Lines,
    "arrow": partial(Arrow, make=pa.ipc.new_file),
    "arrows": partial(Arrow, make=pa.ipc.new_stream),
    "parquet": Parquet,
}
_PIPED = {**_FORMS, "parquet": partial(Arrow, make=pq.ParquetWriter)}


def can_go_on(path: Path) -> bool:
    """Whether a result of this name can be cut between two chunks and written further; a workbook is packed as one."""
    return form_of(path, "result").name != "xlsx"


def writer_of(path: Path, straight: bool, form: str = "") -> Callable[..., Form]:
    """How a result of this name is written.

    Args:
        straight: it is a pipe or a device; without an ending it takes CSV.
        form: of standard output, which has no ending.

    Raises:
        FileError: no result ends so.
    """
    if straight and not path.suffix and str(path) != STANDARD:
        return _Csv
    name, compression = form_of(path, "result", form)
    if name == "xlsx":
        return partial(Workbook, path=str(path))
    made = (_PIPED if straight else _FORMS)[name]
    return partial(_Packed, inner=made, compression=compression) if compression else made
