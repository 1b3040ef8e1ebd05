"""The ledger of a result: what was read, by which figures, what became of each row; and whether a result still agrees.

It stands beside the result (`results.csv` has `results.csv.ledger.json`) and holds no time and no folder's name: the
same orders, formulary, map and date give the same bytes.
"""

from __future__ import annotations

import hashlib
import json
from collections import Counter
from collections.abc import Sequence
from datetime import date
from pathlib import Path
from typing import Any, NamedTuple

from dosecheck.batch.colmap import ColumnMap
from dosecheck.batch.origin import Print, print_of
from dosecheck.errors import FileError
from dosecheck.formulary.folder import VERSION
from dosecheck.formulary.load import Formulary
from dosecheck.records import NOT_CHECKED, OUTCOMES
from dosecheck.rules.verdict import CAUTION

_FORM = 1  # raised when a ledger's keys change their meaning
UNREADABLE = "unreadable"  # the code of a refused row


class Tally(NamedTuple):
    """Counts of the rows so far: `rows` is the sum of `outcomes`; `refused` of them are not-checked because they cannot be read."""

    rows: int = 0
    outcomes: tuple[int, ...] = (0,) * len(OUTCOMES)
    refused: int = 0
    one_by_one: int = 0
    first_line: int | None = None
    last_line: int | None = None

    def plus(self, outcomes: Counter[str], refused: int, one_by_one: int, lines: tuple[int | None, int | None]) -> Tally:
        """With the rows of one more chunk; `lines` are those of its first and last row."""
        return Tally(
            self.rows + outcomes.total(),
            tuple(count + outcomes[name] for count, name in zip(self.outcomes, OUTCOMES, strict=True)),
            self.refused + refused,
            self.one_by_one + one_by_one,
            lines[0] if self.first_line is None else self.first_line,
            self.last_line if lines[1] is None else lines[1],
        )

    def answered(self) -> dict[str, int]:
        """By outcome, without the refused rows."""
        counts = dict(zip(OUTCOMES, self.outcomes, strict=True))
        return {**counts, NOT_CHECKED: counts[NOT_CHECKED] - self.refused}


class By(NamedTuple):
    """What the rows were checked by: the same in two runs, and the same orders give the same result."""

    formulary: Formulary
    today: date
    columns: ColumnMap | None

    def as_dict(self) -> dict[str, Any]:
        """Version, fingerprints and dates."""
        return {
            "program": f"dosecheck {VERSION}",
            "formulary": self.formulary.fingerprint,
            "as_of": str(self.formulary.as_of or ""),
            "undated_rows": self.today.isoformat(),
            "columns_map": _map_print(self.columns) if self.columns else "",
        }


def _map_print(columns: ColumnMap) -> str:
    return hashlib.sha256(json.dumps(vars(columns), sort_keys=True, default=str).encode()).hexdigest()[:16]


def path_of(results: str | Path) -> Path:
    """Where the ledger of a result stands."""
    return Path(f"{results}.ledger.json")


def alone(path: str | Path) -> bool:
    """Whether the name is that of a ledger; no result ends so."""
    return Path(path).suffix.lower() == ".json"


def ledger(read: Sequence[tuple[str, Print | None]], tally: Tally, by: By, written: dict[str, Any]) -> dict[str, Any]:
    """All that a ledger says.

    Args:
        read: of each file read its name and its print.
        written: name, bytes and SHA-256 of the result, and of what was written beside it.
    """
    return {
        "ledger": _FORM,
        "read": [{"name": name, **(each._asdict() if each else {"bytes": None, "sha256": None})} for name, each in read],
        "rows": tally.rows,
        "first_line": tally.first_line,
        "last_line": tally.last_line,
        "answered": tally.answered(),
        "refused": tally.refused,
        "proof": proof(tally),
        "by": by.as_dict(),
        **written,
        "caution": CAUTION,
    }


def proof(tally: Tally) -> str:
    """The sum, written out; it is never written where it does not come out."""
    answered = sum(tally.answered().values())
    if tally.rows != answered + tally.refused:
        raise AssertionError(f"{tally.rows} rows in, {answered} answered, {tally.refused} refused")
    return f"{tally.rows} rows in = {answered} answered + {tally.refused} refused"


def to_bytes(told: dict[str, Any]) -> bytes:
    """As it stands in the file."""
    return json.dumps(told, indent=2, ensure_ascii=False).encode() + b"\n"


def read_ledger(path: str | Path) -> dict[str, Any]:
    """Raises FileError: it cannot be read, or is no ledger of this version of the form."""
    try:
        told = json.loads(Path(path).read_bytes())
    except OSError as error:
        raise FileError(
            str(path), f"It cannot be read: {error.strerror}.", "A ledger stands beside its result; keep both together."
        ) from None
    except ValueError:
        told = None
    if not isinstance(told, dict) or told.get("ledger") != _FORM or not _whole(told):
        raise FileError(str(path), "It is not a whole ledger of dosecheck batch.", "Check the orders again, or fetch the ledger again.")
    return told


def _whole(told: dict[str, Any]) -> bool:
    """Whether everything is there that `verify` compares."""
    counts = [told.get("rows"), told.get("refused"), *(told["answered"].values() if isinstance(told.get("answered"), dict) else [None])]
    result = told.get("result")
    return all(type(count) is int for count in counts) and isinstance(result, dict) and {"bytes", "sha256"} <= set(result)


def print_or_error(path: str | Path) -> Print:
    """Raises FileError: the file cannot be read."""
    try:
        return print_of(path)
    except OSError as error:
        raise FileError(str(path), f"It cannot be read: {error.strerror}.", "Check the name and the rights.") from None
