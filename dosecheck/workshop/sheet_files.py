"""The rows of sheets written to a workbook or to a folder of CSV files, and read back: cells and their types, not yet figures.

A workbook needs openpyxl (the extra `xlsx`); CSV files need nothing.
"""

from __future__ import annotations

import csv
import io
import os
from collections.abc import Iterable
from datetime import date, datetime, time, timedelta
from typing import Any, NamedTuple

from dosecheck.errors import Fault, FileError
from dosecheck.printing.workbook import LONGEST, openpyxl, saved, text_cell
from dosecheck.saving import save
from dosecheck.workshop.sheet_out import SheetRows

MOST_BYTES = 20_000_000
MOST_ROWS = 100_000
_INSTEAD = "take --out FOLDER for CSV files"
_WIDTH = {"text": 100, "note": 60, "place": 40, "reason": 60, "measure": 50, "checked": 40, "ask_first": 50, "id": 30, "file": 30}


class ReadSheet(NamedTuple):
    """A sheet as it was read: rows with the number that the spreadsheet shows, the first one being the header."""

    name: str
    rows: tuple[tuple[int, tuple[str, ...]], ...]
    hidden: tuple[int, ...] = ()


def write(sheets: Iterable[SheetRows], out: str) -> None:
    """A .xlsx file, or a folder of CSV files if the name has no ending.

    Raises:
        FileError: another ending, or the place cannot be written.
        DosecheckError: openpyxl is missing.
    """
    ending = os.path.splitext(out)[1].lower()
    if ending == ".xlsx":
        save(out, _workbook(sheets, out))
        return
    if ending:
        raise FileError(out, f'A spreadsheet cannot end in "{ending}".', "Use a .xlsx file, or a folder for CSV files.")
    try:
        os.makedirs(out, exist_ok=True)
    except OSError as error:
        raise FileError(out, f"It cannot be made: {error.strerror}.", "Choose another place.") from None
    for sheet in sheets:
        save(os.path.join(out, f"{sheet.name.replace(' ', '-')}.csv"), _csv(sheet))


def _csv(sheet: SheetRows) -> bytes:
    """With a mark at the start, by which spreadsheets know UTF-8."""
    text = io.StringIO(newline="")
    csv.writer(text, lineterminator="\r\n").writerows([sheet.header, *sheet.rows])
    return text.getvalue().encode("utf-8-sig")


def _workbook(sheets: Iterable[SheetRows], out: str) -> bytes:
    book = openpyxl(_INSTEAD).Workbook(write_only=True)
    for sheet in sheets:
        for number, row in enumerate(sheet.rows, 2):
            if any(len(text) > LONGEST for text in row):
                raise FileError(out, f"{sheet.name} row {number}: a text is longer than a cell holds.", "Take --out FOLDER for CSV files.")
        _write_sheet(book, sheet)
    return saved(book)


def _write_sheet(book: Any, sheet: SheetRows) -> None:
    from openpyxl.styles import Alignment, Font, PatternFill
    from openpyxl.utils import get_column_letter

    page = book.create_sheet(sheet.name)
    fixed = sum(name in ("file", "regimen", "id", "source", "line", "about") for name in sheet.header)
    page.freeze_panes = f"{get_column_letter(min(fixed, 2) + 1)}2"
    for at, name in enumerate(sheet.header):
        page.column_dimensions[get_column_letter(at + 1)].width = _width(name, [row[at] for row in sheet.rows])
    page.append(
        [text_cell(page, name, Font(bold=True), Alignment(vertical="top"), PatternFill("solid", fgColor="E7E6E6")) for name in sheet.header]
    )
    wrap = Alignment(wrap_text=True, vertical="top")
    for row in sheet.rows:
        page.append([text_cell(page, text, None, wrap) for text in row])
    if sheet.header[0] != "about":
        page.auto_filter.ref = f"A1:{get_column_letter(len(sheet.header))}{len(sheet.rows) + 1}"


def _width(name: str, texts: list[str]) -> int:
    """Wide enough to read; long texts wrap."""
    longest = max((len(text) for text in texts), default=0)
    return max(len(name) + 4, min(longest + 2, _WIDTH.get(name.rpartition(".")[2], 34)))


# ---- reading ----


def read(path: str) -> tuple[list[ReadSheet], list[Fault]]:
    """Every sheet of a workbook or a folder of CSV files, and a fault for each cell that is no text.

    Raises:
        FileError: it is no spreadsheet, too large, or cannot be read.
        DosecheckError: openpyxl is missing.
    """
    if os.path.isdir(path):
        return _read_folder(path)
    if os.path.splitext(path)[1].lower() == ".csv":
        raise FileError(path, "One CSV file is only one sheet.", "Name the folder in which all of them are.")
    content = _content(path)
    if not content.startswith(b"PK"):
        raise FileError(path, "It is not a .xlsx file.", "Save it as .xlsx, or name a folder of CSV files.")
    return _read_book(path, content)


def _content(path: str) -> bytes:
    try:
        with open(path, "rb") as file:
            content = file.read(MOST_BYTES + 1)
    except OSError as error:
        raise FileError(path, f"It cannot be read: {error.strerror}.", "Look at the name.") from None
    if len(content) > MOST_BYTES:
        raise FileError(path, f"It is larger than {MOST_BYTES:,} bytes.", "Make the sheet again with to-sheet.")
    return content


def _read_folder(folder: str) -> tuple[list[ReadSheet], list[Fault]]:
    names = sorted(name for name in os.listdir(folder) if name.lower().endswith(".csv"))
    if not names:
        raise FileError(folder, "It holds no .csv files.", "Name the folder that to-sheet wrote, or a .xlsx file.")
    return [_read_csv(os.path.join(folder, name), name[:-4].replace("-", " ")) for name in names], []


def _read_csv(path: str, name: str) -> ReadSheet:
    content = _content(path)
    try:
        text = content.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = content[: error.start].count(b"\n") + 1
        raise FileError(path, f"Line {line} is not UTF-8 text.", "Save it as CSV with the encoding UTF-8.") from None
    first = text.partition("\n")[0]
    if "," not in first and (";" in first or "\t" in first):
        raise FileError(path, "Its columns are not parted by commas.", "Save it as CSV with commas.")
    if "\0" in text:
        raise FileError(path, "It holds a NUL character.", "Save it as CSV with the encoding UTF-8.")
    try:
        rows = list(csv.reader(io.StringIO(text, newline=""), strict=True))
    except csv.Error as error:
        raise FileError(path, f"It is not well-formed CSV: {error}.", "Save it as CSV with commas and double quotes.") from None
    return ReadSheet(name, tuple((number, tuple(row)) for number, row in enumerate(rows, 1) if any(row)))


def _read_book(path: str, content: bytes) -> tuple[list[ReadSheet], list[Fault]]:
    library = openpyxl(_INSTEAD)
    _refuse_bomb(path, content)
    try:
        book = library.load_workbook(io.BytesIO(content))
    except Exception as error:  # whatever the library trips over: the file is not what it says
        raise FileError(
            path, f"It cannot be read as a .xlsx file ({type(error).__name__}).", "Make the sheet again with to-sheet."
        ) from None
    faults: list[Fault] = []
    return [_read_page(page, faults) for page in book.worksheets], faults


def _refuse_bomb(path: str, content: bytes) -> None:
    """What the file unpacks to is bounded before it is unpacked."""
    import zipfile

    try:
        with zipfile.ZipFile(io.BytesIO(content)) as packed:
            size = sum(part.file_size for part in packed.infolist())
    except zipfile.BadZipFile:
        raise FileError(path, "It is damaged, or not a .xlsx file.", "Make the sheet again with to-sheet.") from None
    if size > 10 * MOST_BYTES:
        raise FileError(path, f"It unpacks to more than {10 * MOST_BYTES:,} bytes.", "Make the sheet again with to-sheet.")


def _read_page(page: Any, faults: list[Fault]) -> ReadSheet:
    for merged in page.merged_cells.ranges:
        faults.append(Fault(f"{page.title}, cells {merged}", "", "They are merged, so that a row has lost its cells.", "Part them again."))
    hidden = tuple(number for number, row in page.row_dimensions.items() if row.hidden and number <= page.max_row)
    header: list[str] = []
    rows = []
    for number, cells in enumerate(page.iter_rows(), 1):
        texts = tuple(_text(cell, page.title, header, faults) for cell in cells)
        header = header or list(texts)
        if any(texts):
            rows.append((number, texts))
        if number > MOST_ROWS:
            faults.append(Fault(page.title, "", f"It has more than {MOST_ROWS:,} rows.", "Remove those that are not needed."))
            break
    return ReadSheet(page.title, tuple(rows), hidden)


def _text(cell: Any, sheet: str, header: list[str], faults: list[Fault]) -> str:
    value = cell.value
    if value is None or (isinstance(value, str) and cell.data_type not in ("f", "e")):
        return value or ""
    why, write = _not_text(cell)
    column = header[cell.column - 1] if cell.column <= len(header) and header[cell.column - 1] else cell.column_letter
    faults.append(Fault(f"{sheet} row {cell.row}, column {column}", str(value)[:60], why, write))
    return ""


def _not_text(cell: Any) -> tuple[str, str]:
    value = cell.value
    if cell.data_type == "f" or not isinstance(value, (str, bool, int, float, date, datetime, time, timedelta)):
        return "It is a formula.", "Write the text that it should say."
    if cell.data_type == "e":
        return "It is a spreadsheet's own error.", "Write the text that it should say."
    if isinstance(value, (date, time, timedelta)):
        return "The spreadsheet made a date or a time of it.", "Format the cell as text and write it again: 2024-05-01."
    if isinstance(value, bool):
        return "The spreadsheet made true or false of it.", "Format the cell as text and write it again."
    return "The spreadsheet made a number of it.", "Format the cell as text and write it again, with its unit where it has one."
