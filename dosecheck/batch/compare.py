"""Every limit of a group's regimens as one comparison of columns, and what each comes to as a single dose."""

from __future__ import annotations

from functools import reduce
from typing import Any

import polars as pl

from dosecheck.batch.shelves import MOST_DIGITS, states
from dosecheck.formulary.limits import Limit
from dosecheck.formulary.measures import AT_MOST, MEASURES, Comparison
from dosecheck.formulary.medicine import Regimen

_SHOWN_MOST = pl.lit(10**15, dtype=pl.Int128)  # a maximum beyond any dose that columns hold


def compared(group: pl.DataFrame, amount: pl.DataFrame, regimen: Regimen, number: int) -> list[pl.Series]:
    """The states of the regimen's limits, and what each upper limit comes to as a single dose."""
    wide = group.with_columns(amount)
    wide128 = {
        name: pl.col(name).cast(pl.Int128) for name in ("low", "high", "weight", "most", "mean_n", "mean_d", "gap_n", "gap_d", "course")
    }
    facts = {
        "weight": (wide128["weight"], 1),
        "doses": (wide128["most"], 1),
        "average": (wide128["mean_n"], wide128["mean_d"]),
        "gap": (wide128["gap_n"], wide128["gap_d"]),
        "course": (wide128["course"], 1),
    }
    upper, lower = {**facts, "dose": (wide128["high"], 1)}, {**facts, "dose": (wide128["low"], 1)}
    bounds = [_bound(limit, upper) for limit in regimen.limits]
    least = [
        pl.when(b > _SHOWN_MOST).then(_SHOWN_MOST).otherwise(b).cast(pl.Int64) if b is not None else pl.lit(None, dtype=pl.Int64)
        for b in bounds
    ]
    made = wide.select(
        states(regimen.limits, upper, lower).alias(f"states {number}"),
        pl.col("trouble").alias(f"trouble {number}"),
        pl.col("high").alias(f"high {number}"),
        pl.when(pl.col("high").is_not_null()).then(pl.min_horizontal(least)).alias(f"least {number}"),
        pl.when(pl.col("high").is_not_null()).then(_first_least(least)).alias(f"bound {number}"),
    )
    return made.get_columns()


def _first_least(bounds: list[pl.Expr]) -> pl.Expr:
    least = pl.min_horizontal(bounds)
    chain = pl.when(bounds[0] == least).then(0)
    for index, bound in enumerate(bounds[1:], 1):
        chain = chain.when(bound == least).then(index)
    return chain.otherwise(None).cast(pl.Int64)


def _bound(limit: Limit, facts: dict[str, Any]) -> pl.Expr | None:
    """The single dose, rounded down to a base unit, at which an upper limit just holds; shown, never compared."""
    if limit.main.sense != AT_MOST or limit.beyond:
        return None
    values = [_dose_at(c, facts) for c in limit.comparisons if c.sense == AT_MOST]
    return None if values[0] is None else reduce(lambda a, b: pl.max_horizontal(a, b), values)


def _dose_at(comparison: Comparison, facts: dict[str, Any]) -> pl.Expr | None:
    measure = MEASURES[comparison.measure]
    if measure.over[:1] != ("dose",) or not {*measure.over[1:], *measure.under} <= {"doses", "average", "weight"}:
        return None
    over: Any = pl.lit(comparison.p, dtype=pl.Int128)
    under: Any = pl.lit(comparison.q, dtype=pl.Int128)
    for name in measure.under:
        over, under = over * facts[name][0], under * facts[name][1]
    for name in measure.over[1:]:
        over, under = over * facts[name][1], under * facts[name][0]
    return over // under


def binding(numbered: pl.DataFrame, slots: int) -> pl.DataFrame:
    """One dose and one bound a row: those of the reading with the least bound (limits are numbered through)."""
    numbers = [n for n in range(slots) if f"least {n}" in numbered.columns]
    if not numbers:
        return numbered.with_columns(pl.lit(None, dtype=pl.Int64).alias(name) for name in ("high", "least", "bound"))
    least = pl.min_horizontal(f"least {n}" for n in numbers)
    high, bound = pl.coalesce(f"high {n}" for n in numbers), pl.lit(None, dtype=pl.Int64)
    for n in reversed(numbers):
        here = pl.col(f"least {n}") == least
        high = pl.when(here).then(pl.col(f"high {n}")).otherwise(high)
        bound = pl.when(here).then(pl.col(f"bound {n}") + n * MOST_DIGITS).otherwise(bound)
    return numbered.with_columns(high=high, least=least, bound=bound)
