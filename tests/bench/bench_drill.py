"""How well the drill tells mistakes apart, and how fast it makes and marks: `python tests/bench/bench_drill.py [seeds]`.

Prints, for each kind: generated wrong answers whose slip is told (alone or among equals), for single slips and for pairs;
random numbers blamed on a slip; and the time to make one question and to mark one answer.
"""

from __future__ import annotations

import random
import sys
import time
from pathlib import Path

sys.path[:0] = [str(Path(__file__).parents[2]), str(Path(__file__).parents[1])]

from drill.bank import POOL  # noqa: E402
from drill.noise import log_uniform, other_digits, wrong_answers  # noqa: E402

from dosecheck.drill.diagnose import diagnose  # noqa: E402
from dosecheck.drill.kinds import KINDS  # noqa: E402
from dosecheck.drill.make import make  # noqa: E402
from dosecheck.drill.mark import mark  # noqa: E402
from dosecheck.drill.question import LEVELS  # noqa: E402
from dosecheck.quantity import factor  # noqa: E402


def share(part: int, whole: int) -> str:
    return f"{100 * part / whole:6.2f} % of {whole:6d}" if whole else f"{'-':>18}"


def main(seeds: int) -> None:
    rng = random.Random(1)
    print(f"{'kind':16}{'one slip told':>20}{'pair told':>20}{'random blamed':>20}{'make ms':>9}{'mark ms':>9}")
    for kind in KINDS:
        began = time.perf_counter()
        asked = [make(kind, level, seed, POOL) for level in LEVELS for seed in range(seeds)]
        made = time.perf_counter() - began
        told, tried, blamed, random_ones = {1: 0, 2: 0}, {1: 0, 2: 0}, 0, 0
        for question in asked:
            if isinstance(question.answer, str):
                continue
            for traps, _, named in wrong_answers(question):
                tried[len(traps)] += 1
                told[len(traps)] += named
            for noise in (log_uniform, other_digits):
                for _ in range(10):
                    value = noise(question, rng) * factor(question.answer.unit, question.answer.kind)
                    if value and not question.is_right(value):
                        random_ones += 1
                        blamed += bool(diagnose(question, value).explanations)
        began = time.perf_counter()
        for question in asked:
            mark(question, f"17.3 {question.answer.unit}" if not isinstance(question.answer, str) else "stop")
        marked = time.perf_counter() - began
        each = 1000 / len(asked)
        row = (share(told[1], tried[1]), share(told[2], tried[2]), share(blamed, random_ones))
        print(f"{kind:16}{row[0]:>20}{row[1]:>20}{row[2]:>20}{made * each:9.2f}{marked * each:9.2f}")


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 10)
