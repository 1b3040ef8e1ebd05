"""Reading ahead and writing behind: the next chunk is read, and the last one written, while one is being answered."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from concurrent.futures import Future, ThreadPoolExecutor
from contextlib import contextmanager, suppress
from typing import Generic, TypeVar

import polars as pl

from dosecheck.batch.chunk import ENOUGH_BYTES, ENOUGH_ROWS, Chunk, plain

T = TypeVar("T")


def joined(chunks: Iterator[Chunk]) -> Iterator[Chunk]:
    """Small chunks put together, so that each part of a screen is worth its while; the first goes ahead alone."""
    held: list[Chunk] = []
    first = True
    for chunk in chunks:
        held.append(chunk)
        if first or _is_enough(held):
            yield _one_chunk(held)
            held, first = [], False
    if held:
        yield _one_chunk(held)


def _is_enough(held: list[Chunk]) -> bool:
    return sum(len(chunk.rows) for chunk in held) >= ENOUGH_ROWS or sum(map(_bytes, held)) >= ENOUGH_BYTES


def _bytes(chunk: Chunk) -> int:
    return sum(len(given.text) for given in chunk.given) if chunk.given else chunk.rows.estimated_size()


def _one_chunk(held: list[Chunk]) -> Chunk:
    if len(held) == 1:
        return held[0]
    if any(each.rows.schema != held[0].rows.schema for each in held):  # each has codes of its own
        held = [plain(each) for each in held]
    refused, files, offset = [], [], 0
    for chunk in held:
        refused += [r._replace(row=r.row + offset) for r in chunk.refused]
        files += [(row + offset, name) for row, name in chunk.files]
        offset += len(chunk.rows)
    given = tuple(each for c in held for each in c.given)
    return Chunk(pl.concat([c.rows for c in held]), pl.concat([c.line for c in held]), refused, tuple(files), given)


def ahead(items: Iterator[T]) -> Iterator[T]:
    """The same items, the next one made in a thread while the last is being used."""
    with ThreadPoolExecutor(1) as pool:
        coming = pool.submit(next, items, None)
        while (item := coming.result()) is not None:
            coming = pool.submit(next, items, None)
            yield item


@contextmanager
def closed(items: Iterator[T]) -> Iterator[Iterator[T]]:
    """Closes a generator in the end, unless a thread is still at work in it, as after a second Ctrl-C; that ends with the process."""
    try:
        yield items
    finally:
        with suppress(ValueError):
            items.close()


class Behind(Generic[T]):
    """Writes in a thread, one chunk at a time and in order; a fault of writing is raised at the next chunk or at the end."""

    def __init__(self, write: Callable[[T], None]) -> None:
        self._write, self._pool = write, ThreadPoolExecutor(1)
        self._last: Future | None = None

    def __enter__(self) -> Behind:
        return self

    def put(self, rows: T) -> None:
        if self._last is not None:
            self._last.result()
        self._last = self._pool.submit(self._write, rows)

    def __exit__(self, kind: type[BaseException] | None, *_: object) -> None:
        self._pool.shutdown()
        if kind is None and self._last is not None:
            self._last.result()
