"""Whether a result, its ledger and, where it is named, the file of orders still agree."""

from __future__ import annotations

from collections import Counter
from pathlib import Path
from typing import Any, NamedTuple

from dosecheck.batch.database import is_address
from dosecheck.batch.files import read_orders, sources_of
from dosecheck.batch.ledger import UNREADABLE, path_of, print_or_error, read_ledger
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
        orders: the file of orders, or a folder or pattern of them, where they should be compared too.

    Raises:
        FileError: a file cannot be read, or there is no ledger.
    """
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
    total = sum(told["answered"].values()) + told["refused"]
    return [*rows, Compared("rows in = answered + refused", told["rows"], total)]


def _origin(told: dict[str, Any], orders: str | Path) -> list[Compared]:
    """The file, or each file of a folder or pattern; one that was given another name since is the same where it is the only one."""
    if is_address(str(orders)):
        raise FileError(str(orders), "What a database holds now cannot be compared with what it held.", "Leave --orders out.")
    read, paths = told.get("read") or [{}], sources_of(orders)
    if len(read) == len(paths) == 1:
        return _file("the orders", read[0], paths[0])
    said = {each.get("name"): each for each in read}
    compared = [Compared("files of orders", len(read), len(paths), True)]
    for path in paths:
        compared += _file(f"the orders in {Path(path).name}", said.get(Path(path).name, {}), path)
    return compared


def _file(what: str, said: dict[str, Any], path: str) -> list[Compared]:
    found = print_or_error(path)
    return [
        Compared(f"bytes of {what}", said.get("bytes"), found.bytes, True),
        Compared(f"SHA-256 of {what}", said.get("sha256"), found.sha256, True),
    ]
