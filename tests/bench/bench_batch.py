"""A million orders, CSV to CSV and Parquet to Parquet, beside the floor: polars reading the same input and writing the
same result file (whole processes; what the floor needs to get hold of the result first is not counted), and beside a
row loop with exact pint quantities that compares the same limits of the same regimens.  In one run; each time is the
least of five, as elapsed seconds and as seconds of processor (which another task on the machine disturbs less).

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
from typing import NamedTuple

import polars as pl

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
RUNS = 5
READ = {".csv": "read_csv({!r}, infer_schema=False)", ".parquet": "read_parquet({!r})"}
FLOOR = """
import time
import polars as pl
start = time.perf_counter(), time.process_time()
answers = pl.{results}
print(time.perf_counter() - start[0], time.process_time() - start[1])
pl.{orders}
answers.write_{kind}({copy!r})
"""


class Taken(NamedTuple):
    """Seconds, elapsed and of processor, user's and system's."""

    elapsed: float
    processor: float


def an_order(rng: random.Random, ordered: tuple) -> tuple[str, str, str, str, str, str]:
    """Medicine, purpose, dose, how often, weight and date of birth."""
    medicine, purpose, per_kg, every = rng.choice(ordered)
    years = rng.randint(1, 15)
    tenths = 80 + years * 26 + rng.randint(-20, 20)
    dose = max(1, round(per_kg * tenths * rng.choice((1, 1, 1, 1, 0.95, 0.9, 1.05, 1.2, 10, 0.5)) / 10))
    born = f"{2025 - years}-{rng.randint(1, 12):02d}-{rng.randint(1, 28):02d}"
    return medicine, purpose, f"{dose} mg", every, f"{tenths // 10}.{tenths % 10} kg", born


def write_orders(path: Path, rows: int) -> None:
    """Plausible orders, some of them wrong; the same for every run."""
    rng = random.Random(7)
    with path.open("w", newline="") as file:
        writer = csv.writer(file, lineterminator="\n")
        writer.writerow(COLUMNS)
        for number in range(rows):
            medicine, purpose, dose, every, weight, born = an_order(rng, ORDERED)
            writer.writerow([f"o{number}", f"c{rng.randint(1, 4 * rows)}", medicine, "oral", purpose if rng.random() < 0.7 else "", "", dose, every, "", "", "",
                             weight, f"2026-11-{rng.randint(1, 24):02d}", rng.choice(("measured", "stated", "")), "", born, "2026-11-25", f"ward {rng.randint(1, 9)}"])  # fmt: skip


def processor() -> float:
    """Of all processes waited for so far."""
    used = resource.getrusage(resource.RUSAGE_CHILDREN)
    return used.ru_utime + used.ru_stime


def run(*arguments: str) -> tuple[Taken, str]:
    start, before = time.perf_counter(), processor()
    done = subprocess.run([sys.executable, *arguments], capture_output=True, text=True, check=True, cwd=ROOT)
    return Taken(time.perf_counter() - start, processor() - before), done.stdout


def batch(orders: Path, results: Path) -> Taken:
    results.unlink(missing_ok=True)  # what is there already would be kept to the end, which is no part of the job
    return run("-m", "dosecheck", "batch", str(orders), "--out", str(results))[0]


def floor(orders: Path, results: Path) -> Taken:
    kind, copy = orders.suffix, results.with_stem("copy")
    copy.unlink(missing_ok=True)
    read = {"orders": READ[kind].format(str(orders)), "results": READ[kind].format(str(results))}
    taken, said = run("-c", FLOOR.format(**read, kind=kind[1:], copy=str(copy)))
    return Taken(*(all_of_it - float(unlike) for all_of_it, unlike in zip(taken, said.split(), strict=True)))


def compare(orders: Path, rows: int) -> Taken:
    """Prints one form of file; gives the least that the batch took."""
    results = orders.with_stem("results")
    pairs = [(batch(orders, results), floor(orders, results)) for _ in range(RUNS)]
    ours, bare = (Taken(*(min(each) for each in zip(*side, strict=True))) for side in zip(*pairs, strict=True))
    print(
        f"{orders.suffix[1:]}, {rows:,} rows: {ours.elapsed:.2f} s, {ours.processor:.2f} s of processor; {rows / ours.elapsed:,.0f} rows a second"
    )
    print(f"  polars read and write: {bare.elapsed:.2f} s, {bare.processor:.2f} s of processor")
    print(f"  batch takes {ours.elapsed / bare.elapsed:.2f} x this, {ours.processor / bare.processor:.2f} x its processor")
    return ours


def main() -> None:
    rows = int(sys.argv[1]) if len(sys.argv) > 1 else 1_000_000
    with tempfile.TemporaryDirectory() as folder:
        orders = Path(folder, "orders.csv")
        write_orders(orders, rows)
        pl.read_csv(orders, infer_schema=False).write_parquet(orders.with_suffix(".parquet"))
        ours = compare(orders, rows)
        compare(orders.with_suffix(".parquet"), rows)
        memory = resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss / 1024
        pint_rate = float(run(str(Path(__file__).with_name("pint_loop.py")), str(orders))[1])
    print(f"memory: {memory:,.0f} MB at most (of batch and polars alike)")
    print(f"row loop with pint: {pint_rate:,.0f} rows a second; batch of CSV is {rows / ours.elapsed / pint_rate:,.0f} x this")


if __name__ == "__main__":
    main()
