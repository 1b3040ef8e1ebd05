"""Why rows were not checked, counted chunk after chunk: by their finding codes, and what could not be read by the kind of fault.

"weighed "2026-10-05": The weight is dated after the order, 2026-10-03." is of the kind "weighed: The weight is dated after the order, …."
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from typing import NamedTuple

import polars as pl

from dosecheck.batch.ledger import UNREADABLE
from dosecheck.batch.texts import not_read
from dosecheck.records import NOT_CHECKED

_ROWS_NAMED, _EXAMPLES, _MEDICINES = 12, 3, 3
_MOST_KINDS = 200  # of what cannot be read; whatever kind comes later is counted together
OTHER = "other faults"


class Reason(NamedTuple):
    """Why rows were not checked: their codes, how many, the first row numbers, and some of the sentences.

    kind: what a row that cannot be read has against it, in short; "" for other reasons.
    medicines: those with most of these orders, of `of_medicines`; none are told for what cannot be read.
    """

    codes: str
    kind: str
    count: int
    rows: tuple[int, ...]
    sentences: tuple[str, ...]
    medicines: tuple[tuple[str, int], ...] = ()
    of_medicines: int = 0

    def more(self, count: int, rows: Sequence[int], sentences: Sequence[str]) -> Reason:
        examples = 1 if self.kind else _EXAMPLES
        told = tuple(dict.fromkeys((*self.sentences, *sentences)))[:examples]
        return self._replace(count=self.count + count, rows=(*self.rows, *rows)[:_ROWS_NAMED], sentences=told)

    @property
    def medicine_words(self) -> str:
        """ "amoxicillin 4,100, zinc 812 and 3 more medicines"."""
        told = ", ".join(f"{name} {count:,}" for name, count in self.medicines)
        more = self.of_medicines - len(self.medicines)
        return told + (f" and {more:,} more medicine{'s' * (more > 1)}" if more else "")


class Reasons:
    """All of them; what is kept does not grow with the number of rows."""

    def __init__(self) -> None:
        self._known: dict[tuple[str, str], Reason] = {}

    def add(self, frame: pl.DataFrame) -> None:
        """Args: frame: `codes`, `row`, `outcome` and `sentence` of each row."""
        kinds = sum(1 for _, kind in self._known if kind)
        for codes, kind, count, rows, told in _grouped(frame).iter_rows():
            key = (codes, kind if kind in ("", OTHER) or (codes, kind) in self._known or kinds < _MOST_KINDS else OTHER)
            kinds += key not in self._known and key[1] != ""
            self._known[key] = self._known.get(key, Reason(*key, 0, (), ())).more(count, rows, told)

    def all(self, medicines: dict[str, Counter[str]]) -> list[Reason]:
        """The most frequent first.

        Args:
            medicines: how many orders of each medicine were not checked, by their codes.
        """
        found = [
            reason if reason.kind else _with_medicines(reason, medicines.get(reason.codes, Counter())) for reason in self._known.values()
        ]
        return sorted(found, key=lambda reason: (-reason.count, reason.codes, reason.kind))


def _with_medicines(reason: Reason, counted: Counter[str]) -> Reason:
    most = sorted(counted.items(), key=lambda item: (-item[1], item[0]))
    return reason._replace(medicines=tuple(most[:_MEDICINES]), of_medicines=len(most))


def _grouped(frame: pl.DataFrame) -> pl.DataFrame:
    rows = frame.filter(pl.col("outcome") == NOT_CHECKED).select(pl.col("codes").fill_null(""), "row", "sentence")
    kind = pl.when(pl.col("codes") == UNREADABLE).then(_kind(pl.col("sentence"))).otherwise(pl.lit(""))
    told = pl.col("sentence").drop_nulls().unique(maintain_order=True).head(_EXAMPLES)
    grouped = rows.with_columns(kind=kind.fill_null(OTHER)).group_by("codes", "kind", maintain_order=True)
    return grouped.agg(pl.len(), pl.col("row").head(_ROWS_NAMED), told)


def _kind(sentence: pl.Expr) -> pl.Expr:
    """The first fault up to its full stop, without the row's own texts and numbers."""
    bare = sentence.str.strip_prefix(not_read("")).str.replace(r"^line [0-9]+: ", "").str.replace_all(r' ?"[^"]*"', "")
    numberless = bare.str.replace_all(r" (?:0x[0-9A-F]+|[0-9](?:[0-9.,:/-]*[0-9])?)", " #")
    return numberless.str.extract(r"^([^.]{1,160}\.?)").str.replace_all("#", "…")
