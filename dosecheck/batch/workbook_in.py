"""Reads orders from one sheet of a workbook (.xlsx), row after row, without holding it whole.

The first row names the columns.  A formula is refused: what it showed when the workbook was stored may not be what it is now.
"""

from __future__ import annotations

import zipfile
from collections.abc import Iterator
from typing import Any, BinaryIO

from dosecheck.batch.cells import Unfit, chunk_of_cells
from dosecheck.batch.chunk import Chunk, shown
from dosecheck.errors import DosecheckError, FileError

_ROWS = 50_000
_MOST_UNPACKED = 4 << 30  # bytes


def read_workbook(file: BinaryIO, path: str, sheet: str) -> Iterator[Chunk]:
    """The rows of one sheet.

    Args:
        sheet: its name; "" where the workbook has only one.

    Raises:
        FileError: it is no workbook, has no such sheet, or several and none is named; or its header cannot be used.
        DosecheckError: openpyxl is not installed.
    """
    try:
        import openpyxl
    except ImportError:
        raise DosecheckError('A .xlsx file needs openpyxl, which is not installed here. Write: pip install "dosecheck[xlsx]"') from None
    book = _opened(openpyxl, file, path)
    page = book[_sheet(book.sheetnames, path, sheet)]
    rows = page.iter_rows()
    names = _names(next(rows, ()), path)
    held: list[list[Any]] = []
    first = 2
    for row in rows:
        cells = [_value(cell) for cell in row[: len(names)]]
        cells += [None] * (len(names) - len(cells))
        if any(_value(cell) is not None for cell in row[len(names) :]):
            cells[0] = Unfit("more cells than the header has columns")
        held.append(cells)
        if len(held) == _ROWS:
            yield chunk_of_cells(held, names, first, fifteen=True)
            first, held = first + len(held), []
    while held and all(value is None for value in held[-1]):  # a workbook often ends in empty rows
        held.pop()
    if held or first == 2:
        yield chunk_of_cells(held, names, first, fifteen=True)


def _opened(openpyxl: Any, file: BinaryIO, path: str) -> Any:
    try:
        with zipfile.ZipFile(file) as packed:
            if sum(part.file_size for part in packed.infolist()) > _MOST_UNPACKED:
                raise FileError(path, "Unpacked it is larger than 4 GiB.", "Export it as CSV.")
        file.seek(0)
        return openpyxl.load_workbook(file, read_only=True)
    except (zipfile.BadZipFile, KeyError, ValueError, OSError, SyntaxError) as error:
        raise FileError(path, f"It cannot be read as a workbook: {shown(str(error))}", "Save it as .xlsx again.") from None


def _sheet(names: list[str], path: str, asked: str) -> str:
    if asked:
        if asked not in names:
            raise FileError(path, f'It has no sheet "{shown(asked)}".', f"It has: {', '.join(names)}.")
        return asked
    if len(names) != 1:
        raise FileError(path, f"It has {len(names)} sheets: {', '.join(map(shown, names))}.", "Name the one that is meant: --sheet NAME.")
    return names[0]


def _names(row: tuple[Any, ...], path: str) -> list[str]:
    values = [_value(cell) for cell in row]
    while values and values[-1] is None:
        values.pop()
    if not values or not all(isinstance(value, str) and value for value in values):
        raise FileError(path, "Its first row does not name every column in words.", "Put the names of the columns there.")
    twice = sorted({name for name in values if values.count(name) > 1})
    if twice:
        raise FileError(path, f'It has two columns "{shown(twice[0])}".', "Name each column once.")
    return values


def _value(cell: Any) -> Any:
    if cell.data_type == "f":
        return Unfit("a formula")
    if cell.data_type == "e":
        return Unfit(f"the error {cell.value}")
    return cell.value
