"""The published proportions in which slips are seeded: `evidence.toml`, read exactly."""

from __future__ import annotations

import tomllib
from fractions import Fraction
from functools import cache
from math import prod
from pathlib import Path
from typing import Any

_FILE = Path(__file__).with_name("evidence.toml")


@cache
def read() -> dict[str, Any]:
    return tomllib.loads(_FILE.read_text(encoding="utf-8"))


def shares() -> dict[tuple[str, str], Fraction]:
    """(slip, "over" or "under") to its share of all wrong orders; what is not in it has no published share."""
    return {(row["slip"], row["way"]): prod(map(Fraction, row["parts"])) for row in read()["share"]}


def sources() -> list[str]:
    """Each published figure with its source, one sentence each."""
    return [f"{row['says']} [{row['source']}. {row['title']}]" for row in read()["figure"]]
