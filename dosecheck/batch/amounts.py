"""Doses as whole-number columns: each distinct dose text is converted once, by the one-order engine's own conversion.

A dose is p/q base units, times the weight where it is per kg, shared out where it is a day's.  What does not come
out whole, or passes the stated ceiling, is left to the one-order engine.
"""

from __future__ import annotations

from fractions import Fraction
from typing import NamedTuple

import polars as pl

from dosecheck.formulary.medicine import Medicine, Product
from dosecheck.quantity import Quantity
from dosecheck.reading import Dose
from dosecheck.records import Child
from dosecheck.rules.amounts import Amount, Given, amount_of

CEILING = 10**12  # a dose of 1 kg, in nanograms; limits are compiled to fit it
NO_TROUBLE, WEIGHT_MISSING, COUNT_NEEDED = "", "weight-missing", "count-needed"


class Scaled(NamedTuple):
    """One distinct dose for one ingredient in one kind: low and high as p/q, or `trouble` as a code."""

    low: Fraction | None
    high: Fraction | None
    per_kg: bool
    per_day: bool
    trouble: str


def is_slow(dose: Dose) -> bool:
    """Infusions and doses per m2 go to the one-order engine."""
    return dose.per == "time" or "surface" in dose.kind


def scaled(dose: Dose, medicine: Medicine, product: Product | None, ingredient: str, kind: str) -> Scaled:
    """The dose without its weight and without its number of doses, which are columns."""
    per_kg = "weight" in dose.kind
    ends = [Quantity(end.value, end.kind.split("/")[0], end.unit.split("/")[0]) for end in (dose.low, dose.high)]
    alone = Dose(*ends, "dose", dose.basis)
    amount = amount_of(alone, medicine.ingredient(ingredient), kind, Given(medicine, product, Child(), None))
    if not isinstance(amount, Amount):
        return Scaled(None, None, per_kg, dose.per == "day", amount[0])
    return Scaled(amount.low.value, amount.high.value, per_kg, dose.per == "day", NO_TROUBLE)


def dose_columns(part: pl.DataFrame, table: dict[int, Scaled]) -> pl.DataFrame:
    """`low`, `high` (Int64), `trouble` (text) and `slow` for each row of `part`.

    Args:
        part: has `dose` (index of the distinct dose), `weight`, `most`, `mean_d`.
        table: the distinct doses of the part, by index.
    """
    rows = [_row(index, scale) for index, scale in table.items()]
    small = pl.DataFrame(rows, schema=_SCHEMA, orient="row")
    joined = part.select("dose", "weight", "most", "mean_n", "mean_d").join(small, on="dose", how="left", maintain_order="left")
    if not any(s.per_kg or s.per_day for s in table.values()):
        return joined.select("low", "high", "trouble", _beyond(joined).alias("slow"))
    times = pl.when("per_kg").then(pl.col("weight")).otherwise(1).cast(pl.Int128)
    shares = pl.when("per_day").then(pl.col("mean_n")).otherwise(1).cast(pl.Int128)
    trouble = (
        pl.when(pl.col("per_kg") & pl.col("weight").is_null()).then(pl.lit(WEIGHT_MISSING))
        .when(pl.col("per_day") & (pl.col("mean_d") != 1).fill_null(True)).then(pl.lit(COUNT_NEEDED))
        .otherwise(pl.col("trouble"))
    )  # fmt: skip
    ends = [(pl.col(f"{end}_p").cast(pl.Int128) * times, pl.col(f"{end}_q").cast(pl.Int128) * shares) for end in ("low", "high")]
    fair = trouble == NO_TROUBLE
    inexact = pl.any_horizontal((over % under != 0) | (over // under > CEILING) | pl.col("slow") for over, under in ends)
    return joined.select(
        *(pl.when(fair & ~inexact).then(over // under).cast(pl.Int64).alias(name) for (over, under), name in zip(ends, ("low", "high"), strict=True)),
        trouble.alias("trouble"),
        (fair & inexact).fill_null(False).alias("slow"),
    )


def _beyond(joined: pl.DataFrame) -> pl.Series:
    return joined["slow"].fill_null(False)


_SCHEMA = {"dose": pl.UInt32, "low": pl.Int64, "high": pl.Int64, "low_p": pl.Int64, "low_q": pl.Int64, "high_p": pl.Int64, "high_q": pl.Int64,
           "per_kg": pl.Boolean, "per_day": pl.Boolean, "trouble": pl.String, "slow": pl.Boolean}  # fmt: skip


def _row(index: int, s: Scaled) -> tuple:
    if s.trouble:
        return (index, None, None, None, None, None, None, s.per_kg, s.per_day, s.trouble, False)
    parts = [n for end in (s.low, s.high) for n in (end.numerator, end.denominator)]
    too_large = max(parts) > 2**62
    alone = not (s.per_kg or s.per_day)
    whole = s.low.denominator == s.high.denominator == 1 and s.high <= CEILING
    slow = too_large or (alone and not whole)
    if slow:
        return (index, None, None, None, None, None, None, s.per_kg, s.per_day, NO_TROUBLE, True)
    low, high = (int(s.low), int(s.high)) if alone else (None, None)
    return (index, low, high, *parts, s.per_kg, s.per_day, NO_TROUBLE, False)
