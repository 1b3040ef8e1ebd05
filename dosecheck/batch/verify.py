"""Whether a result, its ledger and, where it is named, the file of orders still agree."""

from __future__ import annotations

from collections import Counter
from pathlib import Path
from typing import Any, NamedTuple

from dosecheck.batch.database import is_address
from dosecheck.batch.files import read_orders, sources_of
from dosecheck.batch.forms import STANDARD
from dosecheck.batch.ledger import UNREADABLE, alone, path_of, print_or_error, read_ledger
from dosecheck.batch.several import names_of
from dosecheck.errors import FileError
from dosecheck.records import OUTCOMES


class Compared(NamedTuple):
    """One thing that the ledger says, and what is found; `of_orders`: of what was read, not of the result."""

    what: str
    said: Any
    found: Any
    of_orders: bool = False

    @property
    def agrees(self) -> bool:
        return self.said == self.found


def verify(results: str | Path, orders: str | Path | None = None) -> list[Compared]:
    """Reads the result again from the first byte to the last.

    Args:
        results: or a ledger alone, of a result that is no file (`not_compared` says what that leaves out).
        orders: the file of orders, or a folder or pattern of them, where they should be compared too.

    Raises:
        FileError: a file cannot be read, or there is no ledger.
    """
    if alone(results):
        told = _of_no_file(results)
        return [_sum(told), *(_origin(told, orders) if orders else [])]
    told = read_ledger(path_of(results))
    found = print_or_error(results)
    said = told["result"]
    same = [Compared("bytes of the result", said["bytes"], found.bytes), Compared("SHA-256 of the result", said["sha256"], found.sha256)]
    same += _counts(told, *_counted(results))
    same += _origin(told, orders) if orders else []
    return same


def _counted(results: str | Path) -> tuple[Counter[str], int]:
    """The rows by outcome, and how many were refused."""
    outcomes, refused = Counter(), 0
    for chunk in read_orders(results):
        if not {"outcome", "codes"} <= set(chunk.rows.columns):
            raise FileError(str(results), "It has no columns of results.", "Name the result of a file of orders.")
        outcomes.update(dict(chunk.rows["outcome"].value_counts().iter_rows()))
        refused += int(chunk.rows["codes"].eq(UNREADABLE).sum())
    return outcomes, refused


def _counts(told: dict[str, Any], outcomes: Counter[str], refused: int) -> list[Compared]:
    answered = {name: outcomes[name] for name in OUTCOMES}
    answered["not-checked"] -= refused
    rows = [Compared("rows", told["rows"], outcomes.total())]
    rows += [Compared(f"answered {name}", told["answered"].get(name), count) for name, count in answered.items()]
    rows.append(Compared("refused", told["refused"], refused))
    return [*rows, _sum(told)]


def _sum(told: dict[str, Any]) -> Compared:
    return Compared("rows in = answered + refused", told["rows"], sum(told["answered"].values()) + told["refused"])


def not_compared(results: str | Path) -> str:
    """What `verify` leaves out, and why; "" where that is nothing."""
    if not alone(results):
        return ""
    where = _of_no_file(results)["result"].get("name")
    return f"The rows of the result cannot be compared: they went to {'standard output' if where == STANDARD else where}, which is no file."


def _of_no_file(path: str | Path) -> dict[str, Any]:
    """A ledger that stands beside no result."""
    told = read_ledger(path)
    if told["result"]["sha256"] is not None:
        raise FileError(str(path), "This is the ledger of a file.", f"Name that file, {told['result'].get('name')}.")
    return told


def _origin(told: dict[str, Any], orders: str | Path) -> list[Compared]:
    """The file, or each file of a folder or pattern; one that was given another name since is the same where it is the only one."""
    if is_address(str(orders)):
        raise FileError(str(orders), "What a database holds now cannot be compared with what it held.", "Leave --orders out.")
    read, paths = told.get("read") or [{}], sources_of(orders)
    if len(read) == len(paths) == 1:
        return _file("the orders", read[0], paths[0])
    said = {each.get("name"): each for each in read}
    compared = [Compared("files of orders", len(read), len(paths), True)]
    for name, path in zip(names_of(paths), paths, strict=True):
        compared += _file(f"the orders in {name}", said.get(name, {}), path)
    return compared


def _file(what: str, said: dict[str, Any], path: str) -> list[Compared]:
    found = print_or_error(path)
    return [
        Compared(f"bytes of {what}", said.get("bytes"), found.bytes, True),
        Compared(f"SHA-256 of {what}", said.get("sha256"), found.sha256, True),
    ]
