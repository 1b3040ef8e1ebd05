"""Cells: any value goes into a text and comes back the same, and no spreadsheet runs it, or makes a number or a date of it."""

from __future__ import annotations

import csv
import io
import re
from datetime import date

import pytest
from hypothesis import given
from hypothesis import strategies as st

from dosecheck.errors import TextError
from dosecheck.workshop.sheet_cells import from_cell, to_cell
from dosecheck.workshop.sheet_files import _csv, _read_page, _workbook
from dosecheck.workshop.sheet_out import SheetRows

FORMULAS = ["=1+1", "+1", "-1", "@SUM(A1)", "\t=1", "\r=1", "'=1", "''", "'", '=HYPERLINK("https://evil.example")', "-4"]
ODD = [
    "a|b",
    " a ",
    "a\tb",
    "back\\slash",
    "\\u0041",
    "_x0041_",
    "[]",
    "{}",
    "two\nlines",
    "a\u00a0b",
    "\u202f",
    "#N/A",
    "TRUE",
    "1e5",
    "2024-05-01",
]
ODD += ["10 %", "0.10", "007", "1/2", "\\", "\\|", "| |", 'a, "b"', "\x0b", "\x1f"]
TEXTS = st.text(st.characters(exclude_categories=["Cs"], exclude_characters="\0"), min_size=1, max_size=12) | st.sampled_from(
    FORMULAS + ODD
)
TABLES = st.lists(st.dictionaries(st.sampled_from(["step", "up_to"]), TEXTS, min_size=1), min_size=1, max_size=3)


def through_csv(text: str) -> str:
    return list(csv.reader(io.StringIO(_csv(SheetRows("x", ("a", "b"), ((text, "end"),))).decode("utf-8-sig"), newline="")))[1][0]


@given(TEXTS)
def test_a_text_comes_back(text: str) -> None:
    cell = to_cell(text)
    assert from_cell(through_csv(cell), "text") == text
    assert cell[0] not in "=+-@\t\r\n" and cell == cell.strip()
    assert not re.fullmatch(r"[\d.,/:\- ]+%?", cell)


@given(st.lists(TEXTS, max_size=4))
def test_a_list_comes_back(texts: list[str]) -> None:
    assert from_cell(through_csv(to_cell(texts)), "texts") == texts


@given(TABLES)
def test_a_list_of_tables_comes_back(tables: list[dict[str, str]]) -> None:
    assert from_cell(through_csv(to_cell(tables)), "tables") == tables


@pytest.mark.parametrize("text", FORMULAS + ODD)
def test_a_text_comes_back_through_a_workbook(text: str) -> None:
    """H24: openpyxl reads it as text, neither as a formula nor as an error nor as a number."""
    openpyxl = pytest.importorskip("openpyxl")
    book = openpyxl.load_workbook(io.BytesIO(_workbook([SheetRows("x", ("a",), ((to_cell(text),),))], "x.xlsx")))
    cell, faults = book["x"]["A2"], []
    assert cell.data_type == "s" and cell.number_format == "@" and cell.value[0] not in "=+-@\t\r"
    assert from_cell(_read_page(book["x"], faults).rows[1][1][0], "text") == text and not faults


@pytest.mark.parametrize(
    ("value", "cell", "kind"),
    [
        (4, "'4", "count"),
        ([2, 3], "2 | 3", "counts"),
        (date(2024, 5, 1), "'2024-05-01", "date"),
        (True, "'true", "yes"),
        (["pain", "fever"], "pain | fever", "texts"),
        ([{"step": "0.5 mL"}], '[{ step = "0.5 mL" }]', "tables"),
        ([], "[]", "texts"),
        ("15 mg/kg", "15 mg/kg", "text"),
    ],
)
def test_a_cell_as_a_person_reads_it(value: object, cell: str, kind: str) -> None:
    assert to_cell(value) == cell
    assert from_cell(cell, kind) == value


@pytest.mark.parametrize(
    ("cell", "kind"),
    [
        ("01/05/2024", "date"),
        ("2024-13-01", "date"),
        ("45413", "date"),
        ("4.0", "count"),
        ("four", "count"),
        ("yes", "yes"),
        ("0.5 mL", "tables"),
        ('[]\nother = "1"', "tables"),
        ("[" * 2000, "tables"),
        ("a\\b", "text"),
        ("2 | x", "counts"),
    ],
)
def test_a_cell_of_another_kind_is_refused(cell: str, kind: str) -> None:
    with pytest.raises(TextError):
        from_cell(cell, kind)
