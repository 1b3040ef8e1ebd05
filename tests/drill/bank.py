"""Questions for these tests: some of every kind and level, made once."""

from __future__ import annotations

from collections.abc import Iterator
from functools import cache
from pathlib import Path

from dosecheck import Formulary
from dosecheck.drill.kinds import KINDS
from dosecheck.drill.make import make
from dosecheck.drill.pool import Pool
from dosecheck.drill.question import LEVELS, Question

FOLDER = Path(__file__).parents[2] / "formulary"
POOL = Pool(Formulary(FOLDER))
SEEDS = 12


@cache
def question(kind: str, level: int, seed: int) -> Question:
    return make(kind, level, seed, POOL)


def questions(seeds: int = SEEDS) -> Iterator[Question]:
    return (question(kind, level, seed) for kind in KINDS for level in LEVELS for seed in range(seeds))


def amounts(seeds: int = SEEDS) -> Iterator[Question]:
    """Those with a number for an answer."""
    return (asked for asked in questions(seeds) if not isinstance(asked.answer, str))
