"""Draws that are the same on every machine: a seed in, choices out.

Derivation: the text "dosecheck drill 1/KIND/LEVEL/SEED" seeds Python's `random.Random` (by SHA-512, whatever the hash
seed), and only its `random()` is used, which Python promises never to change.  The draws choose; they enter no dose.
"""

from __future__ import annotations

import random
from collections.abc import Sequence
from typing import TypeVar

T = TypeVar("T")
ROUND = 1  # of the derivation; another number makes every question anew


class Dice:
    """One question's draws."""

    def __init__(self, kind: str, level: int, seed: int) -> None:
        self._random = random.Random(f"dosecheck drill {ROUND}/{kind}/{level}/{seed}").random

    def pick(self, things: Sequence[T]) -> T:
        return things[int(self._random() * len(things))]

    def whole(self, least: int, most: int) -> int:
        """A whole number, both ends included."""
        return least + int(self._random() * (most - least + 1))
