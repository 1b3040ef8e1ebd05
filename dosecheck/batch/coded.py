"""Columns of few texts as codes (pl.Enum): each text is kept, and looked at, once.

A column says with its type whether it is coded; a row's text is the same either way.
"""

from __future__ import annotations

from collections.abc import Callable

import polars as pl
import pyarrow as pa

_SAMPLE = 1000  # rows by which it is judged whether texts are few
_MOST_OF_ROWS = 4  # coded, a column has at least so many rows a text


def few_texts(column: pl.Series) -> bool:
    """Whether the first rows have few enough."""
    return column.null_count() < len(column) and column.head(_SAMPLE).n_unique() < _SAMPLE // 2


def coded(rows: pl.DataFrame) -> pl.DataFrame:
    """The same rows; columns of few texts are coded."""
    return rows.with_columns(_coded(column) for column in rows.get_columns() if column.dtype == pl.String and few_texts(column))


def _coded(column: pl.Series) -> pl.Series:
    encoded = column.to_arrow().dictionary_encode()
    if len(encoded.dictionary) > len(column) // _MOST_OF_ROWS:
        return column
    return of_codes(encoded.indices, pl.Series(encoded.dictionary, dtype=pl.String)).alias(column.name)


def of_codes(indices: pa.Array | pa.ChunkedArray, texts: pl.Series) -> pl.Series:
    """The coded column of whole numbers that each tell one of the texts, which are unlike each other; null stays null."""
    kind = pl.UInt8 if len(texts) < 2**8 else pl.UInt16 if len(texts) < 2**16 else pl.UInt32
    return pl.Series(indices).cast(kind).cat.to(pl.Enum(texts))


def texts_of(column: pl.Series) -> pl.Series:
    """All texts that the column has, each perhaps many times; of a coded one those that it could have."""
    return column.dtype.categories if isinstance(column.dtype, pl.Enum) else column


def each_text(column: pl.Series, change: Callable[[pl.Series], pl.Series]) -> pl.Series:
    """The change of every text; made once for each of them where the column is coded."""
    if not isinstance(column.dtype, pl.Enum):
        return change(column)
    texts = change(column.dtype.categories)
    return texts.cast(pl.Enum(texts.unique(maintain_order=True))).gather(column.to_physical().cast(pl.UInt32)).alias(column.name)
