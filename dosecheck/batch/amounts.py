"""Doses as whole-number columns: each distinct dose text is converted once, by the one-order engine's own conversion.

A dose is p/q base units, times the weight where it is per kg, shared out where it is a day's.  What does not come
out whole, or passes the stated ceiling, is left to the one-order engine.
"""

from __future__ import annotations

from collections.abc import Hashable, Iterable, Sequence
from fractions import Fraction
from typing import NamedTuple

import polars as pl

from dosecheck.formulary.medicine import Medicine, Product, Regimen
from dosecheck.quantity import DRUG, Quantity
from dosecheck.reading import Dose
from dosecheck.records import Child
from dosecheck.rules.amounts import Amount, Given, amount_of
from dosecheck.rules.catalogue import CATALOGUE

CEILING = 10**12  # a dose of 1 kg, in nanograms; limits are compiled to fit it
NO_TROUBLE, WEIGHT_MISSING, COUNT_NEEDED = "", "weight-missing", "count-needed"
_CODES = pl.Enum([NO_TROUBLE, *CATALOGUE])
_MOST_KNOWN = 400_000  # distinct doses remembered; beyond it the memory starts afresh
_NOBODY = Child()


class Scaled(NamedTuple):
    """One distinct dose for one ingredient in one kind: low and high as p/q, or `trouble` as a code; `slow` as a whole."""

    low: Fraction | None
    high: Fraction | None
    per_kg: bool
    per_day: bool
    trouble: str
    slow: bool = False

    @property
    def simple(self) -> bool:
        """A plain amount of whole base units, or none at all: no column has a part in it."""
        return not (self.per_kg or self.per_day)


def written_in(regimen: Regimen) -> str:
    """The unit that a result's numbers are written in: the regimen's own, but mg for g, so that three decimals are enough."""
    unit = (regimen.span.high or regimen.span.low).unit.split("/")[0]
    return "mg" if unit == "g" else unit


def is_slow(dose: Dose) -> bool:
    """Infusions and doses per m2 go to the one-order engine."""
    return dose.per == "time" or "surface" in dose.kind


class Meant(NamedTuple):
    """What a dose is to become an amount of: an ingredient of a medicine, in a kind, by a product where one is named."""

    medicine: Medicine
    product: Product | None
    ingredient: str
    kind: str

    @property
    def about(self) -> tuple[str, str | None, str, str]:
        """What tells two of them apart."""
        return self.medicine.id, self.product and self.product.id, self.ingredient, self.kind

    @property
    def plainly(self) -> str:
        """The kind of which a dose that does not say what it is of is an amount as it stands; "" where there is none."""
        return "" if self.medicine.basis_stated and self.kind in DRUG else self.kind


def plain_kind(dose: Dose) -> str:
    """The kind of a dose that does not say what it is of; "" of one that does."""
    return "" if dose.basis else dose.high.kind.split("/")[0]


def scaled(dose: Dose, medicine: Medicine, product: Product | None, ingredient: str, kind: str) -> Scaled:
    """The dose without its weight and without its number of doses, which are columns."""
    per_kg = "weight" in dose.kind
    ends = [Quantity(end.value, end.kind.split("/")[0], end.unit.split("/")[0]) for end in (dose.low, dose.high)]
    alone = Dose(*ends, "dose", dose.basis)
    amount = amount_of(alone, medicine.ingredient(ingredient), kind, Given(medicine, product, _NOBODY, None))
    per_day = dose.per == "day"
    if not isinstance(amount, Amount):
        return Scaled(None, None, per_kg, per_day, amount[0])
    low, high = amount.low.value, amount.high.value
    whole = low.denominator == high.denominator == 1 and high <= CEILING
    too_large = max(low.numerator, low.denominator, high.numerator, high.denominator) > 2**62
    if too_large or not (whole or per_kg or per_day):
        return Scaled(None, None, per_kg, per_day, NO_TROUBLE, slow=True)
    return Scaled(low, high, per_kg, per_day, NO_TROUBLE)


class Amounts:
    """The distinct doses met, each converted once for what it is meant of, as rows of `table`; kept from chunk to chunk."""

    def __init__(self) -> None:
        self._forget()

    def _forget(self) -> None:
        self._numbers: dict[tuple, tuple[int, Dose]] = {}  # the dose is kept, so that its identity stays its own
        self._new: list[Scaled] = []
        self.table = table_of([])

    def numbers(self, doses: Iterable[tuple[Hashable, Dose, Meant]]) -> list[int]:
        """The row in `table` of each: what it is about, in whatever words tell two apart; the dose; and what it is meant of."""
        if len(self._numbers) >= _MOST_KNOWN:
            self._forget()
        found = [self._number((about, id(dose)), dose, meant) for about, dose, meant in doses]
        if self._new:
            self.table = pl.concat([self.table, table_of(self._new)], rechunk=True)
            self._new = []
        return found

    def _number(self, key: tuple, dose: Dose, meant: Meant) -> int:
        if key not in self._numbers:
            self._numbers[key] = (len(self._numbers), dose)
            self._new.append(scaled(dose, *meant))
        return self._numbers[key][0]


def table_of(doses: Sequence[Scaled]) -> pl.DataFrame:
    """One row a dose: low and high as p/q, and the rest of it."""
    ends = {
        f"{end}_{part}": pl.Series([_part(getattr(s, end), part) for s in doses], dtype=pl.Int64)
        for end in ("low", "high")
        for part in "pq"
    }
    flags = {name: pl.Series([getattr(s, name) for s in doses], dtype=pl.Boolean) for name in ("per_kg", "per_day", "simple", "slow")}
    return pl.DataFrame({**ends, **flags, "trouble": pl.Series([s.trouble for s in doses], dtype=_CODES)})


def dose_columns(part: pl.DataFrame, table: pl.DataFrame) -> pl.DataFrame:
    """`low`, `high` (Int64), `trouble` (a code) and `slow` for each row of `part`.

    Args:
        part: has `dose` (index into `table`), `weight`, `most`, `mean_n`, `mean_d`.
        table: distinct doses, as of `table_of`.
    """

    def of(name: str) -> pl.Expr:
        return pl.lit(table[name]).gather(pl.col("dose")).alias(name)

    if part.select(of("simple").all()).item():
        return part.select(of("low_p").alias("low"), of("high_p").alias("high"), of("trouble"), of("slow"))
    return _scaled_up(part.select("weight", "most", "mean_n", "mean_d", *map(of, table.columns)))


def _part(value: Fraction | None, part: str) -> int | None:
    return None if value is None else value.numerator if part == "p" else value.denominator


def _scaled_up(joined: pl.DataFrame) -> pl.DataFrame:
    """Times the weight where per kg, shared out where a day's; exact, or slow."""
    times = pl.when("per_kg").then(pl.col("weight")).otherwise(1).cast(pl.Int128)
    shares = pl.when("per_day").then(pl.col("mean_n")).otherwise(1).cast(pl.Int128)
    uncounted = (pl.col("mean_d") != 1) | (pl.col("mean_n") != pl.col("most"))
    trouble = (
        pl.when(pl.col("per_kg") & pl.col("weight").is_null())
        .then(pl.lit(WEIGHT_MISSING, dtype=_CODES))
        .when(pl.col("per_day") & uncounted.fill_null(True))
        .then(pl.lit(COUNT_NEEDED, dtype=_CODES))
        .otherwise(pl.col("trouble"))
    )
    ends = [(pl.col(f"{end}_p").cast(pl.Int128) * times, pl.col(f"{end}_q").cast(pl.Int128) * shares) for end in ("low", "high")]
    fair = trouble == NO_TROUBLE
    inexact = pl.any_horizontal((over % under != 0) | (over // under > CEILING) | pl.col("slow") for over, under in ends)
    return joined.select(
        *(
            pl.when(fair & ~inexact).then(over // under).cast(pl.Int64).alias(name)
            for (over, under), name in zip(ends, ("low", "high"), strict=True)
        ),
        trouble.alias("trouble"),
        (fair & inexact).fill_null(False).alias("slow"),
    )
