"""What an order costs by the number of regimens: a million orders spread evenly over a formulary of 20 regimens, and over
one of 2,000 (the same medicines a hundred times under other names), Parquet to Parquet, in one run; each time is the
least of three.

    python tests/bench/bench_regimens.py [ROWS]
"""

from __future__ import annotations

import random
import re
import shutil
import sys
import tempfile
from pathlib import Path

import polars as pl
from bench_batch import ROOT, RUNS, Taken, an_order, run

# The medicines have 20 regimens between them.
ORDERED = (("amoxicillin", "pneumonia", 42, "12 hours"), ("cefalexin", "infection", 12, "6 hours"), ("prednisolone", "asthma attack", 1.5, "24 hours"),
           ("ibuprofen", "pain", 8, "8 hours"), ("hydrocortisone", "anaphylaxis", 4, "6 hours"), ("ondansetron", "vomiting", 0.12, "8 hours"))  # fmt: skip
TIMES = 100


def write_formulary(folder: Path, times: int) -> Path:
    """The medicines of ORDERED alone, each under so many names."""
    shutil.copytree(ROOT / "formulary", folder)
    shutil.rmtree(folder / "medicines")
    (folder / "medicines").mkdir()
    (folder / "sheet.toml").unlink()
    (folder / "accepted.toml").unlink()
    for name, *_ in ORDERED:
        text = (ROOT / "formulary" / "medicines" / f"{name}.toml").read_text().partition("[[example]]")[0]
        text = re.sub(r"^(codes|alias\w*) .*\n", "", text, flags=re.M)
        for number in range(times):
            other = named(name, number)
            renamed = re.sub(r'^(id|name)( +)= ".*"', rf'\1\2= "{other}"', text.partition("[[")[0], flags=re.M)
            (folder / "medicines" / f"{other}.toml").write_text(renamed + "[[" + text.partition("[[")[2])
    return folder


def named(name: str, number: int) -> str:
    return f"{name}-{number}" if number else name


def write_orders(path: Path, rows: int, times: int) -> None:
    rng = random.Random(11)
    made = []
    for number in range(rows):
        medicine, purpose, dose, every, weight, born = an_order(rng, ORDERED)
        child = f"c{rng.randint(1, 4 * rows)}"
        made.append((f"o{number}", child, named(medicine, rng.randrange(times)), "oral", purpose, dose, every, weight, born, "2026-11-25"))
    names = ("order_id", "child_id", "medicine", "route", "for", "dose", "every", "weight", "born", "on")
    pl.DataFrame(made, schema=dict.fromkeys(names, pl.String), orient="row").write_parquet(path)


def least(formulary: Path, orders: Path) -> Taken:
    def once(number: int) -> Taken:
        results = orders.with_stem(f"results-{number}")
        return run("-m", "dosecheck", "batch", str(orders), "--out", str(results), "--formulary", str(formulary))[0]

    return Taken(*map(min, zip(*map(once, range(RUNS)), strict=True)))


def main() -> None:
    rows = int(sys.argv[1]) if len(sys.argv) > 1 else 1_000_000
    taken = {}
    with tempfile.TemporaryDirectory() as folder:
        for times in (1, TIMES):
            formulary = write_formulary(Path(folder, f"formulary-{times}"), times)
            orders = Path(folder, f"orders-{times}.parquet")
            write_orders(orders, rows, times)
            run("-m", "dosecheck", "formulary", "lint", str(formulary))
            taken[times] = least(formulary, orders)
            print(f"{20 * times:,} regimens, {rows:,} rows: {taken[times].elapsed:.2f} s, {taken[times].processor:.2f} s of processor")
    ratio = Taken(*(many / few for few, many in zip(taken[1], taken[TIMES], strict=True)))
    print(f"100 times the regimens cost {ratio.elapsed:.2f} x the time, {ratio.processor:.2f} x the processor")


if __name__ == "__main__":
    main()
