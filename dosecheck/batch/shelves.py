"""Shelves as expressions on columns: which regimens fit, which age limits hold, which limits are kept.

The bands and measures are the one-order engine's own (`formulary/cells.py`, `measures.py`); here they meet columns of
whole numbers instead of single ones.  Answers come in base 3, one digit a regimen or limit, so that rows answered
alike carry the same number.
"""

from __future__ import annotations

from functools import reduce
from typing import Any

import polars as pl

from dosecheck.formulary.cells import Band
from dosecheck.formulary.limits import Limit
from dosecheck.formulary.measures import AT_MOST, holds
from dosecheck.formulary.shelf import Shelf

MOST_DIGITS = 38  # 3^38 still fits a column of Int64
_BABY = ("corrected months", "corrected days", "postmenstrual days", "gestation")
_CERTAIN_MONTHS = 36  # from here on an untold gestation no longer matters to any sensible band


def shelf_is_slow(shelf: Shelf) -> bool:
    regimens = [r for each in shelf.regimens.values() for r in each]
    surface = any("surface" in c.measure for r in regimens for limit in r.limits for c in limit.comparisons)
    derived = any(r.goes_by in ("ideal", "adjusted") for r in regimens)
    kidneys = any(band.fact == "egfr" for r in regimens for band in r.bands)
    return (
        surface
        or derived
        or kidneys
        or len(regimens) > MOST_DIGITS
        or any(len(r.limits) > MOST_DIGITS for r in regimens)
        or len(shelf.age_limits) > MOST_DIGITS
    )


def _interval(fact: str) -> tuple[pl.Expr, pl.Expr]:
    """Lowest and highest value of an age fact; with an untold gestation, anything possible."""
    months, days = (pl.col("months_lo"), pl.col("months_hi")), (pl.col("days_lo"), pl.col("days_hi"))
    return {
        "months": months,
        "days": days,
        "weight": (pl.col("weight"), pl.col("weight")),
        "corrected months": (months[0] - 6, months[1]),
        "corrected days": (days[0] - 141, days[1]),
        "postmenstrual days": (days[0] + 140, days[1] + 321),
    }[fact]


def cut_off(shelf: Shelf) -> pl.Expr:
    """Rows whose age straddles an edge, or that are young enough for gestation to matter where a band asks for it."""
    cut = pl.lit(False)
    for fact, edges in shelf.edges.items():
        low, high = _interval(fact)
        for edge in edges:
            cut = cut | ((low < edge) & (high >= edge)).fill_null(False)
    baby = {band.fact for each in shelf.regimens.values() for r in each for band in r.bands} & set(_BABY) or set(shelf.edges) & set(_BABY)
    if baby:
        cut = cut | (pl.col("months_lo") < _CERTAIN_MONTHS).fill_null(False)
    return cut.alias("cut")


def _inside(band: Band) -> pl.Expr:
    """True, False, or null where the fact is not known."""
    if band.fact == "gestation":
        return pl.lit(None, dtype=pl.Boolean)
    low, high = _interval(band.fact)
    inside = pl.lit(True)
    if band.low is not None:
        inside = inside & (low >= int(band.low))
    return inside & (high < int(band.high)) if band.high is not None else inside


def fits(shelf: Shelf) -> pl.Expr:
    """Base 3: 0 the regimen does not fit, 1 it fits, 2 it cannot be told."""
    key: pl.Expr = pl.lit(0, dtype=pl.Int64)
    for place, regimen in enumerate(r for each in shelf.regimens.values() for r in each):
        inside = reduce(lambda a, b: a & b, map(_inside, regimen.bands), pl.lit(True))
        key = key + inside.cast(pl.Int64).fill_null(2) * 3**place
    return key.alias("fit")


def ruled(shelf: Shelf) -> pl.Expr:
    """Base 3 for each age limit: 1 met, 2 broken, 0 a fact is missing."""
    facts = {fact: (_interval(fact)[0].cast(pl.Int128), 1) for fact in ("months", "days", "weight", *_BABY[:3])}
    return states([entry.limit for entry in shelf.age_limits], facts, facts).alias("ruled")


def states(limits: list[Limit] | tuple[Limit, ...], upper: dict[str, Any], lower: dict[str, Any]) -> pl.Expr:
    """Base 3 for each limit: 1 met (any comparison holds), 2 broken, 0 a fact is missing."""
    key: pl.Expr = pl.lit(0, dtype=pl.Int64)
    for place, limit in enumerate(limits):
        facts = upper if limit.main.sense == AT_MOST else lower
        answered = [holds(comparison, facts) for comparison in limit.comparisons]
        columns = [pl.lit(None, dtype=pl.Boolean) if isinstance(a, str) else a for a in answered]
        met = reduce(lambda a, b: a | b, columns)
        key = key + (2 - met.cast(pl.Int64)).fill_null(0) * 3**place
    return key
