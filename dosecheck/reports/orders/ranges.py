"""Which scale an order's dose is drawn on: mg/kg (or the dose itself) against its regimen's range, where the formulary at
hand is the one that the result names; else as many times the most for one dose.

All numbers are whole thousandths, as a result writes them: rounded half up, once.
"""

from __future__ import annotations

from fractions import Fraction
from typing import NamedTuple

import polars as pl

from dosecheck.batch.amounts import written_in
from dosecheck.errors import KindError
from dosecheck.formulary.limits import Limit
from dosecheck.formulary.load import Formulary
from dosecheck.formulary.medicine import Regimen
from dosecheck.reports.orders.results import thousandths
from dosecheck.showing import show_number, show_unit

STEPS = 20  # bars from nothing to the upper end; as many again above it, and one for all beyond
MOST_UNKNOWN = 5_000  # names that the formulary does not have; all later ones are counted together
_OTHERS = "(other names)"
_UPPER = ("dose", "share of one dose", "single maximum")


class Scale(NamedTuple):
    """`high` and `low` in thousandths of `unit`; `unit` is "" where it is times the most.  `low` is None without a low end."""

    medicine: str
    regimen: str
    unit: str
    low: int | None
    high: int

    @property
    def range_words(self) -> str:
        """ "10 to 15 mg/kg"."""
        if not self.unit:
            return "the most"
        least = f"{written(self.low)} to " if self.low and self.low != self.high else "" if self.low else "up to "
        return least + self.in_words(self.high)

    def in_words(self, value: int) -> str:
        return f"{written(value)} {show_unit(self.unit, Fraction(value, 1000))}" if self.unit else f"{written(value)} times"


def written(value: int) -> str:
    return show_number(Fraction(value, 1000))


class Scales:
    """The scale of each (medicine, regimen, source) that turns up, numbered in the order of turning up."""

    def __init__(self, formulary: Formulary | None) -> None:
        self.formulary = formulary
        self.known: list[Scale] = []
        self._numbers: dict[tuple[str | None, str, str | None], int] = {}
        self._same: dict[Scale, int] = {}
        self._names: dict[str | None, str] = {}
        self._unknown = 0

    def name(self, medicine: str | None) -> str:
        """The medicine's name in the formulary; as it is written where it has none, up to MOST_UNKNOWN of these."""
        if medicine not in self._names:
            found = self.formulary.medicine(medicine) if self.formulary else None
            if not found and self._unknown >= MOST_UNKNOWN:
                return _OTHERS
            self._unknown += not found
            self._names[medicine] = found.name if found else (medicine or "").strip().lower() or "(no medicine)"
        return self._names[medicine]

    def place(self, frame: pl.DataFrame) -> pl.DataFrame:
        """`scale`, `value` (thousandths) and `outcome` of each row of a frame that has one dose and one regimen."""
        keys = ["medicine", "regimen", "source"]
        drawn = frame.filter(pl.col("one_dose").is_not_null() & ~pl.col("regimen").str.contains(";", literal=True))
        seen = drawn.select(keys).unique(maintain_order=True)
        numbers = [self._number(*key) for key in seen.iter_rows()]
        table = seen.with_columns(pl.Series("scale", numbers, dtype=pl.Int64))
        units = pl.DataFrame(
            {"scale": range(len(self.known)), "unit": [s.unit for s in self.known]}, schema={"scale": pl.Int64, "unit": pl.String}
        )
        placed = drawn.join(table, on=keys, how="left", nulls_equal=True, maintain_order="left").join(
            units, on="scale", how="left", maintain_order="left"
        )
        per_kg, whole = _in_unit("dose_per_kg"), _in_unit("one_dose")
        value = pl.when(pl.col("unit") == "").then("times").when(pl.col("unit").str.contains("/")).then(per_kg).otherwise(whole)
        return placed.select("scale", "outcome", value=value).drop_nulls()

    def _number(self, medicine: str | None, regimen: str, source: str | None) -> int:
        key = (medicine, regimen, source)
        if key not in self._numbers:
            scale = self._scale(*key)
            self._numbers[key] = self._same.setdefault(scale, len(self.known))
            self.known += [scale] * (self._numbers[key] == len(self.known))
        return self._numbers[key]

    def _scale(self, medicine: str | None, regimen: str, source: str | None) -> Scale:
        found = self.formulary.medicine(medicine) if self.formulary else None
        meant = [r for r in found.regimens if (r.full_id, r.source) == (regimen, source)] if found else []
        scales = {_of_regimen(self.name(medicine), each) for each in meant}
        only = scales.pop() if len(scales) == 1 else None
        return only or Scale(self.name(medicine), regimen, "", None, 1000)


def _in_unit(column: str) -> pl.Expr:
    """The number of "14.789 mg/kg" in thousandths, where the unit is the scale's; the program writes a unit one way only."""
    parts = pl.col(column).str.splitn(" ", 2).struct
    return pl.when(parts.field("field_1") == pl.col("unit")).then(thousandths(parts.field("field_0")))


def _of_regimen(name: str, regimen: Regimen) -> Scale | None:
    """None where the figure is no dose or dose per kg: an infusion, a figure per m2, none at all."""
    uppers = [limit for limit in regimen.limits if limit.name in _UPPER and not limit.beyond]
    upper = min(uppers, key=lambda limit: (limit.name == "single maximum", "weight" not in limit.figure.kind), default=None)
    if regimen.span.continuous or upper is None:
        return None
    unit = written_in(regimen) + ("/kg" if "weight" in upper.figure.kind else "")
    lower = next((limit for limit in regimen.limits if limit.code == "dose-below-range"), None)
    high, low = _figure(upper, unit), _figure(lower, unit) if lower else None
    return Scale(name, regimen.full_id, unit, low, high) if high and (lower is None or low is not None) else None


def _figure(limit: Limit, unit: str) -> int | None:
    try:
        number = limit.figure.to(unit).number
    except KindError:
        return None
    return int((2000 * number.numerator + number.denominator) // (2 * number.denominator))
