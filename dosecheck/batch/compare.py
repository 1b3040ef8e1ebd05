"""Rows of orders held against the figures of their regimens: every comparison of one sort is one pass over a column."""

from __future__ import annotations

from typing import Any

import polars as pl

from dosecheck.batch.figures import SHOWN_MOST, Column, Figures, Sort
from dosecheck.formulary.measures import MEASURES, Comparison, holds, sides

_PLACES = 64  # more than the limits of a regimen


def compared(rows: pl.DataFrame, figures: Figures) -> pl.DataFrame:
    """What each row's comparisons came to.

    Args:
        rows: `regimen`, its number in `figures`, the facts of `_facts`, `once` and `slow`.

    Returns:
        `states`: base 3, one digit a comparison of the regimen: 1 holds, 2 does not, 0 a fact is missing.
        `least`: the single dose, rounded down, at which all upper limits just hold; `bound`: the text in
        `figures.texts` of the limit that binds; both null where no dose is known.  Shown, never compared.
        `slow`: the row is slow, or a total over several doses is due, which columns do not hold.
    """
    columns, largest = figures.columns(set(rows["regimen"].unique())), _largest(rows)
    bounds = {sort: _bounds(sort, column, largest) for sort, column in columns.items()}
    most = {sort: f"most {n}" for n, sort in enumerate(columns) if sort.shows_bound}
    rows = rows.with_columns(_most(sort, *bounds[sort]).alias(name) for sort, name in most.items())
    upper, lower = _facts("high"), _facts("low")
    states = []
    for sort, column in columns.items():
        compares = Comparison(sort.measure, sort.sense, *bounds[sort])
        met = pl.col("high") <= pl.col(most[sort]) if sort in most else holds(compares, upper if sort.upper else lower)
        states.append((2 - met.cast(pl.Int64)).fill_null(0) * _at(column.digit))
    least = pl.min_horizontal(pl.lit(None, dtype=pl.Int64), *(_bound(columns[sort], name) for sort, name in most.items()))
    total = _at(figures.has_total) & pl.col("course").is_not_null() & ~pl.col("once")
    made = rows.select(
        pl.sum_horizontal(pl.lit(0, dtype=pl.Int64), *states).alias("states"),
        least=pl.when(pl.col("high").is_not_null()).then(least),
        offset=_at(figures.offset),
        slow=total | pl.col("slow"),
    )
    return made.select("states", pl.col("least") // _PLACES, bound=pl.col("least") % _PLACES + pl.col("offset"), slow="slow")


def _at(figures: pl.Series) -> pl.Expr:
    return pl.lit(figures).gather(pl.col("regimen"))


def _facts(end: str) -> dict[str, Any]:
    return {
        "dose": (pl.col(end), 1),
        "weight": (pl.col("weight"), 1),
        "doses": (pl.col("most"), 1),
        "average": (pl.col("mean_n"), pl.col("mean_d")),
        "gap": (pl.col("gap_n"), pl.col("gap_d")),
        "course": (pl.col("course"), 1),
        "given": (pl.when("once").then(pl.lit(1, dtype=pl.Int64)), 1),  # how many of several doses fall in a window, columns do not tell
    }


def _largest(rows: pl.DataFrame) -> dict[str, tuple[int, int]]:
    """Of each fact the largest numerator and denominator among the rows; at least 1, so that no product is less without it."""
    facts = {**_facts("high"), "dose": (pl.max_horizontal("low", "high"), 1)}
    most = [part.max() if isinstance(part, pl.Expr) else pl.lit(part) for pair in facts.values() for part in pair]
    found = [max(1, each or 1) for each in rows.select(each.alias(str(n)) for n, each in enumerate(most)).row(0)]
    return dict(zip(facts, zip(found[::2], found[1::2], strict=True), strict=True))


def _bounds(sort: Sort, column: Column, largest: dict[str, tuple[int, int]]) -> tuple[pl.Expr, pl.Expr]:
    """p and q of each row's regimen: Int64 where no product of them and the facts of these rows can run over, else Int128."""
    wide = max(sides(Comparison(sort.measure, sort.sense, *column.largest), largest)) >= 2**63
    return tuple(_at(side).cast(pl.Int128) if wide else _at(side) for side in (column.p, column.q))


def _most(sort: Sort, over: pl.Expr, under: pl.Expr) -> pl.Expr:
    """The largest whole dose for which a comparison of this sort holds; `over` and `under` are p and q."""
    measure, facts = MEASURES[sort.measure], _facts("high")
    for name in measure.under:
        over, under = over * facts[name][0], under * facts[name][1]
    for name in measure.over[1:]:
        over, under = over * facts[name][1], under * facts[name][0]
    return (over // under).clip(upper_bound=SHOWN_MOST).cast(pl.Int64)


def _bound(column: Column, most: str) -> pl.Expr:
    """What the limit allows as a single dose, and below it, as one number, the limit's place: the least of several is that of
    the first limit.  Null where the regimen shows none of this sort, or a fact is missing."""
    dose = pl.col(most)
    if column.floor.null_count() < len(column.floor):
        dose = pl.when(dose < _at(column.floor)).then(_at(column.floor)).otherwise(dose)
    return dose * _PLACES + _at(column.limit)
