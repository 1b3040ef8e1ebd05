"""What a run read: each file with its size and SHA-256, reckoned in a thread beside the run, and whether it stayed as it was."""

from __future__ import annotations

import hashlib
import os
from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from stat import S_ISREG
from threading import Event
from types import TracebackType
from typing import NamedTuple, Self

from dosecheck.batch.database import told
from dosecheck.batch.several import names_of
from dosecheck.errors import FileError

_PIECE = 1 << 20


class Print(NamedTuple):
    """What tells two files apart: bytes, and the SHA-256 of them in hex."""

    bytes: int
    sha256: str


class Origin:
    """The files that a run reads; open it before the first row, and ask `prints` after the last.

    What is no file (a pipe, a database) has no print, and cannot be seen to change.

    Raises, from `prints`:
        FileError: a file was changed or taken away since the start.
    """

    def __init__(self, paths: Sequence[str | Path]) -> None:
        self.names = names_of([told(str(path)) for path in paths])
        self._paths = [str(path) for path in paths]
        self.before = [_state(path) for path in self._paths]
        self._enough = Event()
        self._pool = ThreadPoolExecutor(1)

    def __enter__(self) -> Self:
        self._prints = [
            self._pool.submit(self._print, path) if state else None for path, state in zip(self._paths, self.before, strict=True)
        ]
        return self

    def __exit__(self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None) -> None:
        self._enough.set()
        self._pool.shutdown(cancel_futures=True)

    def _print(self, path: str) -> Print:
        return print_of(path, self._enough)

    def prints(self) -> list[Print | None]:
        """In the order of the paths; None for what is no file."""
        try:
            prints = [each.result() if each else None for each in self._prints]
        except OSError as error:
            raise FileError(str(error.filename), f"It cannot be read: {error.strerror}.", "Run again.") from error
        for path, before in zip(self._paths, self.before, strict=True):
            self._check(path, before, _state(path))
        return prints

    def _check(self, path: str, before: tuple[int, ...] | None, now: tuple[int, ...] | None) -> None:
        if before and now is None:
            raise FileError(path, "It was taken away while it was read. No result was written.", "Put it back, and run again.")
        if before != now:
            raise FileError(path, "It was changed while it was read. No result was written.", "Run again when nothing writes to it.")


def _state(path: str) -> tuple[int, ...] | None:
    """Size, time of the last change in nanoseconds, and which file it is; None for what is no file."""
    try:
        state = os.stat(path)
    except (OSError, ValueError):
        return None
    return (state.st_size, state.st_mtime_ns, state.st_dev, state.st_ino) if S_ISREG(state.st_mode) else None


def print_of(path: str | Path, enough: Event | None = None) -> Print:
    """Read to its end, or until `enough` is set.

    Raises:
        OSError: it cannot be read.
    """
    digest, size = hashlib.sha256(), 0
    with open(path, "rb", buffering=0) as file:
        while (piece := file.read(_PIECE)) and not (enough and enough.is_set()):
            digest.update(piece)
            size += len(piece)
    return Print(size, digest.hexdigest())
