"""Doses on disk, shared out by their children's names: files in a folder, each of the children from one name to another."""

from __future__ import annotations

import tempfile
from collections.abc import Iterable, Iterator
from pathlib import Path

import polars as pl
import pyarrow as pa

SHARES = 64
_SAMPLE = 100_000  # names by which a share is shared out again


def edges(names: pl.Series) -> pl.Series:
    """Names that part children into shares of about as many doses; one with a great part of them has a share alone.

    Two children are told apart by at least one of them, so sharing out again and again comes to an end.

    Args:
        names: of the child of each dose, or of some of the doses.
    """
    ordered = names.sort()
    places = ordered.gather([number * len(ordered) // SHARES for number in range(SHARES if len(ordered) else 0)])
    next_names = places.filter(places.is_duplicated()) + "\0"  # there is no name between
    return pl.concat([places, next_names]).unique().sort()


class Share:
    """A file of doses, all of children from `first` to `last`."""

    def __init__(self, path: Path, schema: pa.Schema) -> None:
        self.path, self.rows = path, 0
        self.first: str | None = None
        self.last: str | None = None
        self._writer = pa.ipc.new_stream(str(path), schema, options=pa.ipc.IpcWriteOptions(compression="lz4"))

    def write(self, doses: pl.DataFrame) -> None:
        ends = [doses["child_id"].min(), doses["child_id"].max(), *([self.first, self.last] if self.rows else [])]
        self.first, self.last, self.rows = min(ends), max(ends), self.rows + len(doses)
        self._writer.write_table(doses.to_arrow())

    def close(self) -> None:
        self._writer.close()

    def pieces(self, least: int) -> Iterator[pl.DataFrame]:
        """The doses in the order in which they were written, at least so many at a time but for the last."""
        held: list[pa.RecordBatch] = []
        with pa.OSFile(str(self.path)) as file, pa.ipc.open_stream(file) as batches:
            for batch in batches:
                held.append(batch)
                if sum(each.num_rows for each in held) >= least:
                    yield pl.DataFrame(pa.Table.from_batches(held))
                    held = []
        if held:
            yield pl.DataFrame(pa.Table.from_batches(held))

    def read(self, most: int) -> pl.DataFrame:
        """The doses, or the first of them, one more than `most`."""
        return pl.DataFrame(next(self.pieces(most + 1)))[: most + 1]

    def edges(self) -> pl.Series:
        """By which to share it out again."""
        step = self.rows // _SAMPLE + 1
        return edges(pl.concat([piece["child_id"].gather_every(step) for piece in self.pieces(step)]))


class Shares:
    """Takes doses; gives back a file for the children between each two of `edges`."""

    def __init__(self, folder: Path, edges: pl.Series) -> None:
        self._folder, self._edges = Path(tempfile.mkdtemp(dir=folder)), edges
        self._files: dict[int, Share] = {}

    def write(self, doses: Iterable[pl.DataFrame]) -> None:
        together = pl.concat(doses)
        numbered = together.with_columns(share=self._edges.search_sorted(together["child_id"], side="right"))
        for (number,), rows in numbered.partition_by("share", as_dict=True, include_key=False).items():
            if number not in self._files:
                self._files[number] = Share(self._folder / f"{number}.arrows", rows.to_arrow().schema)
            self._files[number].write(rows)

    def close(self) -> list[Share]:
        """The files, in the order of their children; nothing more is written."""
        for share in self._files.values():
            share.close()
        return [self._files[number] for number in sorted(self._files)]
