"""Writes a result: beside its final place under another name, complete and safe on disk, and only then renamed.

So a result under its own name is always whole; a stop half-way leaves an earlier result as it was, and at worst a
hidden file that ends in ".part".  A pipe cannot be renamed: it is written straight.
"""

from __future__ import annotations

import os
import secrets
import shutil
from collections.abc import Iterator, Sequence
from contextlib import contextmanager, suppress
from pathlib import Path
from types import TracebackType
from typing import Self

import polars as pl

from dosecheck.batch.database import is_address
from dosecheck.batch.forms import STANDARD
from dosecheck.batch.out_forms import writer_of
from dosecheck.batch.several import would_be_read
from dosecheck.errors import FileError


class ResultWriter:
    """Writes chunks of answers into `path`; leave the `with` block without an error, and the result is there.

    Args:
        path: a file of a form that `forms.py` knows; an existing one is replaced at the very end.
        columns: what to write, in this order; each chunk must have them.
        source: the file that the rows come from; it is never written over.
        own: columns whose texts we made ourselves, and that no spreadsheet would run.
        form: of standard output, "-", which has no name.

    Raises:
        FileError: the place cannot be written, or stopped taking data (a full disk, a closed pipe).
    """

    def __init__(
        self, path: str | Path, columns: Sequence[str], source: str | Path | None = None, own: Sequence[str] = (), form: str = ""
    ) -> None:
        self._path, self._columns, self._own = Path(path), list(columns), list(own)
        self._standard, self._direct = str(path) == STANDARD, is_pipe(path)
        self._form = writer_of(self._path, self._direct, form if self._standard else "")
        check_place(path, source)

    def _error(self, why: str, write: str) -> FileError:
        return FileError(str(self._path), why, write)

    @contextmanager
    def _one_error(self) -> Iterator[None]:
        try:
            yield
        except OSError as error:
            why = f"It cannot be written: {reason(error)}. The result is not complete."
            raise self._error(why, "Make room or choose another place, and run again.") from error

    def __enter__(self) -> Self:
        with self._one_error():
            self._final = Path(os.path.realpath(self._path))
            self._part = self._path if self._direct else self._final.with_name(f".{self._final.name}.{secrets.token_hex(4)}.part")
            self._file = os.fdopen(os.dup(1), "wb") if self._standard else open(self._part, "wb" if self._direct else "xb")
        try:
            with self._one_error():
                if not self._direct and self._final.exists():
                    shutil.copymode(self._final, self._part)
                self._out = self._form(self._file, self._columns, self._own)
                self._out.begin()
        except BaseException:
            self._discard()
            raise
        return self

    def write(self, rows: pl.DataFrame) -> None:
        """Add the rows of one chunk; they go to the disk at once, so that the end need not wait for all of them."""
        with self._one_error():
            self._out.write(rows.select(self._columns))
            if not self._direct:
                self._file.flush()
                os.fsync(self._file.fileno())

    def __exit__(self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None) -> None:
        if kind is not None:
            self._discard()
            return
        try:
            with self._one_error():
                self._keep()
        except BaseException:
            self._discard()
            raise

    def _keep(self) -> None:
        self._out.finish()
        self._file.flush()
        if self._direct:
            self._file.close()
            return
        os.fsync(self._file.fileno())
        self._file.close()
        os.replace(self._part, self._final)
        sync_folder(self._final.parent)

    def _discard(self) -> None:
        with suppress(Exception):
            self._out.finish()
        with suppress(OSError):
            self._file.close()
        if not self._direct:
            self._part.unlink(missing_ok=True)


def reason(error: OSError) -> str:
    """Why, as the system words it; Arrow's own writers word it otherwise, with the same number."""
    return os.strerror(error.errno) if error.errno else error.strerror or str(error)


def is_pipe(path: str | Path) -> bool:
    """Something that is there and is neither file nor folder, or a database: it is written straight."""
    return str(path) == STANDARD or is_address(str(path)) or (os.path.exists(path) and not os.path.isfile(path) and not os.path.isdir(path))


def check_place(path: str | Path, source: str | Path | None) -> None:
    """Raises FileError: it is a folder, or one of the files of orders, or would stand among them."""
    if os.path.isdir(path):
        raise FileError(str(path), "This is a folder.", "Name a file in it.")
    if source is not None and not is_pipe(path) and would_be_read(str(source), str(path)):
        raise FileError(
            str(path),
            "The result would replace the file of orders itself, or stand among them.",
            "Choose another name or folder for the result.",
        )


def sync_folder(folder: Path) -> None:
    """Put the new name itself on disk, where the system has a way to say so; the result stands in any case."""
    with suppress(OSError):
        handle = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)
