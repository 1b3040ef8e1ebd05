"""Rolling windows over columns of doses: what the 24 hours to each dose hold, and how long ago the last one was.

The same windows as `rules/windows.py`: half-open, so that a dose exactly 24 hours ago is outside; a dose that may have
been given at any moment from `at` to `at_last` counts in every window that it touches, and the gap after it runs from
its end.  A count up to t is (doses begun by t) less (doses over by t less 24 hours), each a place in a sorted column, so
nothing is gone through dose by dose, and one child may have a million of them.
"""

from __future__ import annotations

import polars as pl

from dosecheck.rules.windows import DAY

_SPAN = 1 << 34  # more seconds than from 1970 to 2200, and a day before: the keys of two groups never touch
_BEFORE = 1 << 20
_TIES = ("ruled", "weight", "amount", "row")


def rolled(doses: pl.DataFrame) -> pl.DataFrame:
    """The doses sorted by group and time, with what the 24 hours to each hold.

    Args:
        doses: one row a dose, with `ruled`, `weight` and `row` (whole numbers, which part doses of one moment): `group` (whole number), `at` and `at_last` (Int64, seconds), `amount` (Int64 base units, null
            where it is not known), and any others, which are carried along.

    Returns:
        The same rows, sorted, with `total` (Int128, of the known amounts in the window, this dose included), `count`,
        `unknown` (doses of unknown amount in it), `earlier` (doses of the group up to this moment, without this one), all
        Int64, `upto` (the place after the last dose begun by then), and `gap` (Int64 seconds since the last of them, null for the first).  Doses of one moment come in an order
        of their own, whatever the order they were told in.
    """
    doses = _in_order(doses.with_columns(begun=_key("at"), over=_key("at_last")))
    begun = doses["begun"]
    over = doses if (doses["at"] == doses["at_last"]).all() else doses.sort("over")
    upto = begun.search_sorted(begun, side="right")
    gone = over["over"].search_sorted(begun - DAY, side="right")
    start = begun.search_sorted(doses.select(pl.col("group").cast(pl.Int64) * _SPAN).to_series(), side="left")
    before = begun.search_sorted(begun, side="left")
    held = {name: _running(doses, amount).gather(upto) - _running(over, amount).gather(gone) for name, amount in _SUMS.items()}
    last = doses["over"].cum_max().gather(pl.select(pl.when(before > start).then(before.cast(pl.Int64) - 1)).to_series())
    gap = pl.select(pl.when(upto - before > 1).then(0).otherwise((begun - last).clip(0))).to_series()
    return doses.with_columns(
        **held,
        count=upto.cast(pl.Int64) - gone.cast(pl.Int64),
        upto=upto.cast(pl.Int64),
        earlier=upto.cast(pl.Int64) - start.cast(pl.Int64) - 1,
        gap=gap,
    ).drop("begun", "over")


def _in_order(doses: pl.DataFrame) -> pl.DataFrame:
    """By group and time; only doses of one moment, which are few, are compared by all that parts them."""
    doses = doses.sort("begun")
    begun = doses["begun"]
    tied = ((begun == begun.shift(1)).fill_null(False) | (begun == begun.shift(-1)).fill_null(False)).arg_true()
    if not len(tied):
        return doses
    parted = doses[tied].with_columns(place=tied).sort("begun", "over", *_TIES, nulls_last=True)["place"]
    return doses[pl.int_range(len(doses), dtype=pl.UInt32, eager=True).scatter(tied, parted)]


_SUMS = {"total": pl.col("amount").fill_null(0).cast(pl.Int128), "unknown": pl.col("amount").is_null().cast(pl.Int64)}


def _key(name: str) -> pl.Expr:
    return pl.col("group").cast(pl.Int64) * _SPAN + pl.col(name) + _BEFORE


def _running(doses: pl.DataFrame, amount: pl.Expr) -> pl.Series:
    """The sum before each place, and of all at the end."""
    sums = doses.select(amount.alias("sum")).to_series().cum_sum()
    return pl.concat([pl.Series("sum", [0], dtype=sums.dtype), sums])
