"""A chart of 100 doses and 4 orders, warm: the whole check, and with its JSON and its picture.

python tests/bench/bench_chart.py
"""

from __future__ import annotations

import json
import statistics
import time
from collections.abc import Callable

from dosecheck import Formulary
from dosecheck.chart_file import Chart, read_chart
from dosecheck.reports.timeline import timeline_svg
from dosecheck.rules.chart import check_chart

MEDICINES = {"paracetamol": "200 mg", "ibuprofen": "140 mg", "ondansetron": "2 mg", "amoxicillin": "250 mg"}
ROUNDS = 200


def chart() -> Chart:
    """100 doses over five days, of four medicines that are all ordered as well."""
    given = [
        {"medicine": name, "route": "oral", "dose": dose, "ago": f"{hours} hours"}
        for hours in range(5, 130, 5)
        for name, dose in MEDICINES.items()
    ]
    orders = [{"medicine": name, "route": "oral", "dose": dose, "every": "8 hours"} for name, dose in MEDICINES.items()]
    file = {"now": "2026-05-04 14:30Z", "child": {"weight": "14.2 kg", "age": "3 years"}, "order": orders, "given": given}
    return read_chart("chart.json", json.dumps(file).encode())


def milliseconds(work: Callable[[], object]) -> float:
    work()
    times = []
    for _ in range(ROUNDS):
        start = time.perf_counter()
        work()
        times.append((time.perf_counter() - start) * 1000)
    return statistics.median(times)


def main() -> None:
    read, formulary = chart(), Formulary()
    verdict = check_chart(read, formulary)
    print(f"{len(read.earlier.doses)} doses, {len(read.orders)} orders: {verdict.outcome}")
    print(f"check            {milliseconds(lambda: check_chart(read, formulary)):6.2f} ms (floor: 5 ms)")
    print(f"check and JSON   {milliseconds(lambda: json.dumps(check_chart(read, formulary).as_dict())):6.2f} ms")
    print(f"check and SVG    {milliseconds(lambda: timeline_svg(check_chart(read, formulary))):6.2f} ms")


if __name__ == "__main__":
    main()
