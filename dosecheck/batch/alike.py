"""What rows come to, put together slot after slot: which rows are alike, and which single dose is shown of each."""

from __future__ import annotations

from typing import Any

import polars as pl

from dosecheck.batch.columns import Distinct, combined


class Alike:
    """Rows that came to the same so far share a number; each further answer divides them.

    `number`: of each row; `answers`: by number, all that its rows came to, in the order in which it was told.
    """

    def __init__(self, *first: Distinct) -> None:
        self.number, self.answers = combined(first)

    def divide(self, places: pl.Series, about: Any, *told: Distinct) -> None:
        """`told`: what the rows at `places` came to; it is kept as one tuple with `about` first.  Of other rows nothing is told."""
        index, answers = combined((Distinct(self.number.gather(places), self.answers), *told))
        before = len(self.answers)
        self.answers = [*self.answers, *((*earlier, (about, *values)) for earlier, *values in answers)]
        self.number = self.number.scatter(places, index + before)


class Shown:
    """Of each row the reading whose dose is the most times what is allowed: the dose, the bound, and the limit that it comes from;
    null where there is none.  Readings of one ingredient have the same dose, so that the least bound is shown."""

    def __init__(self, rows: int) -> None:
        nothing = pl.Series([None], dtype=pl.Int64).new_from_index(0, rows)
        self._told = pl.DataFrame({"high": nothing, "least": nothing, "bound": nothing})

    def add(self, places: pl.Series, told: pl.DataFrame) -> None:
        """What one slot shows of the rows at `places`: `high`, `least`, `bound`.  Of equal ones the earlier slot's stays."""
        if self._told["high"].null_count() == len(self._told):  # nothing was told before
            self._told = self._told.with_columns(self._told[name].scatter(places, told[name]) for name in told.columns)
            return
        both = pl.concat([self._told[places], told.select(pl.all().name.prefix("new "))], how="horizontal")
        more = pl.col("new high").cast(pl.Int128) * pl.col("least") > pl.col("high").cast(pl.Int128) * pl.col("new least")
        better = (pl.col("least").is_null() & pl.col("new least").is_not_null() | more).fill_null(False)
        new = both.select(
            pl.when(better).then("new high").otherwise(pl.coalesce("high", "new high")).alias("high"),
            *(pl.when(better).then(f"new {name}").otherwise(name).alias(name) for name in ("least", "bound")),
        )
        self._told = self._told.with_columns(self._told[name].scatter(places, new[name]) for name in new.columns)

    def columns(self) -> list[pl.Series]:
        return self._told.get_columns()
