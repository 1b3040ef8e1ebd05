"""What an order costs, and the most memory held, where a file is large: Parquet to Parquet and CSV to CSV, of a million
orders and of so many as are asked for.  Each order should cost what one of the first million does.

    python tests/bench/bench_sizes.py [ROWS]

The input repeats some distinct orders, so that it is quickly made; each has an order id and a child id of its own.
"""

from __future__ import annotations

import os
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from pathlib import Path
from typing import NamedTuple

import polars as pl
import pyarrow.parquet as pq
from bench_batch import ROOT, write_orders

DISTINCT, FIRST = 200_000, 1_000_000


class Run(NamedTuple):
    """Of one whole process: seconds elapsed, seconds of processor (user's and system's), and the most memory in MB."""

    rows: int
    elapsed: float
    processor: float
    memory: float

    def line(self) -> str:
        each = f"{1e6 * self.elapsed / self.rows:.2f} us an order, {1e6 * self.processor / self.rows:.2f} us of processor"
        return (
            f"  {self.rows:>11,} rows: {self.elapsed:,.1f} s, {self.rows / self.elapsed:,.0f} rows a second; {each}; {self.memory:,.0f} MB"
        )


def pieces(base: pl.DataFrame, rows: int) -> Iterator[pl.DataFrame]:
    """The distinct orders again and again, each time with other ids."""
    for start in range(0, rows, len(base)):
        part = base.head(rows - start)
        number = pl.int_range(start, start + len(part), dtype=pl.Int64)
        yield part.with_columns(order_id=pl.format("o{}", number), child_id=pl.format("c{}", number))


def write_csv(base: pl.DataFrame, rows: int, path: Path) -> None:
    with path.open("wb") as file:
        for number, piece in enumerate(pieces(base, rows)):
            piece.write_csv(file, include_header=number == 0)


def write_parquet(base: pl.DataFrame, rows: int, path: Path) -> None:
    schema = base.to_arrow().schema
    with pq.ParquetWriter(path, schema) as writer:
        for piece in pieces(base, rows):
            writer.write_table(piece.to_arrow().cast(schema))


WRITERS = {".parquet": write_parquet, ".csv": write_csv}


def batch(orders: Path, rows: int) -> Run:
    """The process waited for by itself, so that its memory is not hidden by another's."""
    results = orders.with_stem("results")
    command = [sys.executable, "-m", "dosecheck", "batch", str(orders), "--out", str(results)]
    start = time.perf_counter()
    process = subprocess.Popen(command, stdout=subprocess.DEVNULL, cwd=ROOT)
    _, status, used = os.wait4(process.pid, 0)
    elapsed = time.perf_counter() - start
    process.returncode = os.waitstatus_to_exitcode(status)
    if process.returncode:
        raise SystemExit(f"batch of {orders.name} ended with status {process.returncode}")
    return Run(rows, elapsed, used.ru_utime + used.ru_stime, used.ru_maxrss / 1024)


def compare(base: pl.DataFrame, ending: str, sizes: list[int]) -> None:
    """Prints one form; its files are gone before the next is made."""
    print(f"{ending[1:]} to {ending[1:]}", flush=True)
    runs = []
    for rows in sizes:
        with tempfile.TemporaryDirectory() as folder:
            orders = Path(folder, f"orders{ending}")
            WRITERS[ending](base, rows, orders)
            runs.append(batch(orders, rows))
            print(runs[-1].line(), flush=True)
    small, large = runs[0], runs[-1]
    cost = large.elapsed / large.rows / (small.elapsed / small.rows)
    processor = large.processor / large.rows / (small.processor / small.rows)
    print(f"  an order of the larger costs {cost:.2f} x one of the smaller, {processor:.2f} x its processor", flush=True)


def main() -> None:
    rows = int(sys.argv[1]) if len(sys.argv) > 1 else 4 * FIRST
    with tempfile.TemporaryDirectory() as folder:
        write_orders(Path(folder, "orders.csv"), DISTINCT)
        base = pl.read_csv(Path(folder, "orders.csv"), infer_schema=False)
    for ending in WRITERS:
        compare(base, ending, [FIRST, rows])


if __name__ == "__main__":
    main()
