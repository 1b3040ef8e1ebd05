"""Rows as Arrow tables of one schema, which is that of the first rows: what the writers of Parquet and Arrow share."""

from __future__ import annotations

from collections.abc import Sequence

import polars as pl
import pyarrow as pa


class Typed:
    """The first rows fix the types; a column of nulls alone is text, and so is one of codes."""

    def __init__(self, columns: Sequence[str]) -> None:
        self._columns = columns
        self._types: dict[str, pl.DataType] = {}

    def table(self, rows: pl.DataFrame) -> pa.Table:
        """The rows, as the types that were fixed."""
        return rows.cast(self._fixed(rows)).to_arrow()

    def coded(self, rows: pl.DataFrame) -> pa.Table:
        """The same, but what comes as codes stays so: for Parquet, which keeps codes of its own and needs not look for them then."""
        columns = [
            rows[name] if isinstance(rows[name].dtype, pl.Enum) else rows[name].cast(kind) for name, kind in self._fixed(rows).items()
        ]
        return pa.table({each.name: _with_codes(each) if isinstance(each.dtype, pl.Enum) else each.to_arrow() for each in columns})

    def _fixed(self, rows: pl.DataFrame) -> dict[str, pl.DataType]:
        if not self._types:
            self._types = {
                name: pl.String() if kind == pl.Null or isinstance(kind, pl.Enum) else kind for name, kind in rows.schema.items()
            }
        return self._types

    def no_rows(self) -> pl.DataFrame:
        """What a result without any rows is made of: its columns, all text."""
        return pl.DataFrame(schema=dict.fromkeys(self._columns, pl.String))

    def take_up(self, schema: pa.Schema) -> None:
        """The types of a result that is there already in part."""
        self._types = dict(pl.from_arrow(schema.empty_table()).schema)


def _with_codes(column: pl.Series) -> pa.DictionaryArray:
    return pa.DictionaryArray.from_arrays(column.to_physical().to_arrow(), column.dtype.categories.to_arrow().cast(pa.string()))
