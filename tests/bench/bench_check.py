"""`check_order`, warm, with findings and working, a second.

python tests/bench/bench_check.py
"""

from __future__ import annotations

import time

from dosecheck import Child, Formulary, Order, check_order

CASES = [
    (
        Order(medicine="paracetamol", route="oral", dose="210 mg", every="6 hours", for_="pain"),
        Child(weight="14.2 kg", age="3 years 2 months"),
    ),
    (
        Order(medicine="paracetamol", route="oral", dose="2100 mg", every="4 hours", for_="pain"),
        Child(weight="14.2 kg", age="3 years 2 months"),
    ),
    (
        Order(medicine="ibuprofen", route="oral", dose="5 mL", every="8 hours", product="oral-liquid-100-in-5"),
        Child(weight="22 kg", born="2020-02-29", on="2026-05-04"),
    ),
]
SECONDS = 3


def main() -> None:
    formulary = Formulary()
    for order, child in CASES:
        verdict = check_order(order, child, formulary)
        count, start = 0, time.perf_counter()
        while time.perf_counter() - start < SECONDS:
            check_order(order, child, formulary)
            count += 1
        print(f"{order.medicine:12} {verdict.outcome:12} {count / (time.perf_counter() - start):8,.0f} checks a second")


if __name__ == "__main__":
    main()
