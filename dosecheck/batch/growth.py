"""Weights against the age, by columns: which are hard to believe (whole nanograms against whole-gram limits, exactly), and
z-scores, which are shown and decide nothing (binary floats; equal to the exact ones in the two decimals that are shown).

Both use the tables and limits of `body/`.  A row here has no gestation told: those with one go one by one.
"""

from __future__ import annotations

from functools import cached_property
from itertools import product

import polars as pl

from dosecheck.batch.columns import distinct
from dosecheck.body.believable import GRAM, MOST_Z, Limits, sure_limits, weight_limits
from dosecheck.body.growth import LAST_DAY, SEXES, lms_at
from dosecheck.formulary.load import Formulary
from dosecheck.formulary.weight_z import ZBand
from dosecheck.quantity import UNITS

YOUNG_MONTHS = 3  # below it, and gestation not told, a low weight is no finding
_BLOCK = 60  # days that share one pair of sure limits
_SPAN = 2**14  # more than the days of any age that is compared


def z_scores(kilograms: pl.Expr, frame: pl.DataFrame) -> pl.Series:
    """z of a column of weights beside its L, M and S (`power`, `median`, `spread`) and `outer`, as in `body/lms.py`.

    The few rows for which the curve is not the answer (beyond 3 by WHO, or L of 0) are reckoned again.
    """
    power, median, spread = pl.col("power"), pl.col("median"), pl.col("spread")
    z = frame.select(((kilograms / median) ** power - 1) / (power * spread)).to_series()
    odd = ~(z.abs() <= 3) & (frame["outer"] | (frame["power"] == 0))
    if not odd.any():
        return z
    ratio = (kilograms / median).alias("ratio")
    again = frame.filter(odd).select("power", "spread", "outer", ratio)
    return z.scatter(odd.arg_true(), again.select(_odd_z()).to_series())


def _odd_z() -> pl.Expr:
    power, spread, ratio = pl.col("power"), pl.col("spread"), pl.col("ratio")
    z = pl.when(power == 0).then(ratio.log() / spread).otherwise((ratio**power - 1) / (power * spread))
    side = z.sign()
    at = [
        pl.when(power == 0).then((spread * side * edge).exp()).otherwise((1 + power * spread * side * edge) ** (1 / power))
        for edge in (2, 3)
    ]
    outer = side * (3 + (ratio - at[1]) / (at[1] - at[0]))
    return pl.when(pl.col("outer") & (z.abs() > 3)).then(outer).otherwise(z)


class Growth:
    """One formulary's references and z-limits, for chunk after chunk of rows.

    A frame has `weight` (ng), `days_lo`, `days_hi`, `months_lo` and `sex` (0 not told, 1 female, 2 male); days below 0,
    of a child born after the order, are compared with nothing.
    """

    def __init__(self, formulary: Formulary, bands: tuple[ZBand, ...]) -> None:
        self.bands, self.reference = bands, formulary.growth_reference
        self._limits: dict[int, Limits | None] = {}

    def unbelievable(self, frame: pl.DataFrame) -> pl.Series:
        """Whether each row's weight lies beyond the limits of its age and sex; not where nothing is compared."""
        doubt, low, high = self._beyond(frame)
        return _marked(frame, doubt, high | (low & (doubt["months_lo"] >= YOUNG_MONTHS)))

    def far_above(self, frame: pl.DataFrame) -> pl.Series:
        """Whether each row's weight lies above the high limit alone."""
        doubt, _, high = self._beyond(frame)
        return _marked(frame, doubt, high)

    def _beyond(self, frame: pl.DataFrame) -> tuple[pl.DataFrame, pl.Series, pl.Series]:
        """The rows in doubt, and whether each lies below and above its limits."""
        doubt = frame.with_row_index("place").filter(self._in_doubt(frame))
        key = (doubt["days_lo"] * _SPAN + doubt["days_hi"]) * 3 + doubt["sex"]
        index, keys = distinct(key)
        ends = [self._of(key) or Limits(None, None) for key in keys]
        low, high = (pl.Series([end and end * GRAM for end in side], dtype=pl.Int64).gather(index) for side in _sides(ends))
        weight = doubt["weight"]
        return doubt, (weight < low).fill_null(False), (weight > high).fill_null(False)

    def _in_doubt(self, frame: pl.DataFrame) -> pl.Series:
        """Rows that have what is compared, but for those whose weight is believable on any day about theirs."""
        block = (pl.col("days_lo") // _BLOCK).clip(0, LAST_DAY // _BLOCK)
        low, high = (pl.lit(side).gather(block) for side in self._sure)
        sure = (pl.col("days_lo") == pl.col("days_hi")) & (pl.col("weight") >= low) & (pl.col("weight") <= high)
        compared = pl.col("weight").is_not_null() & pl.col("days_lo").ge(0) & (pl.col("days_hi") <= LAST_DAY)
        return frame.select((compared & ~sure.fill_null(False)).fill_null(False)).to_series()

    @cached_property
    def _sure(self) -> tuple[pl.Series, pl.Series]:
        """The sure limits of each block of days, in nanograms; null where there is none."""
        # Each ends with the next one's first day, whose limits are then reckoned once.
        blocks = [(first, min(first + _BLOCK, LAST_DAY)) for first in range(0, LAST_DAY + 1, _BLOCK)]
        ends = [sure_limits(self.bands, self.reference, days) or Limits(None, None) for days in blocks]
        low, high = _sides(ends)
        return tuple(pl.Series([end and end * GRAM for end in side], dtype=pl.Int64) for side in (low, high))

    def _of(self, key: int) -> Limits | None:
        if key not in self._limits:
            days, sex = divmod(key, 3)
            self._limits[key] = weight_limits(self.bands, self.reference, (SEXES[sex - 1],) if sex else SEXES, divmod(days, _SPAN))
        return self._limits[key]

    def hundredths(self, frame: pl.DataFrame) -> pl.Series:
        """z of each weight in hundredths; null unless the age is known to the day and the sex is told."""
        known = (pl.col("days_lo") == pl.col("days_hi")) & pl.col("days_lo").is_between(0, LAST_DAY) & (pl.col("sex") > 0)
        known = frame.select((known & pl.col("weight").is_not_null()).fill_null(False)).to_series()
        rows = frame.filter(known)
        empty = pl.Series([None], dtype=pl.Int64).new_from_index(0, len(frame))
        if not len(rows):
            return empty
        joined = self._lms[(rows["sex"] - 1) * (LAST_DAY + 1) + rows["days_lo"]].with_columns(rows["weight"])
        z = z_scores(pl.col("weight") / UNITS["weight"]["kg"], joined)
        most = float(MOST_Z)
        return empty.scatter(known.arg_true(), (z.clip(-most, most) * 100).round().cast(pl.Int64))

    @cached_property
    def _lms(self) -> pl.DataFrame:
        """L, M and S of every day: girls, then boys."""
        every = [lms_at(self.reference, sex, day) for sex, day in product(SEXES, range(LAST_DAY + 1))]
        rows = [(float(lms.power), float(lms.median), float(lms.spread), lms.outer) for lms in every]
        return pl.DataFrame(rows, schema={**dict.fromkeys(("power", "median", "spread"), pl.Float64), "outer": pl.Boolean}, orient="row")


def _marked(frame: pl.DataFrame, doubt: pl.DataFrame, rows: pl.Series) -> pl.Series:
    return pl.repeat(False, len(frame), eager=True).scatter(doubt["place"].filter(rows), True)


def _sides(ends: list[Limits]) -> tuple[list[int | None], list[int | None]]:
    return [end.low for end in ends], [end.high for end in ends]
