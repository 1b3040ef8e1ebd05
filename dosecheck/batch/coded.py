"""Columns of few texts as codes (pl.Enum): each text is kept, and looked at, once.

A column says with its type whether it is coded; a row's text is the same either way.
"""

from __future__ import annotations

from collections.abc import Callable

import polars as pl
import pyarrow as pa

_SAMPLE = 10_000  # rows by which it is judged whether texts are few
_MOST_OF_ROWS = 4  # coded, a column has at least so many rows a text


def few_texts(column: pl.Series) -> bool:
    """Whether the first rows have few enough."""
    return column.null_count() < len(column) and column.head(_SAMPLE).n_unique() < _SAMPLE // 2


class Codes:
    """Codes table after table; by what a column was coded before, it is coded in half the time."""

    def __init__(self) -> None:
        self._known: dict[str, pl.Enum] = {}

    def coded(self, rows: pl.DataFrame) -> pl.DataFrame:
        """The same rows; columns of few texts are coded."""
        return rows.with_columns(self._column(column) for column in rows.get_columns() if column.dtype == pl.String and few_texts(column))

    def _column(self, column: pl.Series) -> pl.Series:
        known = self._known.get(column.name)
        made = _again(column, known) if known else None
        made = _anew(column) if made is None else made
        if isinstance(made.dtype, pl.Enum):
            self._known[column.name] = made.dtype
        return made


def _again(column: pl.Series, known: pl.Enum) -> pl.Series | None:
    """By the texts that are known, and new ones after them; None where these would be too many."""
    made = column.cast(known, strict=False)
    if made.null_count() == column.null_count():
        return made
    new = column.filter(made.is_null()).drop_nulls().unique(maintain_order=True)
    if len(known.categories) + len(new) > len(column) // _MOST_OF_ROWS:
        return None
    return column.cast(pl.Enum(pl.concat([known.categories, new])))


def _anew(column: pl.Series) -> pl.Series:
    encoded = column.to_arrow().dictionary_encode()
    if len(encoded.dictionary) > len(column) // _MOST_OF_ROWS:
        return column
    return of_codes(encoded.indices, pl.Series(encoded.dictionary, dtype=pl.String)).alias(column.name)


def of_codes(indices: pa.Array | pa.ChunkedArray, texts: pl.Series) -> pl.Series:
    """The coded column of whole numbers that each tell one of the texts, which are unlike each other; null stays null."""
    kind = pl.UInt8 if len(texts) < 2**8 else pl.UInt16 if len(texts) < 2**16 else pl.UInt32
    return pl.Series(indices).cast(kind).cat.to(pl.Enum(texts))


def code_of(texts: pl.Series) -> pl.Enum:
    """The type of a column that has these texts, or some of them; null is none."""
    return pl.Enum(texts.drop_nulls().unique(maintain_order=True))


def texts_of(column: pl.Series) -> pl.Series:
    """All texts that the column has, each perhaps many times; of a coded one those that it could have."""
    return column.dtype.categories if isinstance(column.dtype, pl.Enum) else column


def each_text(column: pl.Series, change: Callable[[pl.Series], pl.Series]) -> pl.Series:
    """The change of every text; made once for each of them where the column is coded."""
    if not isinstance(column.dtype, pl.Enum):
        return change(column)
    texts = change(column.dtype.categories)
    return texts.cast(code_of(texts)).gather(column.to_physical().cast(pl.UInt32)).alias(column.name)
