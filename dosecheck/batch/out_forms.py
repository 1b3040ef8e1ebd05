"""What a writer writes: rows as CSV, TSV, JSON Lines, Arrow, Parquet or a workbook into an open file; text packed as gzip or Zstandard where asked.

When the file is put under its own name is left to `out.py`.
"""

from __future__ import annotations

import io
from collections.abc import Callable, Sequence
from functools import partial
from pathlib import Path
from typing import Any, BinaryIO, Protocol

import polars as pl
import polars.selectors as cs
import pyarrow as pa
import pyarrow.parquet as pq

from dosecheck.batch.csv_cut import DELIMITERS
from dosecheck.batch.forms import STANDARD, form_of
from dosecheck.batch.workbook_out import Workbook
from dosecheck.saving import FORMULA

_NEGATIVE_NUMBER = r"^-[0-9]+(\.[0-9]+)?$"


def no_formulas(rows: pl.DataFrame, own: Sequence[str] = ()) -> pl.DataFrame:
    """An apostrophe before each text that a spreadsheet would run; a plain negative number stays as it is.

    Args:
        own: columns that we made ourselves and that never start so.
    """
    rows = rows.with_columns(cs.categorical().cast(pl.String), cs.enum().cast(pl.String))
    risky = [s.name for s in rows.select((cs.string() - cs.by_name(own)).str.contains(FORMULA).any()) if s[0]]
    return rows.with_columns(map(_neutral, risky))


def _neutral(name: str) -> pl.Expr:
    text = pl.col(name)
    runs = text.str.contains(FORMULA) & ~text.str.contains(_NEGATIVE_NUMBER)
    return pl.when(runs).then("'" + text).otherwise(text).alias(name)


class _Form(Protocol):
    """One way of writing rows into an open file."""

    def __init__(self, file: BinaryIO, columns: Sequence[str], own: Sequence[str]) -> None: ...
    def write(self, rows: pl.DataFrame) -> None: ...
    def finish(self) -> None: ...


class _Csv:
    def __init__(self, file: BinaryIO, columns: Sequence[str], own: Sequence[str], mark: str = ",") -> None:
        self._file, self._mark, self._own = file, mark, ()
        self.write(pl.DataFrame([list(columns)], schema=[str(n) for n in range(len(columns))], orient="row"))
        self._own = own

    def write(self, rows: pl.DataFrame) -> None:
        no_formulas(rows, self._own).write_csv(self._file, include_header=False, separator=self._mark)

    def finish(self) -> None: ...


class _Lines:
    def __init__(self, file: BinaryIO, columns: Sequence[str], own: Sequence[str]) -> None:
        self._file = file

    def write(self, rows: pl.DataFrame) -> None:
        rows.write_ndjson(self._file)

    def finish(self) -> None: ...


class _Table:
    """Parquet, or an Arrow file or stream, by `make`.  The first rows fix the types; a column of nulls alone is text."""

    def __init__(self, file: BinaryIO, columns: Sequence[str], own: Sequence[str], make: Callable) -> None:
        self._file, self._columns, self._make = file, columns, make
        self._types: dict[str, pl.DataType] = {}
        self._writer: Any = None

    def write(self, rows: pl.DataFrame) -> None:
        if self._writer is None:
            self._types = {
                name: pl.String() if kind == pl.Null or isinstance(kind, pl.Enum) else kind for name, kind in rows.schema.items()
            }
        table = rows.cast(self._types).to_arrow()
        if self._writer is None:
            self._writer = self._make(self._file, table.schema)
        self._writer.write_table(table)

    def finish(self) -> None:
        if self._writer is None:
            self.write(pl.DataFrame(schema=dict.fromkeys(self._columns, pl.String)))
        self._writer.close()


class _Packed:
    """Text, every chunk of it a gzip part or a Zstandard frame of its own, without a time: the same rows give the same bytes.

    So a file that was cut between chunks is whole as far as it goes.
    """

    def __init__(self, file: BinaryIO, columns: Sequence[str], own: Sequence[str], inner: type[_Form], compression: str) -> None:
        self._file, self._codec, self._text = file, pa.Codec(compression, compression_level=1), io.BytesIO()
        self._inner = inner(self._text, columns, own)
        self._pass_on()

    def write(self, rows: pl.DataFrame) -> None:
        self._inner.write(rows)
        self._pass_on()

    def finish(self) -> None:
        self._inner.finish()
        self._pass_on()

    def _pass_on(self) -> None:
        if self._text.tell():
            self._file.write(self._codec.compress(self._text.getbuffer(), asbytes=True))
            self._text.seek(0)
            self._text.truncate()


_FORMS: dict[str, Callable[..., _Form]] = {
    "csv": _Csv,
    "tsv": partial(_Csv, mark=DELIMITERS["tab"]),
    "jsonl": _Lines,
    "arrow": partial(_Table, make=pa.ipc.new_file),
    "arrows": partial(_Table, make=pa.ipc.new_stream),
    "parquet": partial(_Table, make=pq.ParquetWriter),
}


def can_go_on(path: Path) -> bool:
    """Whether a result of this name can be cut between two chunks and written further."""
    return form_of(path, "result").name in ("csv", "tsv", "jsonl")


def writer_of(path: Path, straight: bool, form: str = "") -> Callable[..., _Form]:
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
    return partial(_Packed, inner=_FORMS[name], compression=compression) if compression else _FORMS[name]
