"""A folder or a pattern of files, and standard input and output: the same rows, the same answers."""

from __future__ import annotations

import json
import subprocess
import sys
from datetime import date
from pathlib import Path

import polars as pl
import pytest

from dosecheck import FileError, Formulary
from dosecheck.batch.files import Asked, read_orders
from dosecheck.batch.out import ResultWriter
from dosecheck.batch.run import run_batch
from dosecheck.batch.verify import verify

FOLDER = Path(__file__).parents[2] / "formulary"
HEADER = "order_id,child_id,medicine,route,for,dose,every,weight,age\n"
GOOD = "{},c1,paracetamol,oral,pain,210 mg,6 hours,14.2 kg,3 years\n"


def three_files(folder: Path) -> Path:
    """Of three wards; the second holds its columns in another order and a row that is too short."""
    place = folder / "orders"
    place.mkdir()
    (place / "ward-c.csv").write_text(HEADER + GOOD.format("C1"))
    (place / "ward-a.csv").write_text(HEADER + GOOD.format("A1") + GOOD.format("A2"))
    turned = HEADER.replace("order_id,child_id", "child_id,order_id") + GOOD.format("B1").replace("B1,c1", "c1,B1") + "B2,c1\n"
    (place / "ward-b.csv").write_text(turned)
    (place / ".hidden.csv").write_text("x")
    return place


@pytest.mark.parametrize("source", ["orders", "orders/*.csv", "orders/ward-?.csv"])
def test_files_in_the_order_of_their_names(tmp_path: Path, source: str) -> None:
    three_files(tmp_path)
    chunks = list(read_orders(tmp_path / source))
    assert [row for chunk in chunks for row in chunk.rows["order_id"]] == ["A1", "A2", "B1", None, "C1"]
    assert [refused.place for chunk in chunks for refused in chunk.refused] == ["ward-b.csv, line 3"]
    assert [chunk.files for chunk in chunks] == [((0, f"ward-{ward}.csv"),) for ward in "abc"]


def test_the_sentence_names_file_and_line(tmp_path: Path) -> None:
    run_batch(three_files(tmp_path), tmp_path / "r.csv", Formulary(FOLDER), date(2026, 5, 4))
    rows = pl.read_csv(tmp_path / "r.csv", infer_schema=False)
    assert rows["outcome"].to_list() == ["within", "within", "within", "not-checked", "within"]
    assert "ward-b.csv, line 3" in rows["sentence"][3]


def test_what_is_no_such_folder(tmp_path: Path) -> None:
    place = three_files(tmp_path)
    for pattern in (tmp_path / "*.csv", tmp_path / "none"):
        pattern.suffix or pattern.mkdir()
        with pytest.raises(FileError, match="There is no file of orders"):
            list(read_orders(pattern))
    (place / "ward-d.csv").write_text("order_id,dose\n")
    with pytest.raises(FileError, match=r'ward-d.csv: Its columns are not those of ward-a.csv: "child_id" is missing'):
        list(read_orders(place))
    (place / "ward-d.csv").rename(place / "ward-d.tsv")
    with pytest.raises(FileError, match=r"Files of several forms: ward-a.csv and ward-d.tsv"):
        list(read_orders(place))
    (place / "read-me.txt").write_text("x")
    with pytest.raises(FileError, match=r'read-me.txt: A file of orders cannot end in ".txt"'):
        list(read_orders(place))


def test_a_result_never_stands_among_the_orders(tmp_path: Path) -> None:
    place = three_files(tmp_path)
    for source, result in (
        (place, place / "result.csv"),
        (place, place / "ward-a.csv"),
        (place / "*.csv", place / "result.csv"),
        (tmp_path / "*" / "*.csv", place / "result.csv"),
    ):
        with pytest.raises(FileError, match="stand among them"):
            ResultWriter(result, ["order"], source=source)
    ResultWriter(place / "result.parquet", ["order"], source=place / "*.csv")


@pytest.mark.parametrize("form", ["csv", "tsv", "jsonl", "arrow"])
def test_from_standard_input_to_standard_output(tmp_path: Path, form: str) -> None:
    plain = tmp_path / "orders.csv"
    plain.write_text(HEADER + "".join(GOOD.format(n) for n in range(3)))
    given, expected = tmp_path / f"given.{'arrows' if form == 'arrow' else form}", tmp_path / "expected.csv"
    (chunk,) = read_orders(plain)
    with ResultWriter(given, chunk.rows.columns) as writer:
        writer.write(chunk.rows)
    run_batch(plain, expected, Formulary(FOLDER), date.today())
    call = [sys.executable, "-m", "dosecheck", "batch", "-", "--out", "-", "--form", form, "--formulary", str(FOLDER)]
    with given.open("rb") as file:
        done = subprocess.run(call, stdin=file, capture_output=True, cwd=Path(__file__).parents[2], timeout=60)
    assert done.returncode == 0 and b"3 orders" in done.stderr, done.stderr
    result = tmp_path / given.name.replace("given", "result")
    result.write_bytes(done.stdout)
    (found,), (wanted,) = read_orders(result), read_orders(expected)
    assert found.rows.select(wanted.rows.columns).equals(wanted.rows)


def test_standard_input_needs_a_form() -> None:
    with pytest.raises(FileError, match="--form csv, tsv, jsonl or arrow"):
        read_orders("-")
    with pytest.raises(FileError, match="--form csv, tsv, jsonl or arrow"):
        ResultWriter("-", ["order"])
    assert Asked(form="csv").form == "csv"


def test_files_of_one_name_in_several_folders(tmp_path: Path) -> None:
    """Each is in the ledger, and a refused row says in which it stands."""
    for ward in "ab":
        (tmp_path / f"ward-{ward}").mkdir()
        (tmp_path / f"ward-{ward}" / "day.csv").write_text(HEADER + GOOD.format(ward) + f"{ward}2,c1\n")
    orders, results = str(tmp_path / "ward-?" / "day.csv"), tmp_path / "r.csv"
    run_batch(orders, results, Formulary(FOLDER), date(2026, 5, 4))
    told = json.loads((tmp_path / "r.csv.ledger.json").read_text())
    assert [each["name"] for each in told["read"]] == ["ward-a/day.csv", "ward-b/day.csv"]
    sentences = pl.read_csv(results, infer_schema=False)["sentence"]
    assert "ward-a/day.csv, line 3" in sentences[1] and "ward-b/day.csv, line 3" in sentences[3]
    assert all(each.agrees for each in verify(results, orders))
    (tmp_path / "ward-b" / "day.csv").write_text(HEADER)
    assert [each.what for each in verify(results, orders) if not each.agrees] == [
        "bytes of the orders in ward-b/day.csv",
        "SHA-256 of the orders in ward-b/day.csv",
    ]
