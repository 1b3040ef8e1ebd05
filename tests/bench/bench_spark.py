"""Spark's overhead over a run here, on the same Parquet file, in one run: python tests/bench/bench_spark.py [ROWS] [CORES]

Both are timed within one process, after a first small run that starts the workers and fills what either remembers, and
the session's own start is told apart.  From the rate for each core it reckons what 1,000 million orders take on N cores:
work divided evenly, nothing for a slower disk or network.
"""

from __future__ import annotations

import os
import sys
import tempfile
import time
from collections.abc import Callable
from datetime import date
from pathlib import Path

import polars as pl
from bench_batch import write_orders

from dosecheck import Formulary
from dosecheck.batch.run import run_batch
from dosecheck.batch.spark_run import run_on_spark
from dosecheck.batch.spark_session import session

FORMULARY = Formulary(Path(__file__).parents[2] / "formulary")
TODAY = date(2026, 11, 25)
RUNS, MANY = 2, 1_000_000_000


def seconds(task: Callable[[], object]) -> float:
    start = time.perf_counter()
    task()
    return time.perf_counter() - start


def main(rows: int, cores: int) -> None:
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        write_orders(folder / "orders.csv", rows)
        table = pl.read_csv(folder / "orders.csv", infer_schema=False)
        for kept, height in (("small", 10_000), ("orders", rows)):
            table[:height].write_parquet(folder / f"{kept}.parquet", row_group_size=max(1, height // (4 * cores)))

        def here(kept: str = "orders") -> object:
            return run_batch(folder / f"{kept}.parquet", folder / "here.parquet", FORMULARY, TODAY)

        here("small")
        local = min(seconds(here) for _ in range(RUNS))
        start = time.perf_counter()
        with session(f"local[{cores}]") as spark:
            # as many pieces as there are groups of rows: a file of a size that Spark would not cut is cut for the measurement
            spark.conf.set("spark.sql.files.maxPartitionBytes", str((folder / "orders.parquet").stat().st_size // cores + 1))
            begun = time.perf_counter() - start
            first = seconds(lambda: run_on_spark(spark, str(folder / "small.parquet"), str(folder / "small"), FORMULARY, TODAY))
            there = min(
                seconds(lambda n=n: run_on_spark(spark, str(folder / "orders.parquet"), str(folder / f"there-{n}"), FORMULARY, TODAY))
                for n in range(RUNS)
            )
    print(f"here, one process          {local:6.2f} s   {rows / local:12,.0f} orders a second ({os.cpu_count()} cores)")
    print(f"Spark, local[{cores}]            {there:6.2f} s   {rows / there:12,.0f} orders a second; {there / local:.2f} x the run here")
    print(f"  beside that, once: {begun:.1f} s to start the session, {first:.1f} s for the first 10,000 orders (workers start)")
    each = rows / there / cores
    print(
        f"{each:,.0f} orders a second for each core; {MANY // 1_000_000:,} million orders / ({each:,.0f} x N cores), if the disks keep up:"
    )
    for n in (16, 64, 256):
        print(f"  {n:4} cores  {MANY / (each * n) / 60:8,.1f} minutes")


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 1_000_000, int(sys.argv[2]) if len(sys.argv) > 2 else 2)
