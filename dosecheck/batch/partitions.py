"""Doses put aside by child, so that a file of any size is looked at some children at a time, in the order of their names.

Up to HELD doses stay in memory.  More go to files in a folder of our own beside the findings, which is removed at the
end.  Each file is a share: the children from one name to another.  A share of more than HELD doses is shared out again,
and so on, so no more than that is ever looked at together; a child with so many doses has a share of its own.
"""

from __future__ import annotations

import os
import shutil
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from types import TracebackType
from typing import Self

import polars as pl

from dosecheck.batch.doses import MOST
from dosecheck.batch.shares import Share, Shares, edges
from dosecheck.errors import FileError

HELD = 1_000_000  # doses in memory


class Partitions:
    """Takes doses in any order; gives them back once, all of a child together and the children in order.

    Args:
        beside: a file in whose folder there is room for work.
    """

    def __init__(self, beside: str | Path) -> None:
        self._beside = Path(beside)
        self._held: list[pl.DataFrame] = []
        self._count = 0
        self._folder: Path | None = None
        self._shares: Shares | None = None

    def __enter__(self) -> Self:
        return self

    def __exit__(self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None) -> None:
        with suppress(OSError):  # the disk was full, and this has been said
            if self._shares:
                self._shares.close()
        if self._folder:
            shutil.rmtree(self._folder, ignore_errors=True)

    def add(self, doses: pl.DataFrame) -> None:
        """Raises:
        FileError: there is no room for the work.
        """
        self._held.append(doses)
        self._count += len(doses)
        if self._count >= HELD:
            with self._one_error():
                self._spill()

    def parts(self) -> Iterator[pl.DataFrame]:
        """All doses of some children at a time; of a child with more than MOST, one more than that."""
        if self._shares is None:
            yield from [pl.concat(self._held)] if self._held else []
            return
        with self._one_error():
            if self._held:
                self._spill()
            yield from _together(_in_order(self._shares.close(), self._folder))

    def _spill(self) -> None:
        if self._shares is None:
            self._folder = Path(tempfile.mkdtemp(prefix=f".{self._beside.name}.", suffix=".work", dir=self._beside.parent.resolve()))
            self._shares = Shares(self._folder, edges(pl.concat([doses["child_id"] for doses in self._held])))
        self._shares.write(self._held)
        self._held, self._count = [], 0

    @contextmanager
    def _one_error(self) -> Iterator[None]:
        try:
            yield
        except OSError as error:
            said = os.strerror(error.errno) if error.errno else error
            why = f"There is no room beside it for the work: {said}."
            raise FileError(str(self._beside), why, "Make room or choose another place, and run again.") from error


def _in_order(shares: list[Share], folder: Path) -> Iterator[pl.DataFrame]:
    """The doses of share after share; a large one is shared out again first."""
    for share in shares:
        if share.rows <= HELD or share.first == share.last:
            doses = share.read(max(HELD, MOST))
            share.path.unlink()
            yield doses
        else:
            yield from _in_order(_again(share, folder), folder)


def _together(parts: Iterator[pl.DataFrame]) -> Iterator[pl.DataFrame]:
    """Small parts, one after another, as one: to look at 64 is dearer than to look at two."""
    held: list[pl.DataFrame] = []
    for part in parts:
        if held and sum(map(len, held)) + len(part) > HELD // 2:
            yield pl.concat(held)
            held = []
        held.append(part)
    if held:
        yield pl.concat(held)


def _again(share: Share, folder: Path) -> list[Share]:
    shares = Shares(folder, share.edges())
    try:
        for doses in share.pieces(HELD // 4):
            shares.write([doses])
    finally:
        files = shares.close()
    share.path.unlink()
    return files
