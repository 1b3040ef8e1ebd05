"""Children with more than one order of the same ingredient, and children whose rows disagree about the date of birth.

Totals across orders are not reckoned here; the rows are named so that somebody looks.
"""

from __future__ import annotations

from functools import cached_property
from typing import NamedTuple

import polars as pl

from dosecheck.batch.columns import distinct, hashed
from dosecheck.batch.pipeline import ahead, closed
from dosecheck.batch.slices import Slices
from dosecheck.formulary.load import Formulary

_SHOWN = 20
_ENOUGH = 500_000  # rows, to be looked at together: for few the operations themselves are dear
SCHEMA = {"row": pl.UInt32, "ingredient": pl.UInt32, "child": pl.UInt64, "born": pl.UInt64}


class Groups(NamedTuple):
    """How many rows or children in all, and the first groups: (ingredient number, row numbers from 1, how many)."""

    count: int
    first: list[tuple[int, list[int], int]]


class Repeats:
    """Collects (child, ingredient, date of birth) of each row in `kept`, slices of SCHEMA; asked once, at the end, while these are open."""

    def __init__(self, formulary: Formulary, kept: Slices) -> None:
        self._formulary, self._kept = formulary, kept
        self._ingredients: dict[str, int] = {}

    def add(self, rows: pl.DataFrame, start: int) -> None:
        """Rows of one chunk; `start` is how many came before."""
        if "child_id" not in rows.columns or "medicine" not in rows.columns:
            return
        index, names = distinct(rows["medicine"])
        inside = [self._numbers(name) for name in names]
        nobody = pl.Series([None], dtype=pl.UInt64).new_from_index(0, len(rows))
        told = pl.DataFrame({"child": hashed(rows["child_id"]), "born": hashed(rows["born"]) if "born" in rows.columns else nobody})
        told = told.with_row_index("row", offset=start + 1)
        for place in range(max(map(len, inside), default=0) or 1):
            ingredient = pl.Series([each[place] if place < len(each) else None for each in inside], dtype=pl.UInt32).gather(index)
            kept = pl.col("child").is_not_null() & (ingredient.is_not_null() if place else True)
            self._kept.add(told.with_columns(ingredient.alias("ingredient")).filter(kept).select(list(SCHEMA)))

    def _numbers(self, name: str | None) -> list[int]:
        medicine = self._formulary.medicine(name)
        return [self._ingredients.setdefault(i.id, len(self._ingredients)) for i in medicine.ingredients] if medicine else []

    @cached_property
    def found(self) -> tuple[Groups, Groups]:
        """Asked when all rows are in.  Orders of one ingredient for one child; and children with more than one date of birth."""
        repeated, disagreeing = Groups(0, []), Groups(0, [])
        with closed(ahead(self._kept.parts(_ENOUGH))) as parts:
            for every in parts:
                rows = every.filter(pl.col("child").is_duplicated())  # a child with one row has nothing to be told of
                pairs = rows.filter(pl.col("ingredient").is_not_null()).with_columns(group=pl.struct("child", "ingredient").hash())
                pairs = pairs.filter(pl.col("group").is_duplicated())
                repeated = _more(repeated, pairs, pairs["row"].n_unique())
                births = rows.filter(pl.col("born").is_not_null()).with_columns(group="child")
                odd = births.select("group", "born").unique().filter(pl.col("group").is_duplicated()).select("group").unique()
                disagreeing = _more(disagreeing, births.join(odd, on="group", how="semi"), len(odd))
        return repeated, disagreeing

    def lines(self) -> list[str]:
        """What the closing summary says: how many in all, and the first twenty of each."""
        names = {number: name for name, number in self._ingredients.items()}
        repeated, disagreeing = self.found
        lines = [f"{repeated.count:,} rows have another order of the same ingredient for the same child:"] if repeated.count else []
        lines += [f"{names[ingredient]}: rows {_list(rows, count)}" for ingredient, rows, count in repeated.first]
        if disagreeing.count:
            lines.append(f"{disagreeing.count:,} children have rows that disagree about the date of birth (one child?):")
            lines += [f"rows {_list(rows, count)}" for _, rows, count in disagreeing.first]
        return lines


def _more(groups: Groups, rows: pl.DataFrame, count: int) -> Groups:
    """The groups with those of another slice, the first twenty by their first row."""
    first = rows.group_by("group").agg(pl.col("row").min()).bottom_k(_SHOWN, by="row")
    told = rows.join(first.select("group"), on="group", how="semi").group_by("group")
    added = told.agg(pl.col("ingredient").first(), pl.col("row").unique().sort()).select("ingredient", "row").iter_rows()
    merged = [*groups.first, *((ingredient, numbers[:8], len(numbers)) for ingredient, numbers in added)]
    return Groups(groups.count + count, sorted(merged, key=lambda group: group[1])[:_SHOWN])


def _list(rows: list[int], count: int) -> str:
    return ", ".join(map(str, rows)) + (f" and {count - len(rows)} more" if count > len(rows) else "")
