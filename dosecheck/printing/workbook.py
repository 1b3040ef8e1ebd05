"""Workbooks of text: no cell is guessed to be a formula, a number or a date, and the same content gives the same bytes."""

from __future__ import annotations

import io
import re
import zipfile
from decimal import Decimal
from typing import Any

from dosecheck.errors import DosecheckError

LONGEST = 32_767  # characters that one cell holds
_RUNS = re.compile(r"[=+\-@\t\r\n']")
_DAY = (1980, 1, 1, 0, 0, 0)  # the first that a zip file can tell; not a clock
_MADE = re.compile(rb"(<dcterms:(?:created|modified)[^>]*>)[^<]*")


def openpyxl(instead: str) -> Any:
    """The library, or one sentence that says what to install.

    Args:
        instead: what to do without it: "take --out FOLDER for CSV files".
    """
    try:
        import openpyxl
    except ImportError:
        how = f'Write: pip install "dosecheck[xlsx]", or {instead}.'
        raise DosecheckError(f"A .xlsx file needs openpyxl, which is not installed here. {how}") from None
    return openpyxl


def text_cell(page: Any, text: str, font: Any, alignment: Any, fill: Any = None) -> Any:
    """A cell that stays text whatever it looks like; one that a spreadsheet would run when it is edited is marked as a quotation."""
    from openpyxl.cell import WriteOnlyCell

    cell = WriteOnlyCell(page, None)
    cell._value, cell.data_type = (text, "s") if text else (None, "n")  # never guessed from what the text looks like
    cell.number_format = "@"
    cell.alignment = alignment
    if font:
        cell.font, cell.fill = font, fill
    if _RUNS.match(text):
        cell.quotePrefix = True
    return cell


def number_cell(page: Any, number: int | Decimal, alignment: Any) -> Any:
    from openpyxl.cell import WriteOnlyCell

    cell = WriteOnlyCell(page, number)
    cell.alignment = alignment
    return cell


def saved(book: Any) -> bytes:
    """The workbook's bytes, without the time at which it was written."""
    content, fixed = io.BytesIO(), io.BytesIO()
    book.save(content)
    with zipfile.ZipFile(content) as given, zipfile.ZipFile(fixed, "w", zipfile.ZIP_DEFLATED) as made:
        for part in given.infolist():
            data = given.read(part)
            if part.filename == "docProps/core.xml":
                data = _MADE.sub(rb"\g<1>1980-01-01T00:00:00Z", data)
            made.writestr(zipfile.ZipInfo(part.filename, _DAY), data, zipfile.ZIP_DEFLATED)
    return fixed.getvalue()
