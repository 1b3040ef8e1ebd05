"""Files opened for reading, and unpacked on the way where they are compressed; never more of them in memory than is asked for."""

from __future__ import annotations

import io
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import BinaryIO

import pyarrow as pa

from dosecheck.batch.chunk import shown
from dosecheck.errors import FileError

_FREE = 1 << 30  # bytes that may come out before the size is looked at
_MOST_TIMES = 500  # texts of orders come to some 10 times their packed size, the same row for ever to 1 000 times
_PIECE = 1 << 20


@contextmanager
def opened(path: Path, compression: str = "") -> Iterator[BinaryIO]:
    """The file, open for reading; every failure of the system or of the compressed data becomes one FileError."""
    try:
        with open(path, "rb") as file:
            yield io.BufferedReader(_Unpacked(file, compression, str(path)), _PIECE) if compression else file
    except OSError as error:
        raise FileError(str(path), f"It cannot be read: {error.strerror or error}.", "Check the name and the rights.") from error


@contextmanager
def standard_input() -> Iterator[BinaryIO]:
    """Standard input, as bytes."""
    try:
        yield sys.stdin.buffer
    except OSError as error:
        raise FileError("standard input", f"It cannot be read: {error.strerror or error}.", "Run it again.") from error


class _Unpacked(io.RawIOBase):
    """The unpacked bytes of a gzip or Zstandard file, which may be of several parts; one that is cut short is an error."""

    def __init__(self, file: BinaryIO, compression: str, path: str) -> None:
        self._file, self._path, self._out = file, path, 0
        self._form = "gzip" if compression == "gzip" else "Zstandard"
        with self._one_error():
            self._stream = pa.CompressedInputStream(pa.PythonFile(file, "r"), compression)

    @contextmanager
    def _one_error(self) -> Iterator[None]:
        try:
            yield
        except (pa.ArrowException, OSError) as error:
            why = f"It cannot be unpacked as {self._form}: {shown(str(error).strip())}."
            raise FileError(self._path, why, "Is the file cut short? Fetch or pack it again.") from error

    def readable(self) -> bool:
        return True

    def readinto(self, buffer: memoryview) -> int:
        with self._one_error():
            count = self._stream.readinto(buffer)
        self._out += count
        if self._out > _FREE and self._out > _MOST_TIMES * self._file.tell():
            why = f"It unpacks to more than {_MOST_TIMES} times its own size, as no list of orders does."
            raise FileError(self._path, why, "If it is right, unpack it first.")
        return count
