"""A run's working folder, beside the result (`results.csv.unfinished`): what is written before anything gets its own name.

After each chunk the lengths of the files and the counts are written down, so that a run that was killed can go on
from there: the files are cut back to those lengths, and the rows that were answered are read again but not answered again.
When all is whole the refused rows, the ledger and, last, the result get their names.
"""

from __future__ import annotations

import hashlib
import os
import shutil
import sys
from collections.abc import Iterator, Sequence
from contextlib import contextmanager, suppress
from pathlib import Path
from types import TracebackType
from typing import Any, BinaryIO, NamedTuple, Self

import polars as pl

from dosecheck.batch.aside import REASONS_HEADER, Aside, reasons
from dosecheck.batch.ledger import Tally, path_of, to_bytes
from dosecheck.batch.origin import Print
from dosecheck.batch.out import check_place, reason, sync_folder
from dosecheck.batch.out_forms import can_go_on, writer_of
from dosecheck.batch.unfinished import STATE, State, damaged, earlier, must_be_same
from dosecheck.errors import FileError

_ROWS, _REFUSED, _WHY, _LEDGER, _LOCK = "rows", "refused", "why", "ledger", "lock"
_PIECE = 1 << 20


class Piece(NamedTuple):
    """One chunk answered: its result rows, its refused rows, and the counts with it."""

    rows: pl.DataFrame
    refused: list[Aside]
    tally: Tally


class Work:
    """Writes pieces; leave the `with` block after `finish`, and all is in place.

    Args:
        results: the final place of the result; `refused` those of the refused rows and of the reasons.
        columns, own: as for `ResultWriter`.
        header: what the file of refused rows begins with.
        settings: what must be the same for a run to go on, in words: {"formulary": ...}.
        source: the file of orders, which is never written over.
        resume: go on with an unfinished run, if there is one.

    `done` and `tally` say what an earlier run has written: so many pieces, and their counts.

    Raises:
        FileError: an unfinished run is there and `resume` is false, or was of other settings, or is under way; or the
            place cannot be written.
    """

    def __init__(
        self,
        results: str | Path,
        refused: tuple[Path, Path],
        columns: Sequence[str],
        own: Sequence[str],
        header: bytes,
        settings: dict[str, Any],
        resume: bool,
        source: str | Path | None = None,
    ) -> None:
        self._results, self._columns, self._own = Path(results), list(columns), list(own)
        self._form, self._can_go_on = writer_of(self._results, False), can_go_on(self._results)
        for place in (self._results, *refused):
            check_place(place, source)
        self._final = Path(os.path.realpath(results))
        self.folder = self._final.with_name(self._final.name + ".unfinished")
        self._finals = {_REFUSED: refused[0], _WHY: refused[1], _LEDGER: path_of(self._final), _ROWS: self._final}
        self._header, self._settings, self._resume = header, must_be_same(settings), resume
        self.done, self.tally, self._line, self._whole = 0, Tally(), 1 + header.count(b"\n"), False
        self._new = False  # until it is known that the folder is no other run's
        self._files: dict[str, BinaryIO] = {}
        self._out = None

    @contextmanager
    def _one_error(self) -> Iterator[None]:
        try:
            yield
        except OSError as error:
            why = f"It cannot be written: {reason(error)}. The result is not complete."
            kept = f" {self.tally.rows:,} rows are kept in {self.folder.name}: --resume goes on from there." if self.done else ""
            raise FileError(str(self._results), why, f"Make room or choose another place, and run again.{kept}") from error

    def __enter__(self) -> Self:
        with self._one_error():
            self.folder.mkdir(exist_ok=True)
            self._lock = open(self.folder / _LOCK, "wb")
        try:
            self._lock_it()
            state = self._take_up()
            if self._resume and not (self._can_go_on or self._whole):
                raise FileError(
                    str(self._results), "A result of this form cannot be gone on with.", "Leave --resume out, or write .csv or .parquet."
                )
            with self._one_error():
                self._open(state)
        except BaseException:
            self._close()
            if self._new:
                self._remove()
            raise
        return self

    def _lock_it(self) -> None:
        try:
            import fcntl
        except ImportError:  # a system without: there two runs at once are the user's own care
            return
        try:
            fcntl.flock(self._lock, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except OSError:
            raise FileError(str(self._results), "Another run is writing this result.", "Wait for it, or name another result.") from None

    def _take_up(self) -> State | None:
        """What an earlier run wrote down; None where this one starts from the first row."""
        state = earlier(self._results, self.folder, self._settings, self._resume)
        self._new = state is None
        if state:
            self.tally, self._line, self._whole = state.tally, state.line, state.whole
            self.done = sys.maxsize if self._whole else state.done  # every piece, also of a form that cannot go on
        return state

    def _open(self, state: State | None) -> None:
        self._digests = {name: hashlib.sha256() for name in (_ROWS, _REFUSED, _WHY)}
        self._read = dict.fromkeys(self._digests, 0)
        if self._whole:
            return
        for name in self._digests:
            self._files[name] = open(self.folder / name, "ab" if state else "wb")  # noqa: SIM115
        self._out = self._form(self._files[_ROWS], self._columns, self._own)
        if state:
            self._go_on(state.prints)
        else:
            self._out.begin()
            self._files[_REFUSED].write(self._header)
            self._files[_WHY].write(REASONS_HEADER)

    def _go_on(self, prints: dict[str, Print]) -> None:
        """From the files as they were when they were written down."""
        for name, file in self._files.items():
            if os.fstat(file.fileno()).st_size < prints[name].bytes:
                raise damaged(self._results, self.folder, f"{name} is too short")
            os.ftruncate(file.fileno(), prints[name].bytes)
            file.seek(0, os.SEEK_END)
            self._digest(name)
            if self._print(name) != prints[name]:
                raise damaged(self._results, self.folder, f"{name} was changed")
        try:
            self._out.go_on()
        except ValueError as error:
            raise damaged(self._results, self.folder, f"{_ROWS} cannot be read") from error

    def write(self, piece: Piece) -> None:
        """Add one piece, safe on the disk, and write down that it is there."""
        with self._one_error():
            self._out.write(piece.rows.select(self._columns))
            self._files[_REFUSED].writelines(row.given for row in piece.refused)
            self._files[_WHY].write(reasons(piece.refused, self._line))
            self._sync()
            self._line += sum(row.given.count(b"\n") for row in piece.refused)
            self.tally = piece.tally
            if self._can_go_on:
                self._note(self.done + 1)
                self.done += 1

    def _sync(self) -> None:
        """Everything onto the disk, into the digests, and out of the system's memory, where a large result would push out all else."""
        for name, file in self._files.items():
            file.flush()
            os.fsync(file.fileno())
            self._digest(name)
            with suppress(OSError, AttributeError):  # advice that not every system takes
                os.posix_fadvise(file.fileno(), 0, 0, os.POSIX_FADV_DONTNEED)

    def _digest(self, name: str) -> None:
        with open(self.folder / name, "rb", buffering=0) as file:
            file.seek(self._read[name])
            while piece := file.read(_PIECE):
                self._digests[name].update(piece)
                self._read[name] += len(piece)

    def _print(self, name: str) -> Print:
        return Print(self._read[name], self._digests[name].hexdigest())

    def _note(self, done: int, whole: bool = False) -> None:
        prints = {name: self._print(name) for name in self._digests}
        State(self._settings, done, self._line, whole, self.tally, prints).save(self.folder)

    def finish(self) -> dict[str, Any]:
        """Ends the files; what a ledger says of each."""
        with self._one_error():
            self._out.finish()
            self._out = None  # Arrow's writer would end the file a second time
            self._sync()
        prints = {name: self._print(name) for name in self._digests}
        aside = self.tally.refused > 0
        return {
            "result": {"name": self._results.name, **prints[_ROWS]._asdict()},
            "refused_rows": {"name": self._finals[_REFUSED].name, **prints[_REFUSED]._asdict()} if aside else None,
            "reasons": {"name": self._finals[_WHY].name, **prints[_WHY]._asdict()} if aside else None,
        }

    @property
    def whole(self) -> bool:
        """Everything was written by the run before, and has only to be put in place."""
        return self._whole

    def seal(self, ledger: dict[str, Any]) -> None:
        """Write the ledger too; from here on all that is left is to give the names."""
        with self._one_error():
            with open(self.folder / _LEDGER, "wb") as file:
                file.write(to_bytes(ledger))
                file.flush()
                os.fsync(file.fileno())
            self._note(self.done, whole=True)
            self._whole = True

    def __exit__(self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None) -> None:
        self._close()
        if kind is None:
            with self._one_error():
                self._put_in_place()
            self._remove()
        elif not (self.done and (kind is KeyboardInterrupt or isinstance(error.__cause__, OSError))):
            self._remove()  # going on would end the same way

    def _put_in_place(self) -> None:
        for name, final in self._finals.items():
            part, final = self.folder / name, Path(os.path.realpath(final))
            if not part.exists() or (name in (_REFUSED, _WHY) and not self.tally.refused and not final.exists()):
                continue  # an older file of refused rows is replaced by an empty one, lest it is fed back again
            if final.exists():
                shutil.copymode(final, part)
            os.replace(part, final)
        sync_folder(self._final.parent)

    def _close(self) -> None:
        if self._out is not None:
            with suppress(Exception):
                self._out.finish()
        for file in (*self._files.values(), self._lock):
            with suppress(OSError):
                file.close()

    def _remove(self) -> None:
        halves = self.folder.glob(f".{STATE}.*.part")  # of a state that was being written when the run was killed
        for path in (*halves, *(self.folder / name for name in (_ROWS, _REFUSED, _WHY, _LEDGER, STATE, _LOCK))):
            with suppress(OSError):
                path.unlink(missing_ok=True)
        with suppress(OSError):
            self.folder.rmdir()
