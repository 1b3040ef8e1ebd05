"""Rows put aside by child, so that those of a file of any size are looked at together, some children at a time.

Up to HELD rows stay in memory; beyond that they go to files without a name, which are gone with the process however it ends.
"""

from __future__ import annotations

import tempfile
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from pathlib import Path
from types import TracebackType
from typing import BinaryIO, Self

import polars as pl
import pyarrow as pa

from dosecheck.errors import FileError

HELD = 3_000_000  # rows in memory
_PARTS = 4  # of those in memory: some at a time are looked at faster than all
SLICES = 256  # so that one of 1,000 million rows has a few million


class Slices:
    """Takes rows in any order; gives them back once, all of a child together.

    Args:
        schema: of the rows; `child` (UInt64, well mixed) tells the slice.
        folder: where there is room for work; None where the system has it.
    """

    def __init__(self, schema: dict[str, type[pl.DataType]], folder: Path | None) -> None:
        self._folder = folder
        self._held, self._count = [pl.DataFrame(schema=schema)], 0
        self._files: list[BinaryIO] = []
        self._writers: list[pa.RecordBatchStreamWriter] = []
        self._open = ExitStack()

    def __enter__(self) -> Self:
        return self

    def __exit__(self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None) -> None:
        self._open.close()

    def add(self, rows: pl.DataFrame) -> None:
        """Raises:
        FileError: there is no room for the work.
        """
        self._held.append(rows)
        self._count += len(rows)
        if self._count >= HELD:
            with self._one_error():
                self._spill()

    def parts(self, enough: int = 1) -> Iterator[pl.DataFrame]:
        """All rows of some children at a time; from files of more children at once, where those of one have not `enough` rows."""
        if not self._files:
            rows = pl.concat(self._held)
            yield from (rows.filter(pl.col("child") % _PARTS == place) for place in range(_PARTS))
            return
        with self._one_error():
            self._spill()
            held: list[pl.DataFrame] = []
            for file, writer in zip(self._files, self._writers, strict=True):
                writer.close()
                file.seek(0)
                held.append(pl.from_arrow(pa.ipc.open_stream(file).read_all()))
                if sum(map(len, held)) >= enough:
                    yield pl.concat(held)
                    held = []
            if held:
                yield pl.concat(held)

    def _spill(self) -> None:
        rows = pl.concat(self._held)
        if not self._files:
            self._begin(rows.to_arrow().schema)
        slices = rows.with_columns(slice=pl.col("child") % SLICES).partition_by("slice", as_dict=True, include_key=False)
        for (number,), some in slices.items():
            self._writers[number].write_table(some.to_arrow())
        self._held, self._count = [rows.clear()], 0

    def _begin(self, schema: pa.Schema) -> None:
        options = pa.ipc.IpcWriteOptions(compression="lz4")
        for _ in range(SLICES):
            file = self._open.enter_context(tempfile.TemporaryFile(dir=self._folder))  # noqa: SIM115
            self._files.append(file)
            self._writers.append(pa.ipc.new_stream(self._files[-1], schema, options=options))

    @contextmanager
    def _one_error(self) -> Iterator[None]:
        try:
            yield
        except OSError as error:
            place = str(self._folder or tempfile.gettempdir())
            raise FileError(place, f"There is no room for the work: {error.strerror or error}.", "Make room, and run again.") from error
