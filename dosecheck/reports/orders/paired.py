"""Rows of two results by their keys, the same keys of both at a time, so that two files of any size are compared in the same memory.

Up to HELD rows stay in memory.  More go to files in a folder of our own among the system's temporary ones, which is removed at
the end: one for each result and each share of the keys.
"""

from __future__ import annotations

import tempfile
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from pathlib import Path
from types import TracebackType
from typing import Self

import polars as pl
import pyarrow as pa

from dosecheck.errors import FileError

HELD = 2_000_000  # rows of both results in memory
SHARES = 64  # some 200 MB are held at once for two results of 50 million rows
Pair = tuple[pl.DataFrame, pl.DataFrame]


class Paired:
    """Takes frames with a text `key` of the first result (0) and the second (1); gives them back once, by shares of the keys.

    Args:
        path: the result that an error names.
        schema: of every frame.
    """

    def __init__(self, path: str, schema: pl.Schema) -> None:
        self._path, self._schema = path, schema
        self._held: tuple[list[pl.DataFrame], list[pl.DataFrame]] = ([], [])
        self._count = 0
        self._work = ExitStack()
        self._writers: dict[tuple[int, int], pa.RecordBatchStreamWriter] = {}

    def __enter__(self) -> Self:
        return self

    def __exit__(self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None) -> None:
        self._work.close()

    def add(self, side: int, frame: pl.DataFrame) -> None:
        """Raises:
        FileError: there is no room for the work.
        """
        self._held[side].append(frame)
        self._count += len(frame)
        if self._count >= HELD:
            with self._one_error():
                self._spill()

    def parts(self) -> Iterator[Pair]:
        """Both results, some keys at a time; each in its own order."""
        if not self._writers:
            yield self._whole(self._held[0]), self._whole(self._held[1])
            return
        with self._one_error():
            self._spill()
            self._writers.clear()
            self._files.close()
        for share in range(SHARES):
            yield self._read(0, share), self._read(1, share)

    def _whole(self, frames: list[pl.DataFrame]) -> pl.DataFrame:
        return pl.concat(frames) if frames else self._schema.to_frame()

    def _spill(self) -> None:
        if not self._writers:
            self._folder = Path(self._work.enter_context(tempfile.TemporaryDirectory(prefix="dosecheck-")))
            self._files = self._work.enter_context(ExitStack())
            schema = self._schema.to_frame().to_arrow(compat_level=pl.CompatLevel.oldest()).schema
            for place in ((side, share) for side in (0, 1) for share in range(SHARES)):
                file = self._files.enter_context(pa.OSFile(str(self._file(*place)), "wb"))
                self._writers[place] = self._files.enter_context(pa.ipc.new_stream(file, schema))
        for side, frames in enumerate(self._held):
            parts = (
                self._whole(frames).with_columns(share=pl.col("key").hash() % SHARES).partition_by("share", as_dict=True, include_key=False)
            )
            for (share,), part in parts.items():
                self._writers[side, share].write_table(part.to_arrow(compat_level=pl.CompatLevel.oldest()))
            frames.clear()
        self._count = 0

    def _file(self, side: int, share: int) -> Path:
        return self._folder / f"{side}-{share}"

    def _read(self, side: int, share: int) -> pl.DataFrame:
        with self._one_error():
            return pl.read_ipc_stream(self._file(side, share)).cast(dict(self._schema))

    @contextmanager
    def _one_error(self) -> Iterator[None]:
        try:
            yield
        except OSError as error:
            why = f"There is no room among the temporary files to compare it: {error.strerror or error}."
            raise FileError(self._path, why, "Make room, or name another folder in TMPDIR, and run again.") from error
