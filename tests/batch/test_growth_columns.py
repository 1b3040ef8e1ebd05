"""Columns of weights against the age: z-scores equal to the exact ones as shown, and sure limits that are sure."""

from __future__ import annotations

import random
from decimal import Decimal
from itertools import product
from pathlib import Path

import polars as pl
import pytest

from dosecheck import Formulary
from dosecheck.batch.growth import Growth, z_scores
from dosecheck.body.believable import GRAM, Limits, weight_limits, z_ends
from dosecheck.body.growth import LAST_DAY, REFERENCES, SEXES, lms_at
from dosecheck.body.lms import Lms, z_score
from dosecheck.quantity import Quantity

FORMULARY = Formulary(Path(__file__).parents[2] / "formulary")
KG = 10**12


def growth(reference: str, bands: tuple = FORMULARY.z_bands) -> Growth:
    made = Growth(FORMULARY, bands)
    made.reference = reference
    return made


def frame_of(rows: list[tuple[int | None, int | None, int | None, int]]) -> pl.DataFrame:
    """Rows of weight (ng), days_lo, days_hi, sex."""
    schema = dict.fromkeys(("weight", "days_lo", "days_hi", "sex"), pl.Int64)
    return pl.DataFrame(rows, schema=schema, orient="row")


@pytest.mark.parametrize("reference", REFERENCES)
def test_z_is_that_of_a_single_order_to_the_hundredth(reference: str) -> None:
    """Any age, either sex, weights from 300 g to 300 kg: both tails, and beyond the outer rule."""
    rng = random.Random(11)
    rows = []
    for _ in range(6000):
        day, sex = rng.randint(0, LAST_DAY), rng.randint(1, 2)
        median = float(lms_at(reference, SEXES[sex - 1], day).median)
        grams = rng.choice((round(median * 1000 * rng.uniform(0.4, 2.5)), rng.randint(300, 300_000)))
        rows.append((grams * 10**9, day, day, sex))
    for (weight, day, _, sex), shown in zip(rows, growth(reference).hundredths(frame_of(rows)), strict=True):
        exact = z_ends(Quantity(weight, "weight", "kg"), reference, (SEXES[sex - 1],), (day, day))[0]
        assert shown == int(exact * 100), (weight, day, sex)


@pytest.mark.parametrize("outer", [True, False])
@pytest.mark.parametrize("power", ["-1.5", "-0.0004", "0", "0.3"])
def test_z_scores_of_any_curve(power: str, outer: bool) -> None:
    """L of 0 is the logarithm; beyond 3 the outer rule where it holds."""
    lms = Lms(Decimal(power), Decimal(12), Decimal("0.13"), outer)
    weights = [Decimal(tenths) / 10 for tenths in range(40, 400, 7)]
    curve = {"power": float(lms.power), "median": 12.0, "spread": 0.13, "outer": outer}
    frame = pl.DataFrame([{"kilograms": float(weight), **curve} for weight in weights])
    for weight, z in zip(weights, z_scores(pl.col("kilograms"), frame), strict=True):
        assert abs(Decimal(z) - z_score(weight, lms)) < Decimal("1e-9")


def test_z_only_where_it_is_one_figure() -> None:
    """The age known to the day, the sex told, and a reference that reaches."""
    kilograms = 14 * KG
    rows = [(kilograms, 1200, 1200, 1), (kilograms, 1200, 1201, 1), (kilograms, 1200, 1200, 0), (None, 1200, 1200, 1)]
    rows += [(kilograms, None, None, 1), (kilograms, LAST_DAY + 1, LAST_DAY + 1, 1)]
    assert growth("who").hundredths(frame_of(rows)).is_null().to_list() == [False, True, True, True, True, True]


@pytest.mark.parametrize("reference", REFERENCES)
@pytest.mark.parametrize("which", ["z_bands", "far_above"])
def test_weights_about_the_limits_of_every_day(reference: str, which: str) -> None:
    """One nanogram below, on, and above each limit, on every day of age and for either sex: as that day's own limits say.  A weight
    that needs no closer look lies inside the limits of every day that shares it."""
    bands, rows, beyond = getattr(FORMULARY, which), [], []
    columns = growth(reference, bands)
    for day, sex in product(range(LAST_DAY + 1), (1, 2)):
        limits = weight_limits(bands, reference, (SEXES[sex - 1],), (day, day)) or Limits(None, None)
        for side, end in enumerate(limits):
            for beside in (-1, 0, 1) if end is not None else ():
                rows.append((end * GRAM + beside, day, day, sex))
                beyond.append((side == 0 and beside < 0, side == 1 and beside > 0))
    places, low, high = columns._beyond(frame_of(rows))
    found = [pl.repeat(False, len(rows), eager=True).scatter(places["place"].filter(side), True) for side in (low, high)]
    assert list(zip(*found, strict=True)) == beyond and sum(map(any, beyond)) > LAST_DAY
