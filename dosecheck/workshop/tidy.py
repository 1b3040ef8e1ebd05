"""A formulary's file put in order: keys as formulary/README.md lists them, the signs of equality one below the other.

The text itself is moved about by whole lines, so that comments, line ends and the spelling of values stay.  Keys are
ordered within a paragraph (lines without an empty one between them); a comment above a key goes with the key.
"""

from __future__ import annotations

import os
from collections.abc import Iterator
from typing import NamedTuple

from dosecheck.errors import DosecheckError, FileError, FormularyError, FormularyFault
from dosecheck.formulary.folder import parse, read_folder
from dosecheck.formulary.lint import model_of
from dosecheck.formulary.plainly import keys_at
from dosecheck.formulary.spots import Path, Spot, spots
from dosecheck.tables_read import read_file

_GAP = "  "  # before a comment for which the line has grown too long


class _Entry(NamedTuple):
    """A key with its value and the comment behind it, and the comment lines above it."""

    above: str
    name: str
    key: str
    value: str
    behind: str  # with the spaces before it
    column: int  # of that comment, from the line's start; -1 where the value runs over several lines
    end: str


def tidied(name: str, content: bytes) -> bytes:
    """The file in order; a second time changes nothing.

    Args:
        name: as in the folder ("medicines/exampol.toml"): it says which keys there are.

    Raises:
        FormularyError: it is not TOML.
        DosecheckError: it would mean something else afterwards, and was left.
    """
    before = parse(name, content)
    mark = content[:3] if content.startswith(b"\xef\xbb\xbf") else b""
    text = content.removeprefix(mark).decode()
    new = mark + "".join(_Order(name, text).lines()).encode()
    if parse(name, new) != before:
        raise DosecheckError(f"{name}: it could not be put in order without changing what it says. Nothing was written.")
    return new


def tidied_files(paths: tuple[str, ...]) -> dict[str, tuple[bytes, bytes]]:
    """Path to what a file says now and in order, for files and for whole formularies; nothing is written.

    Raises:
        FormularyError: every fault that hinders it, of all files at once.
        FileError: a file that cannot be read.
    """
    found: dict[str, tuple[bytes, bytes]] = {}
    faults: list[FormularyFault] = []
    for path in paths:
        try:
            files = read_folder(path) if os.path.isdir(path) else {"": _content(path)}
        except FormularyError as error:
            faults += error.faults
            continue
        for name, content in files.items():
            file = os.path.join(path, name) if name else path
            try:
                found[file] = content, tidied(name or name_of(path), content)
            except FormularyError as error:
                faults += [fault._replace(file=file) for fault in error.faults]
    if faults:
        raise FormularyError(faults)
    return found


def _content(path: str) -> bytes:
    """A single file, under the same rules as one of a folder."""
    if os.path.exists(path) and not os.path.isfile(path):
        raise FileError(path, "It is no plain file.", "Name a file of a formulary, or its folder.")
    return read_file(path)


def name_of(path: str) -> str:
    """The name in the folder of a file that may stand anywhere: by its own name, or by the folder it stands in."""
    folder, base = os.path.split(os.path.abspath(path))
    if model_of(base):
        return base
    return f"{'local' if os.path.basename(folder) == 'local' else 'medicines'}/{base}"


class _Order:
    def __init__(self, name: str, text: str) -> None:
        self._model = model_of(name)
        self._line_end = "\r\n" if "\r\n" in text else "\n"
        self._text = text if text.endswith("\n") or not text else text + self._line_end

    def lines(self) -> Iterator[str]:
        text, at, table = self._text, 0, ()
        heads = {self._start(spot): spot for spot in _outermost(spots(text))}
        paragraph: list[_Entry] = []
        above = ""
        while at < len(text):
            spot = heads.get(at)
            end = text.index("\n", spot.end if spot else at) + 1
            line = text[at:end]
            if spot and not spot.header:
                paragraph.append(self._entry(above, spot, table, at, end))
                above = ""
            elif line.lstrip().startswith("#"):
                above += line
            else:
                yield from self._paragraph(paragraph, table)
                yield above + line
                paragraph, above = [], ""
                table = spot.path if spot else table
            at = end
        yield from self._paragraph(paragraph, table)
        yield above

    def _start(self, spot: Spot) -> int:
        return self._text.rfind("\n", 0, spot.start) + 1

    def _entry(self, above: str, spot: Spot, table: Path, at: int, end: int) -> _Entry:
        text = self._text
        key = text[spot.start : spot.value].rstrip().removesuffix("=").rstrip()
        value, behind = text[spot.value : spot.end], text[spot.end : end].rstrip()
        column = -1 if "\n" in value else spot.end - at + len(behind) - len(behind.lstrip())
        return _Entry(above, spot.path[len(table)], key, value, behind, column, "\r\n" if text[:end].endswith("\r\n") else "\n")

    def _paragraph(self, entries: list[_Entry], table: Path) -> Iterator[str]:
        if not entries:
            return
        rank = {key: number for number, key in enumerate(self._known(table))}
        width = max(len(entry.key) for entry in entries)
        for entry in sorted(entries, key=lambda entry: rank.get(entry.name, len(rank))):
            line = f"{entry.key:<{width}} = {entry.value}"
            yield f"{entry.above}{line}{_behind(entry, len(line))}{entry.end}"

    def _known(self, table: Path) -> list[str]:
        """The keys of a table; none of one that lint will refuse."""
        try:
            return keys_at(self._model, (*table, ""))
        except KeyError:
            return []


def _behind(entry: _Entry, used: int) -> str:
    """The comment behind a value, where it stood if there is room."""
    comment = entry.behind.lstrip()
    if not comment or entry.column < 0:
        return entry.behind
    return (" " * (entry.column - used) or _GAP) + comment


def _outermost(found: list[Spot]) -> Iterator[Spot]:
    """Tables' headers, and keys that stand in no other key's value."""
    end = 0
    for spot in found:
        if spot.start >= end:
            yield spot
            end = spot.end
