"""A million orders, CSV to CSV, beside its floor: polars reading the same input and writing the same result file
(whole processes; what the floor needs to get hold of the result first is not counted),
and beside a row loop with exact pint quantities that compares the same limits of the same regimens.  In one run.

    python tests/bench/bench_batch.py [ROWS]
"""

from __future__ import annotations

import csv
import random
import resource
import subprocess
import sys
import tempfile
import time
from pathlib import Path

ROOT = Path(__file__).parents[2]
COLUMNS = [
    "order_id",
    "child_id",
    "medicine",
    "route",
    "for",
    "step",
    "dose",
    "every",
    "times_a_day",
    "once",
    "product",
    "weight",
    "weighed",
    "weight_is",
    "age",
    "born",
    "on",
    "ward",
]
ORDERED = (("paracetamol", "pain", 15, "6 hours"), ("ibuprofen", "pain", 8, "8 hours"), ("amoxicillin", "pneumonia", 42, "12 hours"),
           ("cefalexin", "infection", 12, "6 hours"), ("prednisolone", "asthma attack", 1.5, "24 hours"))  # fmt: skip
FLOOR = """
import time
import polars as pl
start = time.perf_counter()
answers = pl.read_csv({results!r}, infer_schema=False)
print(time.perf_counter() - start)
pl.read_csv({orders!r}, infer_schema=False)
answers.write_csv({copy!r})
"""


def write_orders(path: Path, rows: int) -> None:
    """Plausible orders, some of them wrong; the same for every run."""
    rng = random.Random(7)
    with path.open("w", newline="") as file:
        writer = csv.writer(file, lineterminator="\n")
        writer.writerow(COLUMNS)
        for number in range(rows):
            medicine, purpose, per_kg, every = rng.choice(ORDERED)
            years = rng.randint(1, 15)
            tenths = 80 + years * 26 + rng.randint(-20, 20)
            dose = max(1, round(per_kg * tenths * rng.choice((1, 1, 1, 1, 0.95, 0.9, 1.05, 1.2, 10, 0.5)) / 10))
            born = f"{2025 - years}-{rng.randint(1, 12):02d}-{rng.randint(1, 28):02d}"
            writer.writerow([f"o{number}", f"c{rng.randint(1, 4 * rows)}", medicine, "oral", purpose if rng.random() < 0.7 else "", "", f"{dose} mg", every, "", "", "",
                             f"{tenths // 10}.{tenths % 10} kg", f"2026-11-{rng.randint(1, 24):02d}", rng.choice(("measured", "stated", "")), "", born, "2026-11-25", f"ward {rng.randint(1, 9)}"])  # fmt: skip


def run(*arguments: str) -> tuple[float, str]:
    start = time.perf_counter()
    done = subprocess.run([sys.executable, *arguments], capture_output=True, text=True, check=True, cwd=ROOT)
    return time.perf_counter() - start, done.stdout


def main() -> None:
    rows = int(sys.argv[1]) if len(sys.argv) > 1 else 1_000_000
    with tempfile.TemporaryDirectory() as folder:
        orders, results, copy = (Path(folder) / name for name in ("orders.csv", "results.csv", "copy.csv"))
        write_orders(orders, rows)
        seconds = min(run("-m", "dosecheck", "batch", str(orders), "--out", str(results))[0] for _ in range(3))
        floor = min(
            taken - float(unlike)
            for taken, unlike in (run("-c", FLOOR.format(orders=str(orders), results=str(results), copy=str(copy))) for _ in range(3))
        )
        pint_rate = float(run(str(Path(__file__).with_name("pint_loop.py")), str(orders))[1])
    memory = resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss / 1024
    print(f"batch, {rows:,} rows      {seconds:6.2f} s   {rows / seconds:12,.0f} rows a second, {memory:,.0f} MB at most")
    print(f"polars read and write     {floor:6.2f} s   batch takes {seconds / floor:4.2f} x this")
    print(f"row loop with pint                   {pint_rate:12,.0f} rows a second; batch is {rows / seconds / pint_rate:,.0f} x this")


if __name__ == "__main__":
    main()
