"""Ways of asking: what an order names apart from its child, numbered as they are met, each with its shelf.

What a chunk does by way it does once for each, however many rows ask so; so the cost of a row does not depend on how
many medicines and regimens there are.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from fractions import Fraction
from functools import cached_property
from math import ceil

import polars as pl

from dosecheck.batch.columns import Distinct, combined
from dosecheck.batch.figures import MOST_DIGITS, comparisons_of
from dosecheck.formulary.cells import AGE_FACTS
from dosecheck.formulary.load import Formulary
from dosecheck.formulary.measures import AT_LEAST
from dosecheck.formulary.medicine import Medicine, Product
from dosecheck.formulary.shelf import Asked, Shelf

_BABY = ("corrected months", "corrected days", "postmenstrual days", "gestation")


@dataclass(frozen=True)
class Way:
    """One way of asking for one medicine; `number` counts them from 0."""

    number: int
    medicine: Medicine
    asked: Asked
    shelf: Shelf

    @property
    def product(self) -> Product | None:
        return self.medicine.product(self.asked.product) if self.asked.product else None

    @cached_property
    def edges(self) -> dict[str, list[int]]:
        """By fact, every whole number at which a band or an age limit begins or ends: of an edge between two, the upper one."""
        edges = {fact: set(found) for fact, found in self.shelf.edges.items()}
        weights = [end for r in _regimens(self.shelf) for b in r.bands if b.fact == "weight" for end in (b.low, b.high) if end is not None]
        weights += [Fraction(c.p, c.q) for entry in self.shelf.age_limits for c in entry.limit.comparisons if c.measure == "weight"]
        return {fact: sorted(map(ceil, found)) for fact, found in {**edges, "weight": set(weights)}.items() if found}

    @cached_property
    def asks_birth(self) -> bool:
        """Whether a band or an age limit goes by how early a baby was born."""
        facts = {band.fact for r in _regimens(self.shelf) for band in r.bands} | set(self.edges)
        return bool(facts & set(_BABY))

    @cached_property
    def slow(self) -> bool:
        """What columns do not hold: figures per m2, derived weights, kidney bands, and more limits than a number has places for."""
        regimens = _regimens(self.shelf)
        bounds = [c for entry in self.shelf.age_limits for c in entry.limit.comparisons]
        return (
            any("surface" in c.measure for r in regimens for limit in r.limits for c in limit.comparisons)
            or any(r.goes_by in ("ideal", "adjusted") for r in regimens)
            or any(band.fact == "egfr" for r in regimens for band in r.bands)
            or any(comparisons_of(r) > MOST_DIGITS for r in regimens)
            or any(c.sense != AT_LEAST or c.measure not in (*AGE_FACTS, "weight") for c in bounds)
        )


def _regimens(shelf: Shelf) -> list:
    return [r for each in shelf.regimens.values() for r in each]


class Ways:
    """The ways met so far, over all chunks."""

    def __init__(self, formulary: Formulary) -> None:
        self.formulary = formulary
        self.known: list[Way] = []
        self._numbers: dict[tuple, int] = {}

    def numbered(self, asked: list[tuple], rows: pl.DataFrame) -> pl.Series:
        """The way of each row; null where the formulary does not know the medicine.

        Args:
            asked: the combinations of columns.ASKED.
            rows: `asked` (index into them), `no_dose`, and `on`, the date of the order.
        """
        medicines = [self.formulary.medicine(name) for name, *_ in asked]
        days = sorted({r.valid_from for m in medicines if m for r in m.regimens})
        eras = rows.with_columns(_era(days, rows).alias("era"))["era"]
        told = (rows["asked"], range(len(asked))), (rows["no_dose"], (False, True)), (eras, range(len(days) + 1))
        index, found = combined([Distinct(*each) for each in told])
        numbers = [
            None if medicines[place] is None else self._number(medicines[place], asked[place], no_dose, days[era - 1 : era])
            for place, no_dose, era in found
        ]
        return pl.Series(numbers, dtype=pl.UInt32).gather(index)

    def _number(self, medicine: Medicine, asked: tuple, no_dose: bool, on: list[date]) -> int:
        """`on`: a day with the same regimens in force as on the order's; none where it is before all of them."""
        _, route, purpose, step, condition, product = asked
        version = self.formulary.version(medicine, on[0] if on else date.min)
        key = Asked(route, purpose, step, condition or (), product, version, None if no_dose else False)
        if (medicine.id, key) not in self._numbers:
            self._numbers[medicine.id, key] = len(self.known)
            self.known.append(Way(len(self.known), medicine, key, self.formulary.shelf(medicine, key)))
        return self._numbers[medicine.id, key]


def _era(days: list[date], rows: pl.DataFrame) -> pl.Expr:
    """How many of the days have come by the order's; all of them where it has no date."""
    first = rows["on"].min()
    if first is None or not days or first >= days[-1]:
        return pl.lit(len(days))
    return pl.sum_horizontal((pl.col("on") >= day).cast(pl.Int64).fill_null(1) for day in days)
