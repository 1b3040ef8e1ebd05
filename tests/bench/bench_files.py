"""How long CSV in and out takes beside bare polars, in the same run: python tests/bench/bench_files.py [rows]

Prints the median seconds of both and their ratio, for a file without quotes, one with every field in quotes, one
with CR LF ends, and one with a bad row in every thousand (which bare polars does not see).
"""

from __future__ import annotations

import sys
import tempfile
from collections.abc import Callable
from pathlib import Path
from statistics import median
from time import perf_counter

import polars as pl

from dosecheck.batch.files import ResultWriter, read_orders

COLUMNS = "order,reference,born,on,weight,weighed,weight_is,medicine,route,for,dose,frequency,at_most,product,volume,step,clinic,note"
RUNS = 5


def row(n: int) -> str:
    """One invented order of Saltmarsh Island children's clinic."""
    day = f"{1 + n % 12:02}-{1 + n % 28:02}"
    child = f"O{n:07},S{n % 9000:05},20{10 + n % 13}-{day},2024-06-02,{2 + n % 600 / 10} kg,2024-06-01,measured"
    order = f"exampol,oral,pain,{10 + n % 900} mg,{1 + n % 4} times a day,,exampol-120-in-5,{n % 20} mL,repeat"
    return f"{child},{order},Saltmarsh Island,with food"


def write_file(path: Path, rows: int, change: Callable[[int, str], str], end: str = "\n") -> None:
    with open(path, "w", encoding="utf-8", newline="") as file:
        file.write(COLUMNS + end)
        file.writelines(change(n, row(n)) + end for n in range(rows))


def ours(source: Path, result: Path) -> int:
    """Rows read and written."""
    count = 0
    chunks = read_orders(source)
    first = next(chunks)
    with ResultWriter(result, first.rows.columns, source=source) as writer:
        writer.write(first.rows)
        count += first.rows.height
        for chunk in chunks:
            writer.write(chunk.rows)
            count += chunk.rows.height
    return count


def bare(source: Path, result: Path) -> int:
    rows = pl.read_csv(source, infer_schema=False, truncate_ragged_lines=True)
    rows.write_csv(result)
    return rows.height


def seconds(task: Callable[[Path, Path], int], source: Path, result: Path) -> float:
    start = perf_counter()
    task(source, result)
    return perf_counter() - start


def main(rows: int) -> None:
    kinds: dict[str, tuple[Callable[[int, str], str], str]] = {
        "no quotes": (lambda n, text: text, "\n"),
        "all in quotes": (lambda n, text: '"' + text.replace(",", '","') + '"', "\n"),
        "CR LF": (lambda n, text: text, "\r\n"),
        "1 in 1,000 bad": (lambda n, text: text + ",surplus" if n % 1000 == 999 else text, "\n"),
    }
    with tempfile.TemporaryDirectory() as folder:
        source, result = Path(folder, "orders.csv"), Path(folder, "result.csv")
        for name, (change, end) in kinds.items():
            write_file(source, rows, change, end)
            pairs = [(seconds(ours, source, result), seconds(bare, source, result)) for _ in range(RUNS)]
            mine, theirs = (median(times) for times in zip(*pairs, strict=True))
            print(f"{name:15} {mine:.2f} s; bare polars {theirs:.2f} s; ratio {mine / theirs:.2f}; {rows / mine / 1e6:.2f} million rows/s")


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 1_000_000)
