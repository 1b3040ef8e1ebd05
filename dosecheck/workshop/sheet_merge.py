"""What the rows want of each file, held against what it says; and the edit that changes just that, by tomlkit.

An entry that stays keeps its bytes, its comments and the order of its keys.  New entries come after those of their kind.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import Any, NamedTuple

import tomlkit
from tomlkit.exceptions import TOMLKitError

from dosecheck.errors import DosecheckError, FormularyError
from dosecheck.formulary.folder import parse
from dosecheck.workshop.sheet_cells import toml_of
from dosecheck.workshop.sheet_edit import append, item, set_key, table_of
from dosecheck.workshop.sheet_grammar import BAND, Grid, grids
from dosecheck.workshop.sheet_in import Row, Wanted, identity, regimen_of
from dosecheck.workshop.sheet_out import entries_of

Raw = dict[str, Any]


class Change(NamedTuple):
    """One key of one entry; `before` or `after` is None where there is none.  A whole entry that is new or gone has the key ""."""

    file: str
    entry: str
    key: str
    before: Any
    after: Any

    def __str__(self) -> str:
        place = " ".join(part for part in (f"{self.file}:", self.entry, self.key) if part)
        if not self.key:
            return f"{place}: {'new' if self.before is None else 'removed'}"
        return f"{place}: {_said(self.before)} -> {_said(self.after)}"


def _said(value: Any) -> str:
    text = "nothing" if value is None else toml_of(value)
    return text if len(text) <= 200 else f"{text[:200]} ..."


class Plan(NamedTuple):
    """`files` are those that change, a removed one as None; `missing` are entries that have no row and stay."""

    files: dict[str, bytes | None]
    changes: tuple[Change, ...]
    missing: tuple[Change, ...]


def plan(files: dict[str, bytes], want: Wanted, remove: bool) -> Plan:
    """Args: files: the formulary as it stands, name to content.

    Raises:
        FormularyError: a file of it cannot be read.
        DosecheckError: a file could not be edited without changing more than was asked.
    """
    after = _by_file(want)
    changes: list[Change] = []
    missing: list[Change] = []
    edited: dict[str, bytes | None] = {}
    for name in sorted({*files, *after}):
        content = files.get(name, b"")
        before = _entries(name, parse(name, content))
        editor = _editor(name, content, before, after.get(name, {}), remove)
        changes += editor.changes
        missing += editor.missing
        if editor.changes:
            edited[name] = editor.content()
    return Plan(edited, tuple(changes), tuple(missing))


def _editor(name: str, *what: Any) -> _Editor:
    """A file may be right and yet be written in a way that is not edited here, such as entries in a row of braces."""
    try:
        return _Editor(name, *what)
    except (TOMLKitError, TypeError, AttributeError, LookupError, ValueError):
        raise _by_hand(name) from None


def _by_hand(name: str) -> DosecheckError:
    return DosecheckError(f"{name} could not be edited without changing more than was asked. Edit it by hand. Nothing was written.")


Entries = dict[str, dict[tuple[Any, ...], Raw]]


def _entries(name: str, raw: Raw) -> Entries:
    """Sheet to identity to entry, of a file as it stands; bands are inside their regimens."""
    found: Entries = {}
    for grid in grids().values():
        if grid.place != "band":
            rows = [Row(grid.name, 0, fixed, entry) for fixed, entry in entries_of(grid, name, raw)]
            found[grid.name] = _keyed(grid, rows)
    return found


def _by_file(want: Wanted) -> dict[str, Entries]:
    """The same of what the rows say."""
    bands: dict[int, list[Raw]] = {}
    for band in want.rows[f"{BAND}s"]:
        bands.setdefault(id(regimen_of(band, want.rows)[0]), []).append(band.entry)
    found: dict[str, Entries] = {}
    for grid in grids().values():
        rows: dict[str, list[Row]] = {}
        for row in want.rows[grid.name] if grid.place != "band" else ():
            whole = row._replace(entry={**row.entry, BAND: bands[id(row)]}) if id(row) in bands else row
            rows.setdefault(grid.file or row.fixed[0], []).append(whole)
        for name, ones in rows.items():
            found.setdefault(name, {})[grid.name] = _keyed(grid, ones)
    return found


def _keyed(grid: Grid, rows: Iterable[Row]) -> dict[tuple[Any, ...], Raw]:
    return {identity(grid, row) or ("", number): row.entry for number, row in enumerate(rows, 1)}


class _Editor:
    """One file brought to what is wanted, change by change, and looked at once more at the end."""

    def __init__(self, name: str, content: bytes, before: Entries, after: Entries, remove: bool) -> None:
        self.name, self.remove = name, remove
        self.mark = b"\xef\xbb\xbf" if content.startswith(b"\xef\xbb\xbf") else b""
        self.windows = b"\r\n" in content
        self.document = tomlkit.parse(content.removeprefix(self.mark).decode())
        self.changes: list[Change] = []
        self.missing: list[Change] = []
        self.expected: Entries = {}
        self.gone = bool(before.get("medicines") or before.get("local files")) and not after
        for grid in grids().values():
            if grid.place != "band":
                self.expected[grid.name] = self._bring(grid, before.get(grid.name, {}), dict(after.get(grid.name, {})))

    def content(self) -> bytes | None:
        """The file; None where all of it is removed.

        Raises:
            DosecheckError: it would say something else than is wanted.
        """
        if self.gone and self.remove:
            return None
        text = tomlkit.dumps(self.document).rstrip("\r\n") + "\n"
        written = self.mark + (text.replace("\r\n", "\n").replace("\n", "\r\n") if self.windows else text).encode()
        try:
            same = _entries(self.name, parse(self.name, written)) == self.expected
        except FormularyError:
            same = False
        if not same:
            raise _by_hand(self.name)
        return written

    def _bring(self, grid: Grid, before: dict[Any, Raw], after: dict[Any, Raw]) -> dict[Any, Raw]:
        expected: dict[Any, Raw] = {}
        gone = []
        for at, (key, entry) in enumerate(before.items()):
            moved = key if key in after else _redated(key, before, after)
            if moved is None:
                removes = self.remove and (grid.place != "head" or self.gone)
                (self.changes if removes else self.missing).append(Change(self.name, _named(grid, key, entry), "", entry, None))
                if removes:
                    gone.append((at, key))
                else:
                    expected[key] = entry
                continue
            new = expected[moved] = after.pop(moved)
            if new != entry:
                self._change(grid, key, at, entry, new)
        for key, entry in after.items():
            self._add(grid, key, entry)
            expected[key] = entry
        for at, key in reversed(gone):
            self._drop(grid, at, key)
        return _keyed_again(grid, expected)

    def _change(self, grid: Grid, key: Any, at: int, old: Raw, new: Raw) -> None:
        name = _named(grid, key, old)
        table = self.document if grid.place == "head" else self.document[key[0]] if grid.place == "table" else self.document[grid.kind][at]
        for one in [*old, *(one for one in new if one not in old)]:
            if old.get(one) != new.get(one):
                self.changes += _told(self.name, name, one, old.get(one), new.get(one))
                set_key(table, one, old.get(one), new.get(one))

    def _add(self, grid: Grid, key: Any, entry: Raw) -> None:
        self.changes.append(Change(self.name, _named(grid, key, entry), "", None, entry))
        if grid.place == "head":
            for one, value in entry.items():
                self.document[one] = item(value)
        elif grid.place == "table":
            self.document.append(key[0], table_of(entry))
        else:
            append(self.document, grid.kind, entry)

    def _drop(self, grid: Grid, at: int, key: Any) -> None:
        if grid.place == "table":
            self.document.remove(key[0])
        elif grid.place == "entry":
            del self.document[grid.kind][at]
            if not self.document[grid.kind]:
                self.document.remove(grid.kind)


def _keyed_again(grid: Grid, expected: dict[Any, Raw]) -> dict[Any, Raw]:
    """Entries without a name go by their order, whatever was removed before them."""
    if grid.place == "entry" and not grid.fixed:
        return {("", number): entry for number, entry in enumerate(expected.values(), 1)}
    return expected


def _redated(key: Any, before: dict[Any, Raw], after: dict[Any, Raw]) -> Any:
    """The only other row of the same id, where its date alone was corrected."""
    if len(key) != 3 or sum(one[:2] == key[:2] for one in before) > 1:
        return None
    same = [one for one in after if one[:2] == key[:2]]
    return same[0] if len(same) == 1 else None


def _named(grid: Grid, key: Any, entry: Raw) -> str:
    if grid.place == "head":
        return ""
    if grid.place == "table":
        return f"{grid.name.removesuffix('s')} {key[0]}" if grid.file == "sources.toml" else key[0]
    what = grid.kind.replace("_", " ")
    return f"{what} {entry.get('id') or entry.get('title') or key[-1]}"


def _told(file: str, entry: str, key: str, old: Any, new: Any) -> Iterator[Change]:
    """In the smallest parts that differ."""
    if isinstance(old, dict) and isinstance(new, dict):
        for one in [*old, *(one for one in new if one not in old)]:
            if old.get(one) != new.get(one):
                yield from _told(file, entry, f"{key}.{one}", old.get(one), new.get(one))
    elif key == BAND and isinstance(old, list) and isinstance(new, list):
        for at in range(max(len(old), len(new))):
            was, now = (rows[at] if at < len(rows) else None for rows in (old, new))
            if was is None or now is None:
                yield Change(file, f"{entry}, band {at + 1}", "", was, now)
            else:
                for one in [*was, *(one for one in now if one not in was)]:
                    if was.get(one) != now.get(one):
                        yield from _told(file, f"{entry}, band {at + 1}", one, was.get(one), now.get(one))
    else:
        yield Change(file, entry, key, old, new)
