"""Reads what a class answered: a teacher's table of papers, or the tables that learners export; one message a broken row.

A teacher's has the columns learner, version, number, answer (more are left alone); an export those of `progress.EXPORT`.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING, NamedTuple

from dosecheck.drill.progress import EXPORT, FORMULA
from dosecheck.errors import Fault, FileError

if TYPE_CHECKING:
    from dosecheck.batch.csv_cut import CsvFile

TEACHERS = ("learner", "version", "number", "answer")
LONGEST_CELL, LONGEST_ROW = 1000, 100_000


class Row(NamedTuple):
    """One answer as a table has it.  `place`: "answers.csv, line 3".  `cells`: the text of each column by its name."""

    place: str
    exported: bool
    cells: dict[str, str]


def read_rows(path: str) -> tuple[list[Row], list[Fault]]:
    """The rows that have a form, and a fault for each that has none; blank lines are neither.

    Raises:
        FileError: it cannot be read, is no CSV, or has other columns.
    """
    from dosecheck.batch.csv_cut import CsvFile, marks_of  # loads Arrow, which nothing else of the drill needs

    rows: list[Row] = []
    faults: list[Fault] = []
    try:
        with open(path, "rb") as file:
            table = CsvFile(file, path)
            exported = _is_export(path, table.names)
            for place, raw, broken in _raw(table, Path(path).name):
                cells = Fault(place, "", marks_of(",").fault(raw), "") if broken else _cells(place, raw, table.names)
                if isinstance(cells, Fault):
                    faults.append(cells)
                elif cells:
                    rows.append(Row(place, exported, {name: _told(text) if exported else text for name, text in cells.items()}))
    except OSError as error:
        raise FileError(path, f"It cannot be read: {error.strerror}.", "Look at the name.") from None
    return rows, faults


def _is_export(path: str, names: list[str]) -> bool:
    if set(EXPORT) <= set(names):
        return True
    if set(TEACHERS) <= set(names):
        return False
    lacking = [name for name in TEACHERS if name not in names]
    raise FileError(
        path,
        f"It lacks {'the column' if len(lacking) == 1 else 'the columns'} {', '.join(lacking)}.",
        f"A teacher's table has {', '.join(TEACHERS)}; an export has {', '.join(EXPORT)}.",
    )


def _raw(table: CsvFile, name: str) -> Iterator[tuple[str, bytes, bool]]:
    """The line on which each row begins, its bytes, and whether its form is broken."""
    for block in table.blocks():
        line, broken = block.line, set(block.broken)
        for start, end in table.rows(block):
            raw = block.text[start:end]
            yield f"{name}, line {line}", raw, (start, end) in broken
            line += raw.count(b"\n")


def _cells(place: str, raw: bytes, names: list[str]) -> dict[str, str] | Fault | None:
    """None where the line is blank."""
    from dosecheck.batch.csv_cut import not_utf8

    if not raw.strip():
        return None
    if len(raw) > LONGEST_ROW:
        return Fault(place, "", f"The row has more than {LONGEST_ROW:,} bytes.", "Write the answer alone.")
    try:
        found = next(csv.reader(io.StringIO(raw.decode(), newline=""), strict=True))
    except UnicodeDecodeError as error:
        return Fault(place, "", not_utf8(error), "")
    if len(found) != len(names):
        return Fault(place, "", f"It has {len(found)} cells and the header {len(names)}.", "Is a comma missing, or one too many?")
    if max(map(len, found)) > LONGEST_CELL:
        return Fault(place, "", f"A cell has more than {LONGEST_CELL:,} letters.", "Write the answer alone.")
    return {name: text.strip() for name, text in zip(names, found, strict=True)}


def _told(text: str) -> str:
    """An export writes an apostrophe before what a spreadsheet would take for a formula; here it goes again."""
    return text[1:] if text.startswith("'") and text[1:].startswith(FORMULA) else text
