"""What takes the place of a working folder where the result is a pipe or a new table of a database."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Any, Self

from dosecheck.batch.database import NewTable, is_address
from dosecheck.batch.ledger import Tally
from dosecheck.batch.out import ResultWriter
from dosecheck.batch.work import Piece


class Straight:
    """Written piece after piece, as `Work` is: there is no ledger, and nothing put aside."""

    done, tally, whole = 0, Tally(), False

    def __init__(self, results: str | Path, columns: Sequence[str], own: Sequence[str], form: str) -> None:
        address = str(results)
        self._writer = NewTable(address, columns) if is_address(address) else ResultWriter(results, columns, own=own, form=form)

    def __enter__(self) -> Self:
        self._writer.__enter__()
        return self

    def write(self, piece: Piece) -> None:
        self._writer.write(piece.rows)

    def finish(self) -> dict[str, Any]:
        return {}

    def seal(self, ledger: dict[str, Any]) -> None: ...

    def __exit__(self, *error: Any) -> None:
        self._writer.__exit__(*error)
