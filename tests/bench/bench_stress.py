"""How fast a stress run draws, seeds and checks, beside its floor: `python tests/bench/bench_stress.py [orders a regimen]`.

The floor is the batch engine alone on the very same rows.
"""

from __future__ import annotations

import sys
import time
from datetime import date
from pathlib import Path

sys.path[:0] = [str(Path(__file__).parents[2])]

from dosecheck.batch.run import Batch  # noqa: E402
from dosecheck.formulary.load import Formulary  # noqa: E402
from dosecheck.workshop.advice.children import in_force  # noqa: E402
from dosecheck.workshop.stress.right import right_orders  # noqa: E402
from dosecheck.workshop.stress.run import answer, stress  # noqa: E402
from dosecheck.workshop.stress.seeds import seeded  # noqa: E402

DAY = date(2026, 11, 25)


def main(each: int) -> None:
    formulary = Formulary(Path(__file__).parents[2] / "formulary")
    began = time.perf_counter()
    found = stress(formulary, DAY, each)
    whole = time.perf_counter() - began
    rights = [r for m in formulary.medicines() for g in in_force(m, DAY) for r in right_orders(formulary, m, g, each, 1)]
    orders = [(right, slip) for right in rights for slip in [None, *seeded(right)]]
    began = time.perf_counter()
    list(answer(Batch(formulary, DAY), orders))
    alone = time.perf_counter() - began
    print(f"{len(orders):,} orders, {found.rights.whole:,} of them right: {whole:.1f} s, {len(orders) / whole:,.0f} a second")
    print(f"floor, the batch engine alone on these rows: {alone:.1f} s ({whole / alone:.2f} times)")


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 20)
