"""What would it have done: a file of past orders under two formularies, and the orders whose answer differs.

Both answers come from the same engine as `dosecheck batch`, chunk after chunk, and are put side by side by their place in
the file, never by a name.  Each order goes by the figures of its own date.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterator
from datetime import date
from itertools import chain
from pathlib import Path
from typing import Any, NamedTuple

import polars as pl

from dosecheck.batch.colmap import ColumnMap
from dosecheck.batch.columns import FIELDS
from dosecheck.batch.files import ResultWriter, read_orders
from dosecheck.batch.pipeline import Behind, ahead, joined
from dosecheck.batch.run import Batch, answered, check_columns
from dosecheck.formulary.load import Formulary
from dosecheck.records import NOT_CHECKED, OUTCOMES, QUERY, STOP, WITHIN

COMPARED = ("outcome", "codes", "sentence")
ADDED = tuple(f"{when}_{name}" for name in COMPARED for when in ("old", "new"))
_STRICT = {name: place for place, name in enumerate((WITHIN, QUERY, NOT_CHECKED, STOP))}
SHOWN = 10


class Shown(NamedTuple):
    """One order whose outcome differs: `row` counts from 1, without the header."""

    row: int
    medicine: str
    dose: str
    old: str
    new: str
    old_sentence: str
    new_sentence: str


class Replay(NamedTuple):
    """`moves`: (old outcome, new outcome) to a number, over all rows; `by_medicine` the same of those that differ.

    `codes`: rows with the same outcome and other findings.  `refused`: rows that could not be read.
    """

    rows: int
    refused: int
    moves: dict[tuple[str, str], int]
    codes: int
    by_medicine: dict[str, dict[tuple[str, str], int]]
    shown: tuple[Shown, ...]

    @property
    def changed(self) -> int:
        return sum(number for (old, new), number in self.moves.items() if old != new)

    @property
    def looser(self) -> int:
        """Orders that are asked about or stopped less than before."""
        return sum(number for (old, new), number in self.moves.items() if _STRICT[new] < _STRICT[old])

    def as_dict(self) -> dict[str, Any]:
        def plain(moves: dict[tuple[str, str], int]) -> list[dict[str, Any]]:
            return [{"old": old, "new": new, "orders": number} for (old, new), number in sorted(moves.items())]

        return {
            "rows": self.rows,
            "refused": self.refused,
            "changed": self.changed,
            "looser": self.looser,
            "stricter": self.changed - self.looser,
            "other_findings": self.codes,
            "moves": plain(self.moves),
            "by_medicine": {name: plain(moves) for name, moves in self.by_medicine.items()},
            "first": [row._asdict() for row in self.shown],
        }


def replay(
    orders: str | Path,
    old: Formulary,
    new: Formulary,
    today: date,
    columns: ColumnMap | None = None,
    results: str | Path | None = None,
    progress: Callable[[int], None] = lambda rows: None,
) -> Replay:
    """Answers every order under both.

    Args:
        orders: as for `run_batch`.
        today: the date of the order for rows that give none.
        results: where the rows that differ go, with the columns of the file and those of ADDED; nowhere when None.

    Raises:
        FileError: the file cannot be read or the result cannot be written; no result is left behind.
    """
    sides = (Batch(old, today), Batch(new, today))
    known = (*FIELDS, "order_id", "child_id")
    chunks = ahead(joined(read_orders(orders, columns.to_read(known) if columns else known)))
    first = next(chunks)
    check_columns(orders, first.named, columns)
    count = _Count()
    whole = chain([first], chunks)
    if results is None:
        for _ in _compared(whole, sides, columns, count, progress):
            pass
    else:
        names = [*first.rows.columns, *ADDED]
        with ResultWriter(results, names, source=orders, own=ADDED) as writer, Behind(writer.write) as written:
            for differing in _compared(whole, sides, columns, count, progress):
                written.put(differing.select(names))
    return count.replay()


def _compared(
    whole: Any, sides: tuple[Batch, Batch], columns: ColumnMap | None, count: _Count, progress: Callable
) -> Iterator[pl.DataFrame]:
    for chunk in whole:
        mapped = columns.apply(chunk.rows) if columns else chunk.rows
        answers = [
            answered(side, mapped, chunk).select(pl.col(name).alias(f"{when}_{name}") for name in COMPARED)
            for side, when in zip(sides, ("old", "new"), strict=True)
        ]
        both = pl.concat([chunk.rows, *answers], how="horizontal")
        told = mapped.select(pl.col(name).alias(f" {name}") for name in ("medicine", "dose"))  # the mapped ones, beside the file's own
        yield count.add(pl.concat([both, told], how="horizontal"))
        progress(count.rows)


class _Count:
    """What the chunks come to so far."""

    def __init__(self) -> None:
        self.rows = self.refused = self.codes = 0
        self._moves: Counter[tuple[str, str]] = Counter()
        self._by_medicine: dict[str, Counter[tuple[str, str]]] = {}
        self._shown: list[Shown] = []

    def add(self, both: pl.DataFrame) -> pl.DataFrame:
        """The rows that differ."""
        moved = pl.col("old_outcome") != pl.col("new_outcome")
        differs = moved | pl.col("old_codes").ne_missing(pl.col("new_codes"))
        self._moves.update({(old, new): n for old, new, n in both.group_by("old_outcome", "new_outcome").len().iter_rows()})
        numbered = both.with_row_index("row", offset=self.rows + 1)
        changed = numbered.filter(moved)
        for name, old, new, number in changed.group_by(" medicine", "old_outcome", "new_outcome").len().iter_rows():
            self._by_medicine.setdefault(name or "none named", Counter())[old, new] += number
        fields = ("row", " medicine", " dose", "old_outcome", "new_outcome", "old_sentence", "new_sentence")
        self._shown += [Shown(row[0], *(text or "" for text in row[1:])) for row in changed.head(SHOWN).select(fields).iter_rows()]
        self.refused += both["new_codes"].eq("unreadable").sum()
        self.rows += len(both)
        found = numbered.filter(differs)
        self.codes += len(found) - len(changed)
        return found

    def replay(self) -> Replay:
        by = {name: dict(moves) for name, moves in sorted(self._by_medicine.items(), key=lambda row: (-row[1].total(), row[0]))}
        return Replay(self.rows, self.refused, dict(self._moves), self.codes, by, tuple(self._shown[:SHOWN]))


def moves_table(moves: dict[tuple[str, str], int]) -> list[list[str]]:
    """A header and a row for each outcome before, with a column for each outcome after."""
    rows = [["before \\ after", *OUTCOMES]]
    return rows + [[old, *(f"{moves.get((old, new), 0):,}" for new in OUTCOMES)] for old in OUTCOMES]
