"""`dosecheck order --json`, whole process, beside the bare interpreter and `import click`, in one run.

python -m compileall -q dosecheck && python tests/bench/bench_order.py
"""

from __future__ import annotations

import statistics
import subprocess
import sys
import time
from pathlib import Path

ORDER = ["order", "--json", "--medicine", "paracetamol", "--route", "oral", "--for", "pain", "--dose", "210 mg",
         "--every", "6 hours", "--weight", "14.2 kg", "--age", "3 years 2 months"]  # fmt: skip
PROGRAM = Path(sys.executable).with_name("dosecheck")
WAYS = {
    "bare interpreter": [sys.executable, "-c", ""],
    "import click": [sys.executable, "-c", "import click"],
    "dosecheck order --json": [str(PROGRAM), *ORDER],
}
ROUNDS = 20


def once(arguments: list[str]) -> float:
    start = time.perf_counter()
    done = subprocess.run(arguments, capture_output=True, check=False)
    assert done.returncode == 0, done.stderr
    return time.perf_counter() - start


def main() -> None:
    times: dict[str, list[float]] = {name: [] for name in WAYS}
    for _ in range(ROUNDS):  # in turn, so that a busy moment hits all alike
        for name, arguments in WAYS.items():
            times[name].append(once(arguments))
    floor = statistics.median(times["import click"])
    for name, taken in times.items():
        print(f"{name:24} {statistics.median(taken) * 1000:6.1f} ms   {statistics.median(taken) / floor:4.2f} x import click")


if __name__ == "__main__":
    main()
