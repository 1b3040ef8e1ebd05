"""z-scores of a million weights beside the plain vectorised formula (L, M and S already joined), in one run.

python tests/bench/bench_growth.py [ROWS]
"""

from __future__ import annotations

import random
import sys
import time
from collections.abc import Callable

import polars as pl

from dosecheck import Formulary
from dosecheck.batch.growth import Growth, z_scores
from dosecheck.body.growth import LAST_DAY

ROUNDS = 7


def children(growth: Growth, rows: int) -> pl.DataFrame:
    """Weights spread about the median as the references spread them, one in a hundred far out."""
    rng = random.Random(3)
    days = [rng.randint(0, LAST_DAY) for _ in range(rows)]
    sexes = [rng.randint(1, 2) for _ in range(rows)]
    frame = pl.DataFrame({"days_lo": days, "days_hi": days, "sex": sexes})
    joined = growth._lms[(frame["sex"] - 1) * (LAST_DAY + 1) + frame["days_lo"]]
    z = pl.Series([rng.gauss(0, 1) * (1 if rng.random() < 0.99 else 3) for _ in range(rows)])
    kilograms = (joined["median"] * (1 + z * joined["spread"]).clip(0.1)).alias("kilograms")
    return pl.concat([frame, joined], how="horizontal").with_columns(kilograms, weight=(kilograms * 1000).round().cast(pl.Int64) * 10**9)


def plain(frame: pl.DataFrame) -> pl.Series:
    kilograms, power, median, spread = (pl.col(name) for name in ("kilograms", "power", "median", "spread"))
    return frame.select(((kilograms / median) ** power - 1) / (power * spread)).to_series()


def best(work: Callable[[], object]) -> float:
    taken = []
    for _ in range(ROUNDS):
        start = time.perf_counter()
        work()
        taken.append(time.perf_counter() - start)
    return min(taken)


def main() -> None:
    rows = int(sys.argv[1]) if len(sys.argv) > 1 else 1_000_000
    formulary = Formulary()
    growth = Growth(formulary, formulary.z_bands)
    frame = children(growth, rows)
    floor = best(lambda: plain(frame))
    ways = {
        "plain formula, joined": lambda: plain(frame),
        "z_scores, joined": lambda: z_scores(pl.col("kilograms"), frame),
        "with the join, rounded": lambda: growth.hundredths(frame),
    }
    for name, work in ways.items():
        seconds = best(work)
        print(f"{name:24} {seconds * 1000:7.1f} ms   {seconds / floor:5.2f} x the plain formula")


if __name__ == "__main__":
    main()
