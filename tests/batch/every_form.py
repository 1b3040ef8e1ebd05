"""Orders made in every form that is read, and results read from every form that is written, by libraries of others.

For the tests of `test_all_forms.py` and `test_bad_forms.py`.
"""

from __future__ import annotations

import csv
import gzip
import io
import json
import re
import sqlite3
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any, NamedTuple

import openpyxl
import pyarrow as pa
import pyarrow.parquet as pq
from openpyxl.cell import WriteOnlyCell

from dosecheck.batch.files import Asked

Rows = Sequence[Sequence[str | None]]
Result = list[dict[str, str | None]]


def as_csv(names: Sequence[str], rows: Rows, mark: str = ",", end: str = "\n") -> bytes:
    text = io.StringIO()
    csv.writer(text, delimiter=mark, lineterminator=end).writerows([names, *rows])
    return text.getvalue().encode()


def as_lines(names: Sequence[str], rows: Rows) -> bytes:
    """Every second line with escapes in the place of what is not ASCII."""
    lines = [json.dumps(dict(zip(names, row, strict=True)), ensure_ascii=at % 2 == 0) for at, row in enumerate(rows)]
    return "\n".join(lines).encode()


def as_zstd(content: bytes) -> bytes:
    return pa.Codec("zstd").compress(content, asbytes=True)


def as_arrow(names: Sequence[str], rows: Rows, make: Callable) -> bytes:
    columns = list(zip(*rows, strict=True)) or [()] * len(names)
    table, sink = pa.table([pa.array(column, pa.string()) for column in columns], names=list(names)), pa.BufferOutputStream()
    with make(sink, table.schema) as writer:
        writer.write_table(table)
    return sink.getvalue().to_pybytes()


def as_workbook(names: Sequence[str], rows: Rows) -> bytes:
    book, content = openpyxl.Workbook(write_only=True), io.BytesIO()
    page = book.create_sheet("orders")
    for row in [names, *rows]:
        cells = [WriteOnlyCell(page, None) for _ in row]
        for cell, text in zip(cells, row, strict=True):
            if text is not None:
                cell._value, cell.data_type = re.sub(r"_x|[\0\r]", _escape, text), "s"
        page.append(cells)
    book.save(content)
    return content.getvalue()


def _escape(found: re.Match[str]) -> str:
    return "_x005F_x" if found[0] == "_x" else f"_x{ord(found[0]):04X}_"


def as_database(path: Path, names: Sequence[str], rows: Sequence[Sequence[Any]], types: str = "text") -> str:
    """Every column of the declared type, which for SQLite may be none; the address."""
    columns = ", ".join(f'"{name}" {types}' for name in names)
    base = sqlite3.connect(path)
    base.execute(f"create table orders ({columns})")
    base.executemany(f"insert into orders values ({', '.join('?' * len(names))})", rows)
    base.commit()
    base.close()
    return f"sqlite:///{path}#orders"


class Form(NamedTuple):
    """How a file of orders is made, and what is said of it beside its name."""

    ending: str
    made: Callable[[Sequence[str], Rows], bytes]
    asked: Asked = Asked()


FORMS = {
    "comma": Form("csv", as_csv),
    "comma, with a mark and returns": Form("csv", lambda names, rows: b"\xef\xbb\xbf" + as_csv(names, rows, end="\r\n")),
    "semicolon": Form("csv", lambda names, rows: as_csv(names, rows, ";"), Asked(";")),
    "tab": Form("csv", lambda names, rows: as_csv(names, rows, "\t"), Asked("\t")),
    "pipe": Form("csv", lambda names, rows: as_csv(names, rows, "|"), Asked("|")),
    "tsv": Form("tsv", lambda names, rows: as_csv(names, rows, "\t")),
    "csv.gz": Form("csv.gz", lambda names, rows: gzip.compress(as_csv(names, rows))),
    "csv.zst": Form("csv.zst", lambda names, rows: as_zstd(as_csv(names, rows))),
    "tsv.zst": Form("tsv.zst", lambda names, rows: as_zstd(as_csv(names, rows, "\t"))),
    "jsonl": Form("jsonl", as_lines),
    "ndjson.gz": Form("ndjson.gz", lambda names, rows: gzip.compress(as_lines(names, rows))),
    "parquet": Form("parquet", lambda names, rows: as_arrow(names, rows, pq.ParquetWriter)),
    "arrow": Form("arrow", lambda names, rows: as_arrow(names, rows, pa.ipc.new_file)),
    "arrows": Form("arrows", lambda names, rows: as_arrow(names, rows, pa.ipc.new_stream)),
    "xlsx": Form("xlsx", as_workbook),
}
SOURCES = (*FORMS, "database", *(f"folder of {form}" for form in ("comma", "jsonl", "parquet", "xlsx")))


def source(folder: Path, form: str, names: Sequence[str], rows: Rows) -> str:
    """The orders in one of SOURCES: what to read.  In a folder they stand in three files, the first and last row alone."""
    if form == "database":
        return as_database(folder / "orders.db", names, rows)
    ending, made, _ = FORMS[form.removeprefix("folder of ")]
    if form in FORMS:
        (folder / f"orders.{ending}").write_bytes(made(names, rows))
        return str(folder / f"orders.{ending}")
    (folder / "orders").mkdir()
    for name, some in {"a": rows[:1], "b": rows[1:-1], "c": rows[1:][-1:]}.items():
        (folder / "orders" / f"{name}.{ending}").write_bytes(made(names, some))
    return str(folder / "orders")


def asked(form: str) -> Asked:
    return FORMS[form].asked if form in FORMS else Asked()


def from_csv(content: bytes, mark: str = ",") -> Result:
    header, *rows = csv.reader(io.StringIO(content.decode(), newline=""), delimiter=mark, strict=True)
    return [dict(zip(header, (text or None for text in row), strict=True)) for row in rows]


def from_lines(content: bytes) -> Result:
    return [json.loads(line) for line in content.decode().split("\n") if line]


def from_workbook(content: bytes) -> Result:
    def plain(value: str | None) -> str | None:
        return value and re.sub("_x([0-9A-F]{4})_", lambda found: chr(int(found[1], 16)), value)

    (page,) = openpyxl.load_workbook(io.BytesIO(content))
    header, *rows = [[plain(cell.value) for cell in row] for row in page]
    return [dict(zip(header, row, strict=True)) for row in rows]


def from_zstd(content: bytes) -> bytes:
    return pa.input_stream(pa.BufferReader(content), compression="zstd").read()


RESULT_OF: dict[str, Callable[[bytes], Result]] = {
    "csv": from_csv,
    "csv.gz": lambda content: from_csv(gzip.decompress(content)),
    "tsv.zst": lambda content: from_csv(from_zstd(content), "\t"),
    "tsv": lambda content: from_csv(content, "\t"),
    "jsonl": from_lines,
    "jsonl.zst": lambda content: from_lines(from_zstd(content)),
    "parquet": lambda content: pq.read_table(pa.BufferReader(content)).to_pylist(),
    "arrow": lambda content: pa.ipc.open_file(content).read_all().to_pylist(),
    "arrows": lambda content: pa.ipc.open_stream(content).read_all().to_pylist(),
    "xlsx": from_workbook,
}
