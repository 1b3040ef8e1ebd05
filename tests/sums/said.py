"""A sum asked by its name and texts, for the tests of this folder."""

from __future__ import annotations

from dosecheck.sums.frame import Reckoned, work_out
from dosecheck.sums.listing import find


def ask(name: str, formulary: object = None, **texts: str) -> Reckoned:
    return work_out(name, find(name), texts, formulary)


def value(reckoned: Reckoned, name: str) -> object:
    """The exact value of one result."""
    return {result.name: result.value for result in reckoned.answer.results}[name]


def codes(reckoned: Reckoned) -> list[str]:
    return [doubt.code for doubt in reckoned.answer.doubts]
