"""A workbook as a result: text in every cell, nothing cut, the same bytes, and read back by a library that did not write it."""

from __future__ import annotations

import os
import threading
import xml.etree.ElementTree as ET
import zipfile
from datetime import date
from pathlib import Path

import openpyxl
import polars as pl
import pytest
from cli.door import FOLDER, dosecheck

from dosecheck import FileError, Formulary
from dosecheck.batch import workbook_out
from dosecheck.batch.files import ResultWriter, read_orders
from dosecheck.batch.ledger import path_of
from dosecheck.batch.run import run_batch
from dosecheck.batch.texts import RESULTS
from dosecheck.batch.verify import verify

FORMULARY = Formulary(FOLDER)
TODAY = date(2026, 5, 4)
HEADER = "order_id,child_id,medicine,route,for,dose,every,weight,age,ward"
GOOD = "007,SM-001,paracetamol,oral,pain,210 mg,6 hours,14.2 kg,3 years,north"
STOP = "+1,SM-002,paracetamol,oral,pain,2100 mg,6 hours,14.2 kg,3 years,=1+1"
SHORT = "A3,SM-003"
ODD = ["=1+1", "+1", "-1+2", "@SUM(A1)", "\t=1", "007", "1.50", "2021-04-03", "true", " a ", "", "n/a", "'", "µg é 体", "😀"]
ODD += ["a\nb", "a\r\nb", "\r", "<b>&amp;</b>", "]]>", '"', "\x01\x1f", "\x7f", "\x85\u2028", "\ufffe\uffff", "\u202e", "\ufeff"]
ODD += ["_x000D_", "_x0041_x0042_", "_x005F_x0041_", "_", "_x", "_\r", "_x005F\r", "_X0041_"]


def put(path: Path, rows: pl.DataFrame, *sizes: int) -> Path:
    """The rows in pieces of so many, and what is left."""
    with ResultWriter(path, rows.columns) as writer:
        for size in sizes:
            writer.write(rows.head(size))
            rows = rows.slice(size)
        writer.write(rows)
    return path


def check(folder: Path, *rows: str, out: str = "results.xlsx", **options):
    orders = folder / "orders.csv"
    orders.write_text("\n".join((HEADER, *rows)) + "\n", "utf-8")
    return run_batch(orders, folder / out, FORMULARY, TODAY, **options)


def read(path: Path) -> pl.DataFrame:
    return pl.concat(chunk.rows for chunk in read_orders(path))


def test_every_text_comes_back(tmp_path: Path) -> None:
    rows = pl.DataFrame({"=text": ODD, "turned": ODD[::-1]})
    path = put(tmp_path / "r.xlsx", rows)
    assert read(path).equals(rows.select(pl.when(pl.all() != "").then(pl.all())))


def test_every_cell_is_text(tmp_path: Path) -> None:
    """No formula, number or date, no apostrophe, and the format of text, so that it stays so when it is edited."""
    book = openpyxl.load_workbook(put(tmp_path / "r.xlsx", pl.DataFrame({"a": ODD, "n": range(len(ODD))})))
    cells = [cell for row in book["results"] for cell in row if cell.value is not None]
    assert {cell.data_type for cell in cells} == {"s"} and {cell.number_format for cell in cells} == {"@"}
    assert [cell.value for cell in book["results"]["A"]][1:8] == ODD[:7] and book["results"]["B"][3].value == "2"


def test_it_can_be_read_on_a_screen(tmp_path: Path) -> None:
    """The header stands still and is bold, not only grey; each column shows its texts, and none is wider than a screen."""
    check(tmp_path, GOOD, STOP)
    page = openpyxl.load_workbook(tmp_path / "results.xlsx")["results"]
    assert page.freeze_panes == "A2" and page.auto_filter.ref == "A1:U3" and all(cell.font.bold for cell in page[1])
    widths = {page[f"{letter}1"].value: column.width for letter, column in page.column_dimensions.items()}
    assert widths["sentence"] == 60 and all(8 <= width <= 60 for width in widths.values())
    codes = max(len(cell.value or "") for cell in page[openpyxl.utils.get_column_letter(list(widths).index("codes") + 1)])
    assert codes <= widths["codes"]


def test_each_part_is_xml_without_a_time(tmp_path: Path) -> None:
    with zipfile.ZipFile(put(tmp_path / "r.xlsx", pl.DataFrame({"a": ODD}))) as packed:
        assert packed.testzip() is None and {part.date_time for part in packed.infolist()} == {(1980, 1, 1, 0, 0, 0)}
        for part in packed.namelist():
            ET.fromstring(packed.read(part))


def test_the_same_rows_in_other_pieces_give_the_same_bytes(tmp_path: Path) -> None:
    rows = pl.DataFrame({"a": [f"{n} {'x' * (n % 70)}" for n in range(25_000)], "b": ["µ", None] * 12_500})
    one, other = put(tmp_path / "one.xlsx", rows), put(tmp_path / "other.xlsx", rows, 1, 0, 3, 998, 14_000)
    assert one.read_bytes() == other.read_bytes() and read(one).equals(rows)


def test_no_rows(tmp_path: Path) -> None:
    path = put(tmp_path / "r.xlsx", pl.DataFrame(schema={"a": pl.String, "b": pl.String}))
    assert read(path).columns == ["a", "b"] and read(path).height == 0
    assert openpyxl.load_workbook(path)["results"].freeze_panes == "A2"


@pytest.mark.parametrize(
    ("limit", "value", "why"),
    [
        ("_MOST_ROWS", 2, "A sheet holds 2 rows below its header, and there are more"),
        ("_MOST_COLUMNS", 20, "at most 20 columns"),
        ("_LONGEST", 60, r'"source" has \d+ characters in row 2; a cell holds 60'),
        ("_MOST_BYTES", 5_000, "would be larger than"),
    ],
)
def test_what_is_too_much_is_refused_and_leaves_nothing(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, limit: str, value: int, why: str
) -> None:
    monkeypatch.setattr(workbook_out, limit, value)
    (tmp_path / "results.xlsx").write_bytes(b"earlier")
    with pytest.raises(FileError, match=rf"results.xlsx: .*{why}.*Write \.csv or \.parquet instead"):
        check(tmp_path, GOOD, STOP, GOOD)
    assert sorted(os.listdir(tmp_path)) == ["orders.csv", "results.xlsx"] and (tmp_path / "results.xlsx").read_bytes() == b"earlier"


def test_the_longest_cell(tmp_path: Path) -> None:
    """32,767 characters, counted in units of UTF-16, as spreadsheets do."""
    for text in ("x" * 32_767, "é" * 32_767, "😀" * 16_383 + "x"):
        assert read(put(tmp_path / "r.xlsx", pl.DataFrame({"a": ["1"], "note": [text]})))["note"][0] == text
        with pytest.raises(FileError, match='"note" has 32,768 characters in row 3'):
            put(tmp_path / "r.xlsx", pl.DataFrame({"a": ["1", "2"], "note": ["x", text + "y"]}))
    with pytest.raises(FileError, match="The name of a column has more than 32,767 characters"):
        put(tmp_path / "r.xlsx", pl.DataFrame({"a": ["1"], "n" * 32_768: ["x"]}))


def test_the_ledger_stands_beside_it_and_verify_knows_it(tmp_path: Path) -> None:
    summary = check(tmp_path, GOOD, SHORT, STOP)
    path = tmp_path / "results.xlsx"
    assert summary.ledger == path_of(path) and summary.aside == tmp_path / "results.refused.csv"
    assert all(each.agrees for each in verify(path, tmp_path / "orders.csv"))
    book = openpyxl.load_workbook(path)
    book["results"]["K3"].value = "within"
    book.save(path)
    assert {"answered within", "SHA-256 of the result"} <= {each.what for each in verify(path) if not each.agrees}


def test_its_answers_are_those_of_csv(tmp_path: Path) -> None:
    for out in ("results.xlsx", "results.jsonl"):
        check(tmp_path, GOOD, SHORT, STOP, out=out)
    found = read(tmp_path / "results.xlsx")
    assert found.equals(read(tmp_path / "results.jsonl")) and found["ward"].to_list() == ["north", None, "=1+1"]
    assert found.columns == [*HEADER.split(","), *RESULTS]


def test_a_run_into_it_cannot_be_gone_on_with(tmp_path: Path) -> None:
    with pytest.raises(FileError, match="A result of this form cannot be gone on with"):
        check(tmp_path, GOOD, resume=True)


def test_through_a_pipe(tmp_path: Path) -> None:
    """It is written from its first byte to its last."""
    rows, pipe, found = pl.DataFrame({"a": ODD}), tmp_path / "pipe.xlsx", []
    os.mkfifo(pipe)
    reader = threading.Thread(target=lambda: found.append(pipe.read_bytes()))
    reader.start()
    put(pipe, rows)
    reader.join()
    assert found[0] == put(tmp_path / "r.xlsx", rows).read_bytes()


def test_the_command_and_its_report(tmp_path: Path) -> None:
    (tmp_path / "orders.csv").write_text(f"{HEADER}\n{GOOD}\n{STOP}\n", "utf-8")
    out = str(tmp_path / "results.xlsx")
    said = dosecheck("batch", str(tmp_path / "orders.csv"), "--out", out, "--formulary", str(FOLDER))
    assert said.status == 0 and "results.xlsx.ledger.json" in said.out.replace("\n", " ")
    assert dosecheck("batch", "verify", out).status == 0
    said = dosecheck("batch", "report", out, "--formulary", str(FOLDER))
    assert said.status == 0 and "2 orders" in said.out and "STOP row 2" in said.out
