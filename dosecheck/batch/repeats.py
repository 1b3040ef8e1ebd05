"""Children with more than one order of the same ingredient, and children whose rows disagree about the date of birth.

Totals across orders are not reckoned here; the rows are named so that somebody looks.  16 bytes a row are kept.
"""

from __future__ import annotations

import polars as pl

from dosecheck.formulary.load import Formulary

_SHOWN = 20


class Repeats:
    """Collects (child, ingredient, date of birth) of each row; asked once, at the end."""

    def __init__(self, formulary: Formulary) -> None:
        self._formulary = formulary
        self._ingredients: dict[str, int] = {}
        self._kept: list[pl.DataFrame] = []

    def add(self, rows: pl.DataFrame, start: int) -> None:
        """Rows of one chunk; `start` is how many came before."""
        if "child_id" not in rows.columns or "medicine" not in rows.columns:
            return
        numbered = rows.select("child_id", "medicine", born=pl.col("born") if "born" in rows.columns else pl.lit(None, dtype=pl.String))
        numbered = numbered.with_row_index("row", offset=start + 1).filter(pl.col("child_id").is_not_null())
        names = numbered["medicine"].unique().to_list()
        table = pl.DataFrame([(name, number) for name in names for number in self._numbers(name)], schema={"medicine": pl.String, "ingredient": pl.UInt32}, orient="row")
        self._kept.append(numbered.join(table, on="medicine").select("row", "ingredient", pl.col("child_id").hash().alias("child"), pl.col("born").hash().cast(pl.UInt64).alias("born")))

    def _numbers(self, name: str | None) -> list[int]:
        medicine = self._formulary.medicine(name)
        return [self._ingredients.setdefault(i.id, len(self._ingredients)) for i in medicine.ingredients] if medicine else []

    def _all(self) -> pl.DataFrame:
        return pl.concat(self._kept) if self._kept else pl.DataFrame(schema={"row": pl.UInt32, "ingredient": pl.UInt32, "child": pl.UInt64, "born": pl.UInt64})

    def rows(self) -> list[tuple[str, list[int]]]:
        """(ingredient, row numbers from 1) for each child with another order of the same ingredient."""
        names = {number: name for name, number in self._ingredients.items()}
        groups = self._all().group_by("child", "ingredient").agg(pl.col("row").unique().sort()).filter(pl.col("row").list.len() > 1)
        found = [(names[ingredient], rows) for _, ingredient, rows in groups.iter_rows()]
        return sorted(found, key=lambda pair: pair[1])

    def conflicts(self) -> list[list[int]]:
        """Row numbers of each child whose rows give different dates of birth."""
        rows = self._all().filter(pl.col("born").is_not_null())
        groups = rows.group_by("child").agg(pl.col("row").unique().sort(), pl.col("born").n_unique().alias("births")).filter(pl.col("births") > 1)
        return sorted(groups["row"].to_list())

    def lines(self) -> list[str]:
        """What the closing summary says, the first twenty of each."""
        repeated, conflicts = self.rows(), self.conflicts()
        lines = [f"{name}: rows {_numbers(rows)} are for one child" for name, rows in repeated[:_SHOWN]]
        lines += [f"... and {len(repeated) - _SHOWN} more" for _ in [0] if len(repeated) > _SHOWN]
        lines += [f"rows {_numbers(rows)} give one child different dates of birth: are they one child?" for rows in conflicts[:_SHOWN]]
        return lines


def _numbers(rows: list[int]) -> str:
    shown = ", ".join(map(str, rows[:8]))
    return shown + (f" and {len(rows) - 8} more" if len(rows) > 8 else "")
