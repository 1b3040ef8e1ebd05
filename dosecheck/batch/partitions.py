"""Doses put aside by child, so that a file of any size is looked at some children at a time.

Up to a few million doses stay in memory; beyond that they go to files in a folder of our own beside the findings, each
with the children of one share, and the folder is removed at the end.
"""

from __future__ import annotations

import shutil
import tempfile
from collections.abc import Iterator
from pathlib import Path
from types import TracebackType
from typing import Self

import polars as pl
import pyarrow as pa

from dosecheck.errors import FileError

HELD = 3_000_000  # doses in memory
SHARES = 64


class Partitions:
    """Takes doses in any order; gives them back once, all of a child together.

    Args:
        beside: a file in whose folder there is room for work.
    """

    def __init__(self, beside: str | Path) -> None:
        self._beside = Path(beside)
        self._held: list[pl.DataFrame] = []
        self._count = 0
        self._folder: Path | None = None
        self._writers: dict[int, pa.ipc.RecordBatchStreamWriter] = {}

    def __enter__(self) -> Self:
        return self

    def __exit__(self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None) -> None:
        self._close()
        if self._folder:
            shutil.rmtree(self._folder, ignore_errors=True)

    def add(self, doses: pl.DataFrame) -> None:
        """Raises:
        FileError: there is no room for the work.
        """
        self._held.append(doses)
        self._count += len(doses)
        if self._count >= HELD:
            self._spill()

    def parts(self) -> Iterator[pl.DataFrame]:
        """All doses of some children at a time."""
        if self._folder is None:
            yield from [pl.concat(self._held)] if self._held else []
            return
        if self._held:
            self._spill()
        self._close()
        for path in sorted(self._folder.iterdir()):
            try:
                part = pl.read_ipc_stream(path)
                path.unlink()
            except OSError as error:
                raise self._error(error) from error
            yield part

    def _spill(self) -> None:
        try:
            if self._folder is None:
                self._folder = Path(tempfile.mkdtemp(prefix=f".{self._beside.name}.", suffix=".work", dir=self._beside.parent.resolve()))
            doses = pl.concat(self._held)
            self._held, self._count = [], 0
            shares = doses.with_columns(share=pl.col("child_id").hash() % SHARES).partition_by("share", as_dict=True, include_key=False)
            for (share,), rows in shares.items():
                self._write(share, rows.to_arrow())
        except OSError as error:
            raise self._error(error) from error

    def _write(self, share: int, table: pa.Table) -> None:
        if share not in self._writers:
            options = pa.ipc.IpcWriteOptions(compression="lz4")
            self._writers[share] = pa.ipc.new_stream(str(self._folder / f"{share:03d}.arrows"), table.schema, options=options)
        self._writers[share].write_table(table)

    def _close(self) -> None:
        for writer in self._writers.values():
            writer.close()
        self._writers = {}

    def _error(self, error: OSError) -> FileError:
        why = f"There is no room beside it for the work: {error.strerror or error}."
        return FileError(str(self._beside), why, "Make room or choose another place, and run again.")
