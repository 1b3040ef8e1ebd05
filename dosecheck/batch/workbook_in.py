"""Reads orders from one sheet of a workbook (.xlsx), row after row, without holding it whole.

The first row names the columns.  A formula is refused: what it showed when the workbook was stored may not be what it is now.
What the workbook says of its own size is not believed: the rows that stand there are read.
"""

from __future__ import annotations

import re
import warnings
import zipfile
import zlib
from collections.abc import Iterable, Iterator
from itertools import islice
from typing import IO, Any, BinaryIO

from dosecheck.batch.cells import Unfit, chunk_of_cells
from dosecheck.batch.chunk import Chunk, shown
from dosecheck.errors import DosecheckError, FileError

_ROWS = 50_000
_MOST_ROWS = 1_048_576  # that a sheet can have
_MOST_UNPACKED = 4 << 30  # bytes
_ESCAPE = re.compile("_x([0-9A-Fa-f]{4})_")  # a character that XML does not know
_PLACE = re.compile(rb"""<(?:\w+:)?(?:row|c)\s(?:[^>]*?\s)?r=["']([A-Z]*)([0-9]+)["']""")  # of a row or a cell, where it is told
_PIECE = 1 << 20
_BROKEN = (zipfile.BadZipFile, zlib.error, LookupError, ValueError, TypeError, AttributeError, ArithmeticError)
_BROKEN += (OSError, EOFError, SyntaxError, RuntimeError)  # a broken part of a workbook shows in any of these ways


def read_workbook(file: BinaryIO, path: str, sheet: str) -> Iterator[Chunk]:
    """The rows of one sheet.

    Args:
        sheet: its name; "" where the workbook has only one.

    Raises:
        FileError: it is no workbook, is broken, has no such sheet, or several and none is named; or its header cannot be used.
        DosecheckError: openpyxl is not installed.
    """
    try:
        import openpyxl
    except ImportError:
        raise DosecheckError('A .xlsx file needs openpyxl, which is not installed here. Write: pip install "dosecheck[xlsx]"') from None
    warnings.filterwarnings("ignore", module="openpyxl")  # of what no order is made of: styles, lists to choose from
    try:
        book = _opened(openpyxl, file, path)
        page = book[_sheet(book.sheetnames, path, sheet)]
        page.reset_dimensions()
        rows = page.iter_rows()
        names = _names(next(rows, ()), path)
        yield from _chunks(_rows(rows, len(names), path), names)
    except _BROKEN as error:
        raise FileError(path, f"It cannot be read as a workbook: {shown(str(error))}", "Save it as .xlsx again.") from None


def _opened(openpyxl: Any, file: BinaryIO, path: str) -> Any:
    with zipfile.ZipFile(file) as packed:
        if sum(part.file_size for part in packed.infolist()) > _MOST_UNPACKED:
            raise FileError(path, "Unpacked it is larger than 4 GiB.", "Export it as CSV.")
        for part in packed.namelist():
            if part.startswith("xl/worksheets/") and part.endswith(".xml"):
                with packed.open(part) as sheet:
                    _refuse_out_of_turn(sheet, path)
    file.seek(0)
    return openpyxl.load_workbook(file, read_only=True)


def _refuse_out_of_turn(sheet: IO[bytes], path: str) -> None:
    """A row or a cell that stands twice, or behind a later one: the library would leave one of them out without a word."""
    row, cell, rest = 0, (0, b""), b""
    while piece := sheet.read(_PIECE):
        text, last, rest = (rest + piece).rpartition(b"<")
        rest = last + rest
        for letters, number in _PLACE.findall(text):
            before = (row, *cell)
            row, cell = (row, (len(letters), letters)) if letters else (int(number), (0, b""))
            if (row, *cell) <= before:
                place = f"cell {letters.decode()}{number.decode()}" if letters else f"row {row}"
                raise FileError(path, f"It is broken: {place} stands twice, or behind a later one.", "Save it as .xlsx again.")


def _rows(rows: Iterable[tuple[Any, ...]], width: int, path: str) -> Iterator[list[Any]]:
    """Every row in as many values as the header has; the empty rows in which a workbook often ends are left out."""
    empty = 0
    for number, row in enumerate(rows, 2):
        if number > _MOST_ROWS:
            raise FileError(path, f"It has a row beyond {_MOST_ROWS:,}, the last that a sheet can have.", "Save it as .xlsx again.")
        cells = [_value(cell) for cell in row[:width]]
        if any(_value(cell) is not None for cell in row[width:]):
            cells[0] = Unfit("more cells than the header has columns")
        if all(value is None for value in cells):
            empty += 1
            continue
        yield from ([None] * width for _ in range(empty))
        empty = 0
        yield cells + [None] * (width - len(cells))


def _chunks(rows: Iterator[list[Any]], names: list[str]) -> Iterator[Chunk]:
    first = 2
    while held := list(islice(rows, _ROWS)):
        yield chunk_of_cells(held, names, first, fifteen=True)
        first += len(held)
    if first == 2:
        yield chunk_of_cells([], names, first)


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
    return _plain(cell.value) if isinstance(cell.value, str) else cell.value


def _plain(text: str) -> str | Unfit | None:
    """With the characters that XML does not know in place of their escapes; None for an empty text."""
    if "_x" not in text:
        return text or None
    text = _ESCAPE.sub(lambda found: chr(int(found[1], 16)), text)
    try:
        return text.encode("utf-16", "surrogatepass").decode("utf-16")  # one character may stand as two escapes
    except UnicodeDecodeError:
        return Unfit("half a character")
