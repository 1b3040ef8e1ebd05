"""What an order costs by the number of regimens: a million orders spread evenly over a formulary of 20 regimens, and over
one of 2,000 (the same medicines a hundred times under other names), Parquet to Parquet, in one run; each time is the
least of three.  What an order costs is told apart from the start, by a tenth of the rows beside all of them.

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
    each: dict[int, Taken] = {}
    with tempfile.TemporaryDirectory() as folder:
        for times in (1, TIMES):
            formulary = write_formulary(Path(folder, f"formulary-{times}"), times)
            run("-m", "dosecheck", "formulary", "lint", str(formulary))
            taken = []
            for some in (rows // 10, rows):
                orders = Path(folder, f"orders-{times}-{some}.parquet")
                write_orders(orders, some, times)
                taken.append(least(formulary, orders))
                print(f"{20 * times:,} regimens, {some:,} rows: {taken[-1].elapsed:.2f} s, {taken[-1].processor:.2f} s of processor")
            each[times] = Taken(*((many - few) / (rows - rows // 10) * 1e6 for few, many in zip(*taken, strict=True)))
            print(
                f"  beyond the start, which reads the formulary: {each[times].elapsed:.2f} us an order, {each[times].processor:.2f} us of processor"
            )
    ratio = Taken(*(many / few for few, many in zip(each[1], each[TIMES], strict=True)))
    print(f"with 100 times the regimens an order costs {ratio.elapsed:.2f} x the time, {ratio.processor:.2f} x the processor")


if __name__ == "__main__":
    main()
