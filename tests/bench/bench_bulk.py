"""Charts in bulk, CSV to CSV and Parquet to Parquet, beside the floor: polars reading the same doses and writing the same
findings (whole processes; what the floor needs to get hold of the findings first is not counted), and beside a plain
rolling sum of the same rows in memory.  In one run; each time is the least of two, as elapsed seconds and as seconds of
processor.  Peak memory at this size and at four times the size shows whether it grows with the file.

    python tests/bench/bench_bulk.py [ROWS] [DOSES OF ONE CHILD]
"""

from __future__ import annotations

import os
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import polars as pl
from bench_batch import ROOT, Taken, floor

RUNS, TIMES, PIECE = 2, 4, 500_000
GIVEN = pl.DataFrame(
    [("paracetamol", "pain", 14, 6), ("ibuprofen", "pain", 7, 8), ("amoxicillin", "pneumonia", 40, 12), ("cefalexin", "infection", 12, 6), ("prednisolone", "asthma attack", 1, 24)],
    schema=["medicine", "for", "per_kg", "hours"],
    orient="row",
)  # fmt: skip
ODD = pl.Series([0, 0, 0, 0, 0, 0, 0, 5, 10, 20, 30, -5, -20, -60])  # minutes late


def doses(first: int, children: int) -> pl.DataFrame:
    """Children with 3 to 12 doses of one of five medicines each, over some days, in no order."""
    child = pl.int_range(first, first + children, dtype=pl.UInt64, eager=True).alias("child")
    rows = child.to_frame().with_columns(number=pl.int_ranges(0, 3 + child.hash(1) % 10, dtype=pl.Int64))
    rows = rows.hstack(GIVEN[(child.hash(2) % len(GIVEN)).cast(pl.UInt32)]).explode("number")
    child, late = pl.col("child"), ODD.gather((rows["child"] * 100 + rows["number"]).hash(3) % len(ODD)).alias("late")
    minutes = child.hash(4) % (60 * 48) * 30 + pl.col("number").cast(pl.UInt64) * pl.col("hours").cast(pl.UInt64) * 60
    kilograms = 8 + child.hash(5) % 40
    born = pl.date(2016, 1, 1) + pl.duration(days=(child.hash(6) % 3000).cast(pl.Int64))
    return rows.hstack([late]).select(
        child_id=pl.format("SM-{}", child),
        given_at=(pl.datetime(2026, 5, 1) + pl.duration(minutes=minutes.cast(pl.Int64) + pl.col("late"))).dt.strftime("%Y-%m-%d %H:%MZ"),
        medicine="medicine",
        dose=pl.format("{} mg", kilograms * pl.col("per_kg").cast(pl.UInt64)),
        every=pl.format("{} hours", "hours"),
        weight=pl.format("{} kg", kilograms),
        born=born.cast(pl.String),
        route=pl.lit("oral"),
        **{"for": pl.col("for")},
    ).sample(fraction=1, shuffle=True, seed=first)  # fmt: skip


def write_doses(path: Path, rows: int, crowded: int) -> None:
    """A CSV file; `crowded` of the rows stand under one reference."""
    written, first = 0, 1
    with path.open("wb") as file:
        while written < rows:
            part = doses(first, PIECE // 10)[: rows - written].with_row_index("n", written)
            part = part.with_columns(pl.when(pl.col("n") < crowded).then(pl.lit("SM-0")).otherwise("child_id").alias("child_id")).drop("n")
            part.write_csv(file, include_header=not written)
            written, first = written + len(part), first + PIECE // 10


def charts(orders: Path, findings: Path) -> tuple[Taken, float]:
    """What a whole process takes, and its peak memory in MiB."""
    start = time.perf_counter()
    begun = subprocess.Popen(
        [sys.executable, "-m", "dosecheck", "batch", "charts", str(orders), "--out", str(findings)], cwd=ROOT, stdout=subprocess.DEVNULL
    )
    _, status, used = os.wait4(begun.pid, 0)
    if status:
        raise SystemExit(f"batch charts ended with {status}")
    return Taken(time.perf_counter() - start, used.ru_utime + used.ru_stime), used.ru_maxrss / 1024


def compare(orders: Path, rows: int) -> None:
    findings = orders.with_stem("results")
    runs = [(*charts(orders, findings), floor(orders, findings)) for _ in range(RUNS)]
    ours, bare = (Taken(*(min(each[place][part] for each in runs) for part in (0, 1))) for place in (0, 2))
    print(
        f"{orders.suffix[1:]}, {rows:,} doses: {ours.elapsed:.2f} s, {ours.processor:.2f} s of processor; {rows / ours.elapsed:,.0f} a second"
    )
    print(f"  polars read and write: {bare.elapsed:.2f} s, {bare.processor:.2f} s of processor")
    print(f"  charts take {ours.elapsed / bare.elapsed:.2f} x this, {ours.processor / bare.processor:.2f} x its processor")
    print(f"  peak {max(peak for _, peak, _ in runs):,.0f} MiB")


def rolling(orders: Path) -> float:
    """Seconds of polars' own rolling sum over 24 hours by child and medicine."""
    table = pl.read_parquet(orders, columns=["child_id", "given_at", "medicine"])
    table = table.with_columns(at=pl.col("given_at").str.to_datetime("%Y-%m-%d %H:%MZ"), amount=pl.lit(1, dtype=pl.Int64))
    begun, keys = time.perf_counter(), ["child_id", "medicine"]
    table.sort(*keys, "at").rolling("at", period="24h", group_by=keys).agg(pl.col("amount").sum())
    return time.perf_counter() - begun


def main(rows: int, crowded: int) -> None:
    with tempfile.TemporaryDirectory() as folder:
        orders = Path(folder) / "orders.csv"
        write_doses(orders, rows, crowded)
        pl.read_csv(orders, infer_schema=False).write_parquet(orders.with_suffix(".parquet"))
        compare(orders, rows)
        compare(orders.with_suffix(".parquet"), rows)
        print(f"a plain rolling sum alone, of rows in memory: {rows / rolling(orders.with_suffix('.parquet')):,.0f} rows a second")
        write_doses(orders, TIMES * rows, crowded)
        print(f"peak with {TIMES * rows:,} doses: {charts(orders, orders.with_stem('results'))[1]:,.0f} MiB")


if __name__ == "__main__":
    given = [int(text) for text in sys.argv[1:]]
    main(*given, *(1_000_000, 0)[len(given) :])
