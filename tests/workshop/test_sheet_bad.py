"""Bad spreadsheets: one clear error a fault, with its place; nothing is written."""

from __future__ import annotations

import os
from collections.abc import Callable
from datetime import date, datetime
from pathlib import Path
from typing import Any

import pytest
from cli.door import dosecheck, flat
from workshop.test_approve import place

from dosecheck.formulary.folder import read_folder
from dosecheck.workshop.sheet_files import write
from dosecheck.workshop.sheet_out import to_rows

openpyxl = pytest.importorskip("openpyxl")


def said(tmp_path: Path, edit: Callable[[Any], None], status: int = 2) -> str:
    """What from-sheet says of a workbook that was edited; the formulary is as before when it is refused."""
    path, sheet = place(tmp_path / "f"), tmp_path / "s.xlsx"
    before = read_folder(path)
    write(to_rows(before), str(sheet))
    book = openpyxl.load_workbook(sheet)
    edit(book)
    book.save(sheet)
    answer = dosecheck("formulary", "from-sheet", str(sheet), "--into", str(path))
    assert answer.status == status, (answer.out, answer.err)
    assert read_folder(path) == before
    return flat(answer.out + answer.err)


def cell(book: Any, sheet: str, row: int, column: str) -> Any:
    page = book[sheet]
    return page.cell(row, [one.value for one in page[1]].index(column) + 1)


@pytest.mark.parametrize(
    ("value", "why"),
    [
        (15.5, "made a number of it"),
        (datetime(2024, 5, 1), "made a date or a time of it"),
        (date(2024, 5, 1), "made a date or a time of it"),
        (True, "made true or false of it"),
        ("=1+1", "It is a formula"),
        ("#REF!", "a spreadsheet's own error"),
    ],
)
def test_a_cell_that_is_no_text(tmp_path: Path, value: Any, why: str) -> None:
    """H24: what a spreadsheet made of a text is never guessed back."""
    text = said(tmp_path, lambda book: setattr(cell(book, "regimens", 2, "dose"), "value", value))
    assert "regimens row 2, column dose" in text and why in text


def test_every_fault_at_once(tmp_path: Path) -> None:
    def edit(book: Any) -> None:
        cell(book, "regimens", 2, "dose").value = 15
        cell(book, "regimens", 3, "valid_from").value = "01/05/2024"
        cell(book, "products", 1, "form").value = "from"
        cell(book, "regimens", 1, "min_gap").value = "dose"
        book.remove(book["policy"])
        book.create_sheet("regimen")

    text = said(tmp_path, edit)
    for part in (
        "regimens row 2, column dose",
        "regimens row 3, column valid_from",
        'products row 1, column 4 "from": There is no such column',
    ):
        assert part in text
    assert "This column is there twice" in text and 'sheets "policy": This sheet is missing' in text
    assert 'sheets "regimen": There is no such sheet in a formulary. Did you mean "regimens"?' in text


def test_merged_cells(tmp_path: Path) -> None:
    assert "regimens, cells A2:A3: They are merged" in said(tmp_path, lambda book: book["regimens"].merge_cells("A2:A3"))


def test_the_same_entry_twice(tmp_path: Path) -> None:
    def edit(book: Any) -> None:
        book["products"].append([one.value for one in book["products"][2]])

    assert 'products row 3, column id "liquid": The same entry stands in row 2 already' in said(tmp_path, edit)


def test_a_band_without_its_regimen(tmp_path: Path) -> None:
    text = said(tmp_path, lambda book: setattr(cell(book, "bands", 2, "regimen"), "value", "no-such"))
    assert 'bands row 2, column regimen "no-such": There is no such regimen' in text


@pytest.mark.parametrize("name", ["../../evil.toml", "medicines/../../evil.toml", "policy.toml", "/etc/passwd", "local/.."])
def test_a_file_outside_the_formulary(tmp_path: Path, name: str) -> None:
    assert "medicines row 2, column file" in said(tmp_path, lambda book: setattr(cell(book, "medicines", 2, "file"), "value", name))


def test_a_dose_in_two_ways(tmp_path: Path) -> None:
    text = said(tmp_path, lambda book: setattr(cell(book, "regimens", 2, "dose.low"), "value", "10 mg/kg"))
    assert '"dose" is written in two ways' in text


def test_hidden_rows_are_read_and_told(tmp_path: Path) -> None:
    def edit(book: Any) -> None:
        book["regimens"].row_dimensions[2].hidden = True

    assert "hidden in the spreadsheet, and were read. regimens row 2" in said(tmp_path, edit, status=0)


def test_the_fingerprint_taken_away(tmp_path: Path) -> None:
    assert "fingerprint is not there" in said(tmp_path, lambda book: book["read me"].delete_rows(2, 30))


@pytest.mark.parametrize(
    ("name", "content", "why"),
    [
        ("s.xlsx", b"not a workbook", "It is not a .xlsx file"),
        ("s.xlsx", b"PK\x03\x04 broken", "damaged, or not a .xlsx file"),
        ("s.csv", b"a,b", "One CSV file is only one sheet"),
        ("csv/regimens.csv", "file;id\na;ä".encode(), "not parted by commas"),
        ("csv/regimens.csv", "file,id\na,ä".encode("latin-1"), "Line 2 is not UTF-8 text"),
        ("csv/regimens.csv", b'file,id\n"a,b', "not well-formed CSV"),
        ("csv/regimens.csv", "file,id\n".encode("utf-16"), "not UTF-8 text"),
        ("csv/regimens.txt", b"", "It holds no .csv files"),
    ],
)
def test_not_a_spreadsheet(tmp_path: Path, name: str, content: bytes, why: str) -> None:
    path, file = place(tmp_path / "f"), tmp_path / name
    file.parent.mkdir(exist_ok=True)
    file.write_bytes(content)
    answer = dosecheck("formulary", "from-sheet", str(file.parent if "csv/" in name else file), "--into", str(path))
    assert answer.status == 2 and why in flat(answer.err)


def test_a_file_of_100_megabytes(tmp_path: Path) -> None:
    file = tmp_path / "s.xlsx"
    with open(file, "wb") as big:
        big.write(b"PK")
        os.truncate(file, 100_000_000)
    answer = dosecheck("formulary", "from-sheet", str(file), "--into", str(place(tmp_path / "f")))
    assert answer.status == 2 and "larger than 20,000,000 bytes" in flat(answer.err)


def test_without_openpyxl_one_sentence_and_csv_works(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = place(tmp_path / "f")
    monkeypatch.setitem(__import__("sys").modules, "openpyxl", None)
    answer = dosecheck("formulary", "to-sheet", str(path), "--out", str(tmp_path / "s.xlsx"))
    assert answer.status == 2 and "needs openpyxl" in flat(answer.err) and "--out FOLDER for CSV" in flat(answer.err)
    assert dosecheck("formulary", "to-sheet", str(path), "--out", str(tmp_path / "csv")).status == 0
    assert dosecheck("formulary", "from-sheet", str(tmp_path / "csv"), "--into", str(path)).status == 0


def test_the_workbook_can_be_read(tmp_path: Path) -> None:
    """The header stays in view, long texts wrap, columns are wide enough, every cell is text, and the first sheet says how."""
    write(to_rows(read_folder(place(tmp_path / "f"))), str(tmp_path / "s.xlsx"))
    book = openpyxl.load_workbook(tmp_path / "s.xlsx")
    assert book.sheetnames[0] == "read me"
    for page in book.worksheets:
        assert page.freeze_panes and page.freeze_panes.endswith("2")
        for column, name in enumerate(page[1], 1):
            width = page.column_dimensions[openpyxl.utils.get_column_letter(column)].width
            assert len(name.value) < width <= 100
        for row in page.iter_rows(min_row=2):
            assert all(one.number_format == "@" and one.alignment.wrap_text for one in row if one.value is not None)
    first = " ".join(str(one.value) for row in book["read me"].iter_rows() for one in row)
    assert "from-sheet" in first and "prescriber" in first
