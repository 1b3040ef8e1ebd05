"""Charts in bulk: rows a second and peak memory, beside a plain rolling sum over the same rows in the same run.

python tests/bench/bench_bulk.py [ROWS] [DOSES OF THE FIRST CHILD]
"""

from __future__ import annotations

import resource
import sys
import tempfile
import time
from datetime import date
from pathlib import Path

import polars as pl
import pyarrow.parquet as pq

from dosecheck import Formulary
from dosecheck.batch.chart_file import run_charts

DOSES_A_CHILD, PIECE = 30, 1_000_000
MEDICINES = (("paracetamol", "210 mg"), ("ibuprofen", "140 mg"), ("paracetamol", "15 mg/kg"))


def piece(start: int, count: int, rows: int, skewed: int) -> pl.DataFrame:
    """Doses in no order: a year of minutes, invented children, two medicines."""
    n = pl.int_range(start, start + count, dtype=pl.UInt64, eager=True)
    child, minute = n.hash(seed=1) % max(rows // DOSES_A_CHILD, 1), n.hash(seed=2) % (366 * 1440)
    which = (n.hash(seed=3) % len(MEDICINES)).cast(pl.UInt32)
    child = pl.select(pl.when(n < skewed).then(0).otherwise(child)).to_series()
    at = pl.select(pl.datetime(2025, 1, 1) + pl.duration(minutes=minute.cast(pl.Int64))).to_series()
    return pl.DataFrame(
        {
            "child_id": "SM-" + child.cast(pl.String),
            "given_at": at.dt.strftime("%Y-%m-%d %H:%MZ"),
            "medicine": pl.Series([name for name, _ in MEDICINES]).gather(which),
            "dose": pl.Series([dose for _, dose in MEDICINES]).gather(which),
            "weight": (100 + child % 80).cast(pl.String).str.replace(r"(.)$", ".${1} kg"),
        }
    ).with_columns(route=pl.lit("oral"), age=pl.lit("3 years"), every=pl.lit("6 hours"), **{"for": pl.lit("pain")})


def main(rows: int, skewed: int) -> None:
    with tempfile.TemporaryDirectory() as folder:
        orders = Path(folder) / "orders.parquet"
        writer = None
        for start in range(0, rows, PIECE):
            part = piece(start, min(PIECE, rows - start), rows, skewed).to_arrow()
            writer = writer or pq.ParquetWriter(orders, part.schema)
            writer.write_table(part)
        writer.close()
        begun = time.perf_counter()
        summary = run_charts(orders, Path(folder) / "found.csv", Formulary(), date(2026, 1, 1))
        took = time.perf_counter() - begun
        peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
        print(f"{rows:,} rows, {summary.children:,} children: {rows / took:,.0f} rows a second, peak {peak:,.0f} MiB; {summary.findings}")
        if rows <= 5_000_000:
            print(f"a plain rolling sum alone, of rows in memory: {rows / floor(orders):,.0f} rows a second")


def floor(orders: Path) -> float:
    """Seconds of polars' own rolling sum of something over 24 hours by child and medicine."""
    table = pl.read_parquet(orders, columns=["child_id", "given_at", "medicine"])
    table = table.with_columns(at=pl.col("given_at").str.to_datetime("%Y-%m-%d %H:%MZ"), amount=pl.lit(1, dtype=pl.Int64))
    begun = time.perf_counter()
    keys = ["child_id", "medicine"]
    table.sort(*keys, "at").rolling("at", period="24h", group_by=keys).agg(pl.col("amount").sum())
    return time.perf_counter() - begun


if __name__ == "__main__":
    given = [int(text) for text in sys.argv[1:]]
    main(*given, *(1_000_000, 0)[len(given) :])
