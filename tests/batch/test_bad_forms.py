"""Bad files and bad rows in every form that they can happen in: one clear error, or that row refused and every other answered.

Through the very door of the command, where a traceback would show; nothing is left beside an error.
"""

from __future__ import annotations

import gzip
import json
import os
from collections.abc import Callable, Sequence
from pathlib import Path

import polars as pl
import pytest
from batch.every_form import FORMS, SOURCES, as_csv, as_workbook, as_zstd, asked, from_zstd, source
from cli.door import FOLDER, Said, dosecheck, flat

from dosecheck.batch.csv_cut import DELIMITERS

NAMES = ["order_id", "child_id", "medicine", "route", "for", "dose", "every", "weight", "age", "note"]
GOOD = ("A1", "SM-001", "paracetamol", "oral", "pain", "210 mg", "6 hours", "14.2 kg", "3 years", "north")
STOP = ("A2", "SM-002", "paracetamol", "oral", "pain", "2100 mg", "6 hours", "14.2 kg", "3 years", "south")
REFUSED = 2
TEXT = [form for form in SOURCES if form.removeprefix("folder of ") in ("comma", "csv.gz", "csv.zst", "tsv", "tsv.zst")]
MARKS = {mark: name for name, mark in DELIMITERS.items()}


def check(orders: str, form: str) -> Said:
    said = asked(form)
    options = ["--delimiter", MARKS[said.delimiter]] if said.delimiter else []
    results = Path(orders.removeprefix("sqlite:///")).parent / "results.parquet"
    return dosecheck("batch", orders, "--out", str(results), "--formulary", str(FOLDER), *options)


def bad(row: Sequence[str | None], **changes: str | None) -> tuple[str | None, ...]:
    return tuple(changes.get(name, text) for name, text in zip(NAMES, row, strict=True))


def refused_whole(folder: Path, said: Said, *words: str) -> None:
    """One line of one error, and no file that was not there."""
    assert said.status == REFUSED and said.out == "" and "Traceback" not in said.err
    assert all(word in flat(said.err) for word in words), said.err
    assert not [name for name in os.listdir(folder) if name.startswith((".", "results"))]


def row_refused(folder: Path, form: str, row: Sequence[str | None], *words: str) -> pl.DataFrame:
    """The row among good ones: it is refused in its place, and they are answered."""
    said = check(source(folder, form, NAMES, [GOOD, row, STOP, GOOD]), form)
    assert said.status == REFUSED and "1 could not be read" in said.out, said
    found = pl.read_parquet(folder / "results.parquet")
    assert found["outcome"].to_list() == ["within", "not-checked", "stop", "within"]
    assert found["codes"][1] == "unreadable" and all(word in found["sentence"][1] for word in words), found["sentence"][1]
    assert found["sentence"][1].isprintable() and len(found["sentence"][1]) < 2_000
    return found


def _second(orders: str, form: str) -> Path:
    """The file of orders; of a folder, the second."""
    return Path(orders) / f"b.{FORMS[form.removeprefix('folder of ')].ending}" if form.startswith("folder") else Path(orders)


# ---- files of no rows, and of no orders ----

NOTHING = {"jsonl": "holds no orders", "ndjson.gz": "holds no orders"} | dict.fromkeys(
    ("parquet", "arrow", "arrows", "xlsx"), "cannot be read as"
)


@pytest.mark.parametrize("form", [form for form in SOURCES if form != "database"])
def test_a_file_of_no_bytes(tmp_path: Path, form: str) -> None:
    """Also as one of a folder; packed, it is a file of no bytes once it is unpacked."""
    orders = source(tmp_path, form, NAMES, [GOOD, STOP, GOOD])
    path = _second(orders, form)
    packed = {"gz": gzip.compress(b""), "zst": as_zstd(b"")}.get(path.suffix[1:], b"")
    path.write_bytes(packed)
    refused_whole(tmp_path, check(orders, form), path.name, NOTHING.get(form.removeprefix("folder of "), "no header line"))


def test_a_database_of_no_bytes_and_a_folder_of_no_files(tmp_path: Path) -> None:
    (tmp_path / "orders.db").touch()
    refused_whole(tmp_path, check(f"sqlite:///{tmp_path / 'orders.db'}#orders", "database"), "no such table")
    (tmp_path / "orders").mkdir()
    refused_whole(tmp_path, check(str(tmp_path / "orders"), "comma"), "There is no file of orders")


@pytest.mark.parametrize("form", [form for form in SOURCES if "json" not in form])
def test_a_header_alone_is_no_all_clear(tmp_path: Path, form: str) -> None:
    said = check(source(tmp_path, form, NAMES, []), form)
    assert said.status == REFUSED and "0 orders checked" in said.out and "not an all-clear" in said.out


@pytest.mark.parametrize("form", [form for form in SOURCES if form != "database"])
@pytest.mark.parametrize("other", ["a spreadsheet", "text", "packed text", "noise", "a page"])
def test_a_file_of_another_form_under_this_name(tmp_path: Path, form: str, other: str) -> None:
    """One error, whichever reader meets it; what is right once it is unpacked is not refused."""
    text = as_csv(NAMES, [GOOD, STOP, GOOD], "/")  # of no delimiter that is known
    contents = {"a spreadsheet": as_workbook(NAMES, [GOOD]), "text": text, "packed text": gzip.compress(text)}
    contents |= {"noise": bytes(range(256)) * 9, "a page": b"<html>\n<body><p>orders, doses</p></body>\n</html>\n"}
    if (form.removeprefix("folder of "), other) == ("xlsx", "a spreadsheet"):
        return
    orders = source(tmp_path, form, NAMES, [GOOD, STOP, GOOD])
    path = _second(orders, form)
    path.write_bytes(contents[other])
    refused_whole(tmp_path, check(orders, form), path.name)


@pytest.mark.parametrize("content", [b"order_id,dose\n1,5 mg\n" * 99, b"SQLite format 3\0" + b"\xff" * 5_000])
def test_what_is_no_database(tmp_path: Path, content: bytes) -> None:
    (tmp_path / "orders.db").write_bytes(content)
    refused_whole(tmp_path, check(f"sqlite:///{tmp_path / 'orders.db'}#orders", "database"), "It cannot be read")


# ---- columns ----


@pytest.mark.parametrize("form", SOURCES)
@pytest.mark.parametrize(
    ("name", "written", "why"),
    [
        ("dose", "dsoe", 'The column "dose" is missing. Is it "dsoe"?'),
        ("medicine", "note2", 'The column "medicine" is missing.'),
        ("weight", "wieght", 'The column "wieght" looks like "weight", and would not be read.'),
    ],
)
def test_a_column_that_is_missing_or_misspelt(tmp_path: Path, form: str, name: str, written: str, why: str) -> None:
    """Never read as a field that is empty in every row."""
    names = [written if each == name else each for each in NAMES]
    refused_whole(tmp_path, check(source(tmp_path, form, names, [GOOD, STOP, GOOD]), form), why)


@pytest.mark.parametrize("form", [form for form in SOURCES if form.startswith("folder")])
def test_a_column_that_is_misspelt_in_one_file_of_a_folder(tmp_path: Path, form: str) -> None:
    orders = source(tmp_path, form, NAMES, [GOOD, STOP, GOOD])
    ending, made, _ = FORMS[form.removeprefix("folder of ")]
    (Path(orders) / f"b.{ending}").write_bytes(made([name.replace("weight", "wieght") for name in NAMES], [STOP]))
    refused_whole(tmp_path, check(orders, form), f"b.{ending}: Its columns are not those of a.{ending}", '"wieght" is more')


@pytest.mark.parametrize("form", TEXT)
@pytest.mark.parametrize("mark", [";", "|"])
def test_another_delimiter_is_named(tmp_path: Path, form: str, mark: str) -> None:
    """Of a file whose name says tabs, too; nothing is read as one column."""
    orders = source(tmp_path, form, NAMES, [GOOD, STOP, GOOD])
    text = as_csv(NAMES, [GOOD, STOP], mark)
    path = Path(orders) / "a.csv" if form.startswith("folder") else Path(orders)
    path.write_bytes({".gz": gzip.compress, ".zst": as_zstd}.get(path.suffix, bytes)(text))
    refused_whole(tmp_path, check(orders, form), path.name, "semicolons" if mark == ";" else "pipes", f"--delimiter {MARKS[mark]}")


# ---- rows ----


def spoilt(form: str, change: Callable[[bytes], bytes], folder: Path) -> str:
    """The orders in a form of text, with a change of the unpacked bytes; of a folder, those of the second file."""
    orders = source(folder, form, NAMES, [GOOD, STOP, GOOD])
    path = _second(orders, form)
    unpack: Callable[[bytes], bytes] = {".gz": gzip.decompress, ".zst": from_zstd}.get(path.suffix, bytes)
    pack: Callable[[bytes], bytes] = {".gz": gzip.compress, ".zst": as_zstd}.get(path.suffix, bytes)
    before = unpack(path.read_bytes())
    assert change(before) != before
    path.write_bytes(pack(change(before)))
    return orders


@pytest.mark.parametrize("form", TEXT)
@pytest.mark.parametrize("fields", [b"A2", b"A2,SM-002,paracetamol", b",".join([b"x"] * 11)])
def test_too_few_and_too_many_fields(tmp_path: Path, form: str, fields: bytes) -> None:
    mark = b"\t" if "tsv" in form else b","
    stop = mark.join(text.encode() for text in STOP)
    said = check(spoilt(form, lambda text: text.replace(stop, fields.replace(b",", mark)), tmp_path), form)
    assert said.status == REFUSED and "1 could not be read" in said.out
    found = pl.read_parquet(tmp_path / "results.parquet")
    assert found["outcome"].to_list() == ["within", "not-checked", "within"]
    assert f"It has {fields.count(b',') + 1} field" in found["sentence"][1] and "the header has 10" in found["sentence"][1]
    assert ("b.csv, line 2" if form.startswith("folder") else "line 3") in found["sentence"][1]


@pytest.mark.parametrize("form", TEXT)
def test_a_quote_that_is_never_closed(tmp_path: Path, form: str) -> None:
    said = check(spoilt(form, lambda text: text.replace(b"south", b'"south'), tmp_path), form)
    refused_whole(tmp_path, said, f"The quote opened at line {2 if form.startswith('folder') else 3} is never closed")


@pytest.mark.parametrize("form", ["jsonl", "ndjson.gz", "folder of jsonl"])
@pytest.mark.parametrize(
    ("fields", "why"),
    [
        ({"order_id": "A2", "wieght": "14.2 kg"}, 'unknown column "wieght"'),
        ({"order_id": "A2", "dose": 210}, '"dose" is not text'),
        ({"order_id": "A2", "dose": "210\0 mg"}, '"dose" holds the character U+0000'),
        ({"order_id": "A2", "note": "\ud800"}, '"note" holds the character U+D800'),
        ('{"order_id": "A2, "dose": "210 mg"}', "It is not one JSON object"),
        ('{"order_id": "A2', "It is not one JSON object"),
    ],
)
def test_a_line_of_json(tmp_path: Path, form: str, fields: dict | str, why: str) -> None:
    """A key that is unknown, a value that is no text, a quote that is not closed: that line, and no other."""
    orders = source(tmp_path, form, NAMES, [GOOD, STOP, GOOD])
    path = _second(orders, form)
    good = json.dumps(dict(zip(NAMES, GOOD, strict=True)))
    line = fields if isinstance(fields, str) else json.dumps(fields)
    text = f"{good}\n{line}\n{good}\n".encode()
    path.write_bytes(gzip.compress(text) if path.suffix == ".gz" else text)
    said = check(orders, form)
    found = pl.read_parquet(tmp_path / "results.parquet")
    (at,) = [at for at, outcome in enumerate(found["outcome"]) if outcome == "not-checked"]
    assert said.status == REFUSED and why in found["sentence"][at] and "line 2" in found["sentence"][at]
    assert found["outcome"].to_list() == ["within"] * at + ["not-checked"] + ["within"] * (len(found) - at - 1)


@pytest.mark.parametrize("form", SOURCES)
@pytest.mark.parametrize("field", ["note", "dose"])
def test_a_nul_inside_a_field(tmp_path: Path, form: str, field: str) -> None:
    """Also where it would be cut off in the end: a dose of "210 mg" and more."""
    row_refused(tmp_path, form, bad(GOOD, **{field: "210 mg\0 or so"}), "\\x00" if "json" not in form else "\\u0000")


@pytest.mark.parametrize("form", SOURCES)
def test_a_field_of_200_000_characters(tmp_path: Path, form: str) -> None:
    row_refused(tmp_path, form, bad(GOOD, note="n" * 200_000), "more than 131,072 characters")


@pytest.mark.parametrize("form", SOURCES)
def test_a_mark_that_turns_the_text_round(tmp_path: Path, form: str) -> None:
    """In a note it is carried through; in a dose it is refused, and shown as what it is."""
    found = row_refused(tmp_path, form, bad(GOOD, dose="\u202e210 mg", note="\u202enote"), "U+202E")
    assert found["note"].to_list() == ["north", "\u202enote", "south", "north"]


@pytest.mark.parametrize("form", SOURCES)
def test_the_same_row_twice(tmp_path: Path, form: str) -> None:
    """Both are answered, and named together."""
    said = check(source(tmp_path, form, NAMES, [GOOD, STOP, GOOD]), form)
    assert said.status == 0 and "paracetamol: rows 1, 3" in flat(said.out)
    assert pl.read_parquet(tmp_path / "results.parquet")["outcome"].to_list() == ["within", "stop", "within"]


# ---- what is cut short ----

CUT = ("csv.gz", "csv.zst", "tsv.zst", "ndjson.gz", "parquet", "arrow", "arrows", "xlsx", "folder of parquet", "folder of xlsx", "database")


@pytest.mark.parametrize("form", CUT)
@pytest.mark.parametrize("part", [0.3, 0.7, 0.97])
def test_a_file_that_is_cut_short(tmp_path: Path, form: str, part: float) -> None:
    """All forms but plain text say of themselves where they end; there, a last row that is cut has too few fields."""
    orders = source(tmp_path, form, NAMES, [GOOD, STOP] * 40)
    path = tmp_path / "orders.db" if form == "database" else _second(orders, form)
    content = path.read_bytes()
    path.write_bytes(content[: int(len(content) * part)])
    refused_whole(tmp_path, check(orders, form), path.name)
