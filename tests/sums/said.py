"""A sum asked by its name and texts, for the tests of this folder."""

from __future__ import annotations

from dosecheck import InputError
from dosecheck.sums.frame import Reckoned, work_out
from dosecheck.sums.listing import find


def ask(name: str, formulary: object = None, **texts: str) -> Reckoned:
    return work_out(name, find(name), texts, formulary)


def value(reckoned: Reckoned, name: str) -> object:
    """The exact value of one result."""
    return {result.name: result.value for result in reckoned.answer.results}[name]


def codes(reckoned: Reckoned) -> list[str]:
    return [doubt.code for doubt in reckoned.answer.doubts]


def result(name: str, of: str, **texts: str) -> object:
    """The exact value of one result of a sum asked by its texts."""
    return value(ask(name, **texts), of)


def faults(name: str, **texts: str) -> list[str]:
    """The fields that a refusal names; none where nothing is refused."""
    try:
        ask(name, **texts)
    except InputError as error:
        return [fault.field for fault in error.faults]
    return []
