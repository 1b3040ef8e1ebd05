"""Writes a result as a workbook (.xlsx): one sheet on which every cell is text, row after row, without holding it whole.

A cell is written as a string, and the format of the whole sheet is text: nothing is run, reckoned or rounded, also when a cell
is edited.  So no apostrophe stands before what looks like a formula, as it must in CSV.  A character that XML does not know is
written as `_x000D_`, which spreadsheets and our own reader show as the character.  The same rows give the same bytes: nothing tells
the time.  The few parts are written by hand, since an object for every cell takes thirty times as long.
"""

from __future__ import annotations

import zipfile
from collections.abc import Sequence
from contextlib import ExitStack
from typing import BinaryIO

import polars as pl

from dosecheck.batch.chunk import shown
from dosecheck.errors import FileError

_MOST_ROWS, _MOST_COLUMNS, _LONGEST = 1_048_575, 16_384, 32_767  # what one sheet holds, without its header; characters in a cell
_MOST_BYTES = (1 << 31) - (1 << 20)  # of the sheet, unpacked: what every reader of zip files takes
_OTHER = "Write .csv or .parquet instead."
_PIECE = 10_000  # rows: packed in the same pieces whatever the pieces they come in; the first decides how wide a column is
_NARROWEST, _WIDEST = 8, 60  # characters

_ODD = [chr(code) for code in (*range(9), *range(11, 32), 0xFFFE, 0xFFFF)]
_ESCAPES = {"&": "&amp;", "<": "&lt;", ">": "&gt;", "_x": "_x005F_x"} | {odd: f"_x{ord(odd):04X}_" for odd in _ODD}

_XML = '<?xml version="1.0" encoding="UTF-8" standalone="yes"?>\n'
_MAIN = 'xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main"'
_PACKAGE = "http://schemas.openxmlformats.org/package/2006"
_OFFICE = "http://schemas.openxmlformats.org/officeDocument/2006/relationships"
_TYPE = "application/vnd.openxmlformats-officedocument.spreadsheetml"

_PARTS = {
    "[Content_Types].xml": f'<Types xmlns="{_PACKAGE}/content-types">'
    '<Default Extension="rels" ContentType="application/vnd.openxmlformats-package.relationships+xml"/>'
    '<Default Extension="xml" ContentType="application/xml"/>'
    f'<Override PartName="/xl/workbook.xml" ContentType="{_TYPE}.sheet.main+xml"/>'
    f'<Override PartName="/xl/styles.xml" ContentType="{_TYPE}.styles+xml"/>'
    f'<Override PartName="/xl/worksheets/sheet1.xml" ContentType="{_TYPE}.worksheet+xml"/></Types>',
    "_rels/.rels": f'<Relationships xmlns="{_PACKAGE}/relationships">'
    f'<Relationship Id="rId1" Type="{_OFFICE}/officeDocument" Target="xl/workbook.xml"/></Relationships>',
    "xl/_rels/workbook.xml.rels": f'<Relationships xmlns="{_PACKAGE}/relationships">'
    f'<Relationship Id="rId1" Type="{_OFFICE}/worksheet" Target="worksheets/sheet1.xml"/>'
    f'<Relationship Id="rId2" Type="{_OFFICE}/styles" Target="styles.xml"/></Relationships>',
    # number format 49 is text: 0 is every cell, 1 the header, bold on grey
    "xl/styles.xml": f'<styleSheet {_MAIN}><fonts count="2"><font><sz val="11"/><name val="Calibri"/></font>'
    '<font><b/><sz val="11"/><name val="Calibri"/></font></fonts><fills count="3"><fill><patternFill patternType="none"/></fill>'
    '<fill><patternFill patternType="gray125"/></fill>'
    '<fill><patternFill patternType="solid"><fgColor rgb="FFE7E6E6"/><bgColor indexed="64"/></patternFill></fill></fills>'
    '<borders count="1"><border><left/><right/><top/><bottom/><diagonal/></border></borders>'
    '<cellStyleXfs count="1"><xf numFmtId="49" fontId="0" fillId="0" borderId="0"/></cellStyleXfs><cellXfs count="2">'
    '<xf numFmtId="49" fontId="0" fillId="0" borderId="0" xfId="0" applyNumberFormat="1"/>'
    '<xf numFmtId="49" fontId="1" fillId="2" borderId="0" xfId="0" applyNumberFormat="1" applyFont="1" applyFill="1"/></cellXfs>'
    '<cellStyles count="1"><cellStyle name="Normal" xfId="0" builtinId="0"/></cellStyles></styleSheet>',
}
_SHEET = (
    f'<worksheet {_MAIN}><sheetViews><sheetView tabSelected="1" workbookViewId="0">'
    '<pane ySplit="1" topLeftCell="A2" activePane="bottomLeft" state="frozen"/></sheetView></sheetViews>'
    '<sheetFormatPr defaultRowHeight="15"/><cols>{widths}</cols><sheetData>'
)
_SHEET_ENDS = (  # no mark at each identifier that is a number written as text
    '</sheetData><autoFilter ref="{cells}"/><ignoredErrors><ignoredError sqref="{cells}" numberStoredAsText="1"/></ignoredErrors></worksheet>'
)
_BOOK = (
    f'<workbook {_MAIN} xmlns:r="{_OFFICE}"><bookViews><workbookView/></bookViews>'
    '<sheets><sheet name="results" sheetId="1" r:id="rId1"/></sheets><definedNames>'
    '<definedName name="_xlnm._FilterDatabase" localSheetId="0" hidden="1">results!{cells}</definedName></definedNames></workbook>'
)


class _Onward:
    """A file that is only written on, never sought in: what stands there stays, so that it can be digested and go through a pipe."""

    def __init__(self, file: BinaryIO) -> None:
        self.write, self.flush = file.write, file.flush


class Workbook:
    """Writes rows into an open file.

    Args:
        path: for messages, the name that the result will have.

    Raises:
        FileError: more rows, columns, or characters in a cell than a sheet holds; nothing is ever cut.
    """

    def __init__(self, file: BinaryIO, columns: Sequence[str], own: Sequence[str], path: str) -> None:
        self._path, self._columns = path, list(columns)
        if len(columns) > _MOST_COLUMNS:
            raise self._error(f"A sheet has at most {_MOST_COLUMNS:,} columns.")
        if any(len(name.encode("utf-16-le")) > 2 * _LONGEST for name in columns):
            raise self._error(f"The name of a column has more than {_LONGEST:,} characters.")
        self._letters = [_letters(place) for place in range(1, len(columns) + 1)]
        self._zip = zipfile.ZipFile(_Onward(file), "w", zipfile.ZIP_DEFLATED, compresslevel=1)
        self._held = pl.DataFrame(schema=dict.fromkeys(self._columns, pl.String))
        self._rows, self._written, self._bytes = 0, 0, 0
        self._sheet, self._ended = None, False

    def begin(self) -> None: ...  # the first rows decide how wide the columns are

    def _error(self, why: str) -> FileError:
        return FileError(self._path, why, _OTHER)

    def write(self, rows: pl.DataFrame) -> None:
        """Adds the rows; those that make no whole piece are held."""
        rows = rows.select(pl.col(self._columns).cast(pl.String))
        self._check(rows)
        self._rows += len(rows)
        self._held = pl.concat([self._held, rows])
        while len(self._held) >= _PIECE:
            self._put_piece()

    def _check(self, rows: pl.DataFrame) -> None:
        if self._rows + len(rows) > _MOST_ROWS:
            raise self._error(f"A sheet holds {_MOST_ROWS:,} rows below its header, and there are more.")
        longest = rows.select(pl.all().str.len_bytes().max()).row(0)
        for name in (name for name, size in zip(rows.columns, longest, strict=True) if (size or 0) > _LONGEST):
            units = rows[name].str.len_chars() + rows[name].str.count_matches(r"[\x{10000}-\x{10FFFF}]")  # as spreadsheets count
            if (at := (units > _LONGEST).arg_max()) is not None and units[at] > _LONGEST:
                why = f'"{shown(name)}" has {units[at]:,} characters in row {self._rows + at + 2:,}; a cell holds {_LONGEST:,}.'
                raise self._error(why)

    def _put_piece(self) -> None:
        piece, self._held = self._held.head(_PIECE), self._held.slice(_PIECE)
        if self._sheet is None:
            self._begin(piece)
        self._put(_in_xml(piece, self._written + 2, self._letters))
        self._written += len(piece)

    def _begin(self, rows: pl.DataFrame) -> None:
        for name, text in _PARTS.items():
            self._part(name, text)
        self._sheet = self._zip.open("xl/worksheets/sheet1.xml", "w")
        longest = rows.select(pl.all().str.len_chars().max()).row(0)
        widths = [max(_NARROWEST, len(name) + 4, min((most or 0) + 2, _WIDEST)) for name, most in zip(self._columns, longest, strict=True)]
        told = "".join(f'<col min="{at}" max="{at}" width="{width}" customWidth="1"/>' for at, width in enumerate(widths, 1))
        self._put(_XML + _SHEET.format(widths=told))
        header = pl.DataFrame([self._columns], schema=self._held.schema, orient="row")
        self._put(_in_xml(header, 1, self._letters, ' s="1"'))

    def _part(self, name: str, text: str) -> None:
        with self._zip.open(name, "w") as part:  # by its name alone it gets no time
            part.write((_XML + text).encode())

    def _put(self, text: str) -> None:
        content = text.encode()
        self._bytes += len(content)
        if self._bytes > _MOST_BYTES:
            raise self._error(f"The sheet would be larger than {_MOST_BYTES >> 20:,} MiB unpacked.")
        self._sheet.write(content)

    def finish(self) -> None:
        """Ends the workbook, once; after an error it only lets go."""
        if self._ended:
            return
        self._ended = True
        with ExitStack() as stack:
            stack.callback(self._zip.close)
            stack.callback(lambda: self._sheet and self._sheet.close())
            self._put_piece()
            last = f"${self._letters[-1]}${self._rows + 1}"
            self._put(_SHEET_ENDS.format(cells=f"A1:{last.replace('$', '')}"))
            self._sheet.close()
            self._part("xl/workbook.xml", _BOOK.format(cells=f"$A$1:{last}"))


def _letters(place: int) -> str:
    """A, B ... Z, AA: the name of a column by its place, from 1."""
    name = ""
    while place:
        place, rest = divmod(place - 1, 26)
        name = chr(ord("A") + rest) + name
    return name


def _in_xml(rows: pl.DataFrame, first: int, letters: list[str], style: str = "") -> str:
    """Rows of text as rows of a sheet, the first of them with the number `first`; an empty text leaves its cell out."""
    number = pl.int_range(first, first + len(rows), eager=True).cast(pl.String)
    cells = [_cell(name, letter, number, style) for name, letter in zip(rows.columns, letters, strict=True)]
    row = pl.concat_str(pl.lit('<row r="'), pl.lit(number), pl.lit('">'), *cells, pl.lit("</row>"))
    return rows.select(row.str.join("")).item()


def _cell(name: str, letter: str, number: pl.Series, style: str) -> pl.Expr:
    text = pl.col(name)
    spaces = pl.when(text == text.str.strip_chars()).then(pl.lit("<t>")).otherwise(pl.lit('<t xml:space="preserve">'))
    written = text.str.replace_many(_ESCAPES, leftmost=True)
    cell = pl.concat_str(
        pl.lit(f'<c r="{letter}'), pl.lit(number), pl.lit(f'"{style} t="inlineStr"><is>'), spaces, written, pl.lit("</t></is></c>")
    )
    return pl.when(text != "").then(cell).otherwise(pl.lit(""))
