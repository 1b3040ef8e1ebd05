"""The rows of sheets as what a formulary's files should say, every cell that cannot be read told with its row and column."""

from __future__ import annotations

import re
from collections.abc import Iterator
from difflib import get_close_matches
from typing import Any, NamedTuple

from dosecheck.errors import Fault, InputError, TextError
from dosecheck.workshop.sheet_cells import from_cell, unmarked
from dosecheck.workshop.sheet_files import ReadSheet
from dosecheck.workshop.sheet_grammar import BAND, POLICY_CELLS, READ_ME, Grid, grids
from dosecheck.workshop.sheet_out import FINGERPRINT

Raw = dict[str, Any]
_FILE = re.compile(r"(?:medicines|local)/[^/\\\x00-\x1f]{1,120}\.toml")


class Row(NamedTuple):
    """One entry and where it stands."""

    sheet: str
    number: int
    fixed: tuple[str, ...]
    entry: Raw

    def fault(self, column: str, why: str, write: str, given: str = "") -> Fault:
        return Fault(f"{self.sheet} row {self.number}" + (f", column {column}" if column else ""), given, why, write)


class Wanted(NamedTuple):
    """All rows by the name of their sheet, the fingerprint of the formulary that they were made of, and rows that were hidden."""

    rows: dict[str, list[Row]]
    fingerprint: str
    hidden: tuple[str, ...]


def wanted(sheets: list[ReadSheet], faults: list[Fault]) -> Wanted:
    """What the sheets say.

    Args:
        faults: those found while the cells were read.

    Raises:
        InputError: every fault at once.
    """
    known = {READ_ME: None, **grids()}
    faults = [*faults, *_wrong_sheets(sheets, list(known))]
    by_name = {sheet.name: sheet for sheet in sheets}
    rows = {name: list(_rows(grid, by_name[name], faults)) for name, grid in known.items() if grid and name in by_name}
    print_ = _fingerprint(by_name[READ_ME], faults) if READ_ME in by_name else ""
    for name, found in rows.items():
        faults += _twice(known[name], found)
    faults += _lost_bands(rows)
    if faults:
        raise InputError(faults)
    hidden = tuple(f"{sheet.name} row {number}" for sheet in sheets for number in sheet.hidden)
    return Wanted(rows, print_, hidden)


def _wrong_sheets(sheets: list[ReadSheet], known: list[str]) -> Iterator[Fault]:
    names = [sheet.name for sheet in sheets]
    for name in names:
        if name not in known:
            near = get_close_matches(name[:60], known, n=1, cutoff=0.6)
            write = f'Did you mean "{near[0]}"?' if near else f"Known here: {', '.join(known)}."
            yield Fault("sheets", name[:60], "There is no such sheet in a formulary.", write)
    for name in known:
        if name not in names:
            yield Fault("sheets", name, "This sheet is missing.", "Make the spreadsheet again with to-sheet, and leave every sheet in it.")


def _fingerprint(sheet: ReadSheet, faults: list[Fault]) -> str:
    found = [row[1] for _, row in sheet.rows if len(row) > 1 and row[0] == FINGERPRINT]
    print_ = unmarked(found[0]).strip() if len(found) == 1 else ""
    if not re.fullmatch(r"[0-9a-f]{16}", print_):
        why = "The line with the formulary's fingerprint is not there, or was changed."
        faults.append(Fault(READ_ME, "", why, "Make the spreadsheet again with to-sheet."))
    return print_


def _rows(grid: Grid, sheet: ReadSheet, faults: list[Fault]) -> Iterator[Row]:
    if not sheet.rows:
        faults.append(
            Fault(f"{sheet.name} row 1", "", "The names of the columns are missing.", "Make the spreadsheet again with to-sheet.")
        )
        return
    header = _header(grid, sheet, faults)
    for number, texts in sheet.rows[1:]:
        more = [text for text in texts[len(header) :] if text]
        if more:
            faults.append(
                Row(sheet.name, number, (), {}).fault("", "It has more fields than there are columns.", "Look for a comma.", more[0][:60])
            )
        cells = {name: text for name, text in zip(header, texts, strict=False) if name and text.strip()}
        if cells:
            fixed = tuple(unmarked(cells.pop(name, "").strip()) for name in grid.fixed)
            row = Row(sheet.name, number, fixed, {})
            faults += _fixed_faults(grid, row)
            for name, text in cells.items():
                _put(grid, row, name, text, faults)
            yield row


def _header(grid: Grid, sheet: ReadSheet, faults: list[Fault]) -> list[str]:
    """The names of the columns; those that are not known are empty, so that each is told once."""
    names = [name.strip() for name in sheet.rows[0][1]]
    must = [*grid.fixed, *(".".join(path) for path in grid.columns if path[-1] != "*")]
    for at, name in enumerate(names):
        place = f"{sheet.name} row 1, column {at + 1}"
        if name and name in names[:at]:
            faults.append(Fault(place, name[:60], "This column is there twice.", "Keep one of them."))
        elif name and name not in grid.fixed and not grid.kind_of(name):
            near = get_close_matches(name[:60], must, n=1, cutoff=0.6)
            faults.append(Fault(place, name[:60], "There is no such column.", f'Did you mean "{near[0]}"?' if near else "Remove it."))
        elif not name and any(len(row) > at and row[at].strip() for _, row in sheet.rows[1:]):
            faults.append(Fault(place, "", "Cells stand below it, and it has no name.", "Name the column, or empty its cells."))
    for name in must:
        if name not in names:
            faults.append(
                Fault(f"{sheet.name} row 1", name, "This column is missing.", "Write it in again, or make the spreadsheet again.")
            )
    return [name if name in grid.fixed or grid.kind_of(name) else "" for name in names]


def _fixed_faults(grid: Grid, row: Row) -> Iterator[Fault]:
    for name, text in zip(grid.fixed, row.fixed, strict=True):
        if name == "file" and not _FILE.fullmatch(text):
            yield row.fault(
                "file", "It is not the file of a medicine or of local changes.", "Write it as medicines/exampol.toml.", text[:60]
            )
        elif not text and name != "regimen_valid_from":
            yield row.fault(name, "It is empty, so that nobody knows which entry is meant.", "Write it.")


def _put(grid: Grid, row: Row, name: str, text: str, faults: list[Fault]) -> None:
    """One cell into the entry."""
    path, kind = grid.kind_of(name)
    if grid.name == "policy":
        kind = POLICY_CELLS.get((row.fixed[0], *path), kind if path != ("value",) else "text")
    try:
        value = from_cell(text, kind)
    except TextError as error:
        given = error.given if error.given.isprintable() else ascii(error.given)[1:-1]
        faults.append(row.fault(name, error.why, error.write, given))
        return
    table = row.entry
    for key in path[:-1]:
        table = table.setdefault(key, {}) if isinstance(table, dict) else None
    if not isinstance(table, dict) or path[-1] in table:
        other = f'"{path[0]}" is written in two ways: as one value, and in parts.'
        faults.append(row.fault(name, other, "Keep one of them and empty the other cells."))
        return
    table[path[-1]] = value


def identity(grid: Grid, row: Row) -> tuple[Any, ...] | None:
    """What makes two rows the same entry; None where entries have no name and go by their order."""
    if grid.place in ("head", "table"):
        return row.fixed
    if grid.place == "band" or not grid.fixed:
        return None
    return (*row.fixed, row.entry.get("id"), str(row.entry.get("valid_from", "")))


def _twice(grid: Grid, rows: list[Row]) -> Iterator[Fault]:
    first: dict[Any, Row] = {}
    for row in rows:
        key = identity(grid, row)
        if key is not None and first.setdefault(key, row) is not row:
            column = "id" if grid.place == "entry" else grid.fixed[0]
            yield row.fault(
                column,
                f"The same entry stands in row {first[key].number} already.",
                "Keep one of them.",
                str(row.entry.get("id") or key[0])[:60],
            )


def regimen_of(band: Row, rows: dict[str, list[Row]]) -> list[Row]:
    """The regimens that a row of bands could belong to: one, if all is well."""
    file, id_, day = band.fixed
    named = [row for row in rows.get("regimens", []) if row.fixed == (file,) and row.entry.get("id") == id_]
    return [row for row in named if str(row.entry.get("valid_from")) == day] if day else named


def _lost_bands(rows: dict[str, list[Row]]) -> Iterator[Fault]:
    for band in rows.get(f"{BAND}s", []):
        found = len(regimen_of(band, rows))
        if found == 0:
            yield band.fault(
                "regimen",
                "There is no such regimen in this file, or not of this date.",
                "Write the id as in the sheet regimens.",
                band.fixed[1][:60],
            )
        elif found > 1:
            yield band.fault(
                "regimen_valid_from", "Several regimens have this id.", "Write the valid_from of the one that is meant.", band.fixed[1][:60]
            )
