"""Children with more than one order of the same ingredient, and children whose rows disagree about the date of birth.

Totals across orders are not reckoned here; the rows are named so that somebody looks.  24 bytes a row are kept.
"""

from __future__ import annotations

import polars as pl

from dosecheck.formulary.load import Formulary

_SHOWN = 20
_SCHEMA = {"row": pl.UInt32, "ingredient": pl.UInt32, "child": pl.UInt64, "born": pl.UInt64}


class Repeats:
    """Collects (child, ingredient, date of birth) of each row; asked once, at the end."""

    def __init__(self, formulary: Formulary) -> None:
        self._formulary = formulary
        self._ingredients: dict[str, int] = {}
        self._kept: list[pl.DataFrame] = [pl.DataFrame(schema=_SCHEMA)]

    def add(self, rows: pl.DataFrame, start: int) -> None:
        """Rows of one chunk; `start` is how many came before."""
        if "child_id" not in rows.columns or "medicine" not in rows.columns:
            return
        born = pl.col("born").hash() if "born" in rows.columns else pl.lit(None, dtype=pl.UInt64)
        names = rows["medicine"].unique().to_list()
        table = [(name, number) for name in names for number in self._numbers(name)]
        known = pl.DataFrame(table, schema={"medicine": pl.String, "ingredient": pl.UInt32}, orient="row")
        told = rows.select("medicine", child=pl.col("child_id").hash(), born=born, told=pl.col("child_id").is_not_null())
        numbered = told.with_row_index("row", offset=start + 1).filter("told")
        self._kept.append(numbered.join(known, on="medicine", maintain_order="left").select(list(_SCHEMA)))

    def _numbers(self, name: str | None) -> list[int]:
        medicine = self._formulary.medicine(name)
        return [self._ingredients.setdefault(i.id, len(self._ingredients)) for i in medicine.ingredients] if medicine else []

    def _repeated(self) -> pl.DataFrame:
        """Rows whose child has another order of the same ingredient, with `pair` for child and ingredient together."""
        kept = pl.concat(self._kept).with_columns(pair=pl.struct("child", "ingredient").hash())
        return kept.filter(pl.col("pair").is_duplicated())

    def _named(self, repeated: pl.DataFrame) -> list[tuple[str, list[int]]]:
        names = {number: name for name, number in self._ingredients.items()}
        groups = repeated.group_by("pair", maintain_order=True).agg("row", pl.col("ingredient").first())
        return [(names[ingredient], rows) for _, rows, ingredient in groups.iter_rows()]

    def _disagreeing(self) -> pl.DataFrame:
        kept = pl.concat(self._kept).filter(pl.col("born").is_not_null() & pl.col("child").is_duplicated())
        pairs = kept.select("child", pair=pl.struct("child", "born").hash()).unique("pair")
        children = pairs.filter(pl.col("child").is_duplicated()).select("child").unique()
        return kept.join(children, on="child", how="semi", maintain_order="left")

    def lines(self) -> list[str]:
        """What the closing summary says: how many in all, and the first twenty of each."""
        repeated, conflicts = self._repeated(), self._disagreeing()
        lines = [f"{repeated['row'].n_unique():,} rows have another order of the same ingredient for the same child:"] if len(repeated) else []
        lines += [f"{name}: rows {_list(rows)}" for name, rows in self._named(_first(repeated, "pair"))]
        if len(conflicts):
            lines.append(f"{conflicts['child'].n_unique():,} children have rows that disagree about the date of birth (one child?):")
            groups = _first(conflicts, "child").group_by("child", maintain_order=True).agg(pl.col("row").unique(maintain_order=True))
            lines += [f"rows {_list(rows)}" for rows in groups["row"]]
        return lines


def _first(rows: pl.DataFrame, key: str) -> pl.DataFrame:
    """The rows of the first twenty values of `key`."""
    return rows.join(rows.select(key).unique(maintain_order=True).head(_SHOWN), on=key, how="semi", maintain_order="left")


def _list(rows: list[int] | pl.Series) -> str:
    rows = list(rows)
    return ", ".join(map(str, rows[:8])) + (f" and {len(rows) - 8} more" if len(rows) > 8 else "")
