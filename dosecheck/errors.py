"""Every error that dosecheck raises on purpose.

One root, `DosecheckError`, stands above them all.  Each says what is wrong, where, why, and what to write
instead; those that can hold several faults hold all of them, so that nobody mends a file one fault at a time.
"""

from __future__ import annotations

from typing import NamedTuple


class DosecheckError(Exception):
    """Root of all errors raised on purpose; its text is fit to be shown to the user."""


class KindError(DosecheckError):
    """Unlike kinds were put together, such as a drug's mass and a child's weight, or a unit is not of its kind."""


class TextError(DosecheckError):
    """A text cannot be read as what it should be: `given`, `why`, and what to `write` instead."""

    def __init__(self, given: str, why: str, write: str) -> None:
        self.given, self.why, self.write = given, why, write
        super().__init__(f"{why} {write}".strip())


class Fault(NamedTuple):
    """One fault of an input: the field, what was given, why it cannot be used, what to write."""

    field: str
    given: str
    why: str
    write: str

    def __str__(self) -> str:
        shown = f' "{self.given}"' if self.given else ""
        return f"{self.field}{shown}: {self.why} {self.write}".rstrip()


class InputError(DosecheckError):
    """An order or a child cannot be read; `faults` lists every fault at once."""

    def __init__(self, faults: list[Fault]) -> None:
        self.faults = faults
        super().__init__("\n".join(map(str, faults)))


class FormularyFault(NamedTuple):
    """One fault of a formulary: file, the entry in it, the key, what is wrong, what to write.

    `line` and `column`, from 1, are where an editor should go; 0 where the fault is of no one place.
    """

    file: str
    entry: str
    key: str
    why: str
    write: str = ""
    line: int = 0
    column: int = 0

    def __str__(self) -> str:
        return self._told(self.file)

    @property
    def located(self) -> str:
        """ "medicines/exampol.toml:42:1, regimen ...": as editors and terminals find it."""
        return self._told(f"{self.file}:{self.line}:{self.column}" if self.line else self.file)

    def _told(self, file: str) -> str:
        place = ", ".join(part for part in (file, self.entry, self.key) if part)
        return f"{place}: {self.why} {self.write}".rstrip()


class FormularyError(DosecheckError):
    """A formulary cannot be used; `faults` lists every fault of the folder."""

    def __init__(self, faults: list[FormularyFault]) -> None:
        self.faults = faults
        super().__init__("\n".join(map(str, faults)))


class FileError(DosecheckError):
    """A file cannot be read or written as asked: `path`, `why`, and what to `write` or do instead."""

    def __init__(self, path: str, why: str, write: str = "") -> None:
        self.path, self.why, self.write = str(path), why, write
        super().__init__(f"{path}: {why} {write}".rstrip())
