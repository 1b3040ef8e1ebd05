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
        if not self._types:
            self._types = {
                name: pl.String() if kind == pl.Null or isinstance(kind, pl.Enum) else kind for name, kind in rows.schema.items()
            }
        return rows.cast(self._types).to_arrow()

    def no_rows(self) -> pl.DataFrame:
        """What a result without any rows is made of: its columns, all text."""
        return pl.DataFrame(schema=dict.fromkeys(self._columns, pl.String))

    def take_up(self, schema: pa.Schema) -> None:
        """The types of a result that is there already in part."""
        self._types = dict(pl.from_arrow(schema.empty_table()).schema)
