"""What the ledger beside a result says of it: by which figures it was checked, and whether the result is still the one written."""

from __future__ import annotations

import os
from collections import Counter
from typing import Any, NamedTuple

from dosecheck.batch.ledger import path_of, print_or_error, read_ledger
from dosecheck.errors import FileError
from dosecheck.formulary.load import Formulary
from dosecheck.records import NOT_CHECKED, OUTCOMES

_AGAIN = "Do not work from this report before the orders were checked again."


class Ledger(NamedTuple):
    """`fingerprint` of the formulary that the orders were checked by, "" where nothing tells; `proof` in words; `told`: all of it."""

    fingerprint: str
    proof: str
    told: dict[str, Any] | None
    fault: str


def ledger_of(path: str) -> Ledger:
    """The ledger beside a result; a missing or broken one is told, not raised."""
    place = path_of(path)
    if not os.path.exists(place):
        return Ledger("", "", None, "There is no ledger beside the result, so that nothing proves that it is whole.")
    try:
        told = read_ledger(place)
    except FileError as error:
        return Ledger("", "", None, f"The ledger beside it cannot be used: {error.why} {_AGAIN}")
    by = told.get("by")
    return Ledger(str(by.get("formulary", "")) if isinstance(by, dict) else "", _sum_of(told), told, "")


def _sum_of(told: dict[str, Any]) -> str:
    """The ledger's own proof, in numbers that can be read; "" where it does not come out."""
    rows, answered, refused = told["rows"], sum(told["answered"].values()), told["refused"]
    return f"{rows:,} rows in = {answered:,} answered + {refused:,} refused" if rows == answered + refused else ""


def at_hand(formulary: Formulary | None, ledger: Ledger) -> tuple[Formulary | None, list[str]]:
    """The formulary where it is that of the check; else none, and a notice that says so."""
    if formulary is None or ledger.fingerprint in ("", formulary.fingerprint):
        return formulary, []
    why = f"The orders were checked by formulary {ledger.fingerprint}, and the one at hand is {formulary.fingerprint}."
    return None, [f"{why} So sources stand by their ids and no range is drawn: name the other with --formulary."]


def notices(path: str, ledger: Ledger, outcomes: Counter[str], unreadable: int) -> list[str]:
    """What whoever reads the report must know of the result first."""
    if ledger.told is None:
        return [ledger.fault]
    said = {**ledger.told["answered"], "refused": ledger.told["refused"], "rows": ledger.told["rows"]}
    found = {name: outcomes[name] - unreadable * (name == NOT_CHECKED) for name in OUTCOMES}
    found |= {"refused": unreadable, "rows": outcomes.total()}
    other = [f"{name} {said.get(name)}, found {count}" for name, count in found.items() if said.get(name) != count]
    written, now = ledger.told["result"], print_or_error(path)
    if not other and written["sha256"] != now.sha256:
        other = ["its SHA-256 is another"]
    return [f"This result is not the one that its ledger was written for: {'; '.join(other)}. {_AGAIN}"] if other else []
