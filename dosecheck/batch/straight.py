"""What takes the place of a working folder where the result is a pipe or a new table of a database."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Any, Self

from dosecheck.batch.database import NewTable, is_address, told
from dosecheck.batch.ledger import Tally, alone, to_bytes
from dosecheck.batch.out import ResultWriter, check_place
from dosecheck.batch.work import Piece
from dosecheck.errors import FileError
from dosecheck.saving import save


class Straight:
    """Written piece after piece, as `Work` is: nothing is put aside, and there is a ledger only where one is asked for.

    Args:
        results, columns, own, form: as for `ResultWriter`.
        ledger: where the ledger goes once all is written; None: nowhere.
        source: the file of orders, which is never written over.

    Raises:
        FileError: the result or the ledger cannot be written.
    """

    done, tally, whole = 0, Tally(), False

    def __init__(
        self,
        results: str | Path,
        columns: Sequence[str],
        own: Sequence[str],
        form: str,
        ledger: str | Path | None = None,
        source: str | Path | None = None,
    ) -> None:
        if ledger is not None:
            _check(ledger, source)
        address = str(results)
        self._name, self._ledger = Path(told(address)).name, ledger
        self._writer = NewTable(address, columns) if is_address(address) else ResultWriter(results, columns, own=own, form=form)

    def __enter__(self) -> Self:
        self._writer.__enter__()
        return self

    def write(self, piece: Piece) -> None:
        self._writer.write(piece.rows)

    def finish(self) -> dict[str, Any]:
        return {"result": {"name": self._name, "bytes": None, "sha256": None}, "refused_rows": None, "reasons": None}

    def seal(self, ledger: dict[str, Any]) -> None:
        self._sealed = to_bytes(ledger)

    def __exit__(self, *error: Any) -> None:
        self._writer.__exit__(*error)
        if self._ledger is not None and error[0] is None:
            save(self._ledger, self._sealed)


def _check(ledger: str | Path, source: str | Path | None) -> None:
    """Before the first row: what can be known then of whether the ledger can be written."""
    if not alone(ledger):
        raise FileError(str(ledger), "A ledger is told by the end of its name.", "Let it end in .json.")
    check_place(ledger, source)
    if not Path(ledger).absolute().parent.is_dir():
        raise FileError(str(ledger), "There is no such folder.", "Make it, or choose another place for the ledger.")
