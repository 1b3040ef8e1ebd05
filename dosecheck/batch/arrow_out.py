"""Arrow, as a file or a stream, that can be gone on with: what is there is read, and written once more to nowhere.

So the writer knows again where each batch stands, which is how a file ends, and which dictionaries were told.
"""

from __future__ import annotations

import os
from collections.abc import Callable, Sequence
from typing import Any, BinaryIO

import polars as pl
import pyarrow as pa

from dosecheck.batch.typed import Typed

_HEAD = b"ARROW1\0\0"  # of a file; what follows reads as a stream


class Arrow:
    """One form of results; see `out_forms.Form`.

    Args:
        make: `pa.ipc.new_file` or `pa.ipc.new_stream`; or, of a pipe, which is never gone on with, `pq.ParquetWriter`.
    """

    def __init__(self, file: BinaryIO, columns: Sequence[str], own: Sequence[str], make: Callable) -> None:
        self._file, self._typed, self._make, self._sink = file, Typed(columns), make, _Sink()
        self._writer: Any = None

    def begin(self) -> None:
        self._sink.to = self._file

    def go_on(self) -> None:
        with pa.memory_map(self._file.name) as part:
            if part.read(len(_HEAD)) != _HEAD:
                part.seek(0)
            with pa.ipc.open_stream(part) as batches:
                self._writer = self._make(self._sink, batches.schema)
                for batch in batches:
                    self._writer.write_batch(batch)
                self._typed.take_up(batches.schema)
        if self._sink.written != os.path.getsize(self._file.name):
            raise ValueError("Written once more, it is of another length.")
        self.begin()

    def write(self, rows: pl.DataFrame) -> None:
        table = self._typed.table(rows)
        if self._writer is None:
            self._writer = self._make(self._sink, table.schema)
        self._writer.write_table(table)

    def finish(self) -> None:
        if self._writer is None:
            self.write(self._typed.no_rows())
        self._writer.close()


class _Sink:
    """Stands for the file: hands on to it, or drops and only counts while `to` is None."""

    closed = False

    def __init__(self) -> None:
        self.to: BinaryIO | None = None
        self.written = 0

    def write(self, data: Any) -> int:
        if self.to is not None:
            self.to.write(data)
        self.written += len(data)
        return len(data)

    def flush(self) -> None: ...
