"""Reading orders from Parquet and JSON Lines: text, or a refusal that says what to write."""

from __future__ import annotations

import datetime
import random
import tracemalloc
from decimal import Decimal
from pathlib import Path
from typing import Any

import polars as pl
import pyarrow as pa
import pyarrow.parquet as pq
import pytest

from dosecheck.batch import lines_in, pipeline, tables_in
from dosecheck.batch.chunk import LONGEST_FIELD, LONGEST_ROW, Chunk
from dosecheck.batch.files import read_coded, read_orders
from dosecheck.errors import FileError

GOOD = '{"order": "1", "dose": "5 µg"}\n'


def parquet(folder: Path, **columns: Any) -> Path:
    path = folder / "orders.parquet"
    pq.write_table(pa.table(columns), path)
    return path


def lines(folder: Path, text: str | bytes, known: tuple[str, ...] = ()) -> list[Chunk]:
    path = folder / "orders.jsonl"
    path.write_bytes(text if isinstance(text, bytes) else text.encode())
    return list(read_orders(path, known))


def test_parquet_columns_become_text(tmp_path: Path) -> None:
    path = parquet(
        tmp_path,
        dose=["5 mg", "", None],
        born=pa.array([datetime.date(2021, 4, 3), None, datetime.date(1999, 12, 31)]),
        weighed=pa.array([datetime.date(2024, 2, 29)] * 3, pa.date64()),
        count=pa.array([1, -2, None], pa.int64()),
        route=pa.array(["oral", "oral", None]).dictionary_encode(),
        view=pa.array(["x", "é", None], pa.string_view()),
        nothing=pa.nulls(3),
    )
    (chunk,) = read_orders(path)
    assert set(chunk.rows.dtypes) == {pl.String}
    assert chunk.rows.rows() == [
        ("5 mg", "2021-04-03", "2024-02-29", "1", "oral", "x", None),
        (None, None, "2024-02-29", "-2", "oral", "é", None),
        (None, "1999-12-31", "2024-02-29", None, None, None, None),
    ]
    assert chunk.line.to_list() == [1, 2, 3] and chunk.refused == []


@pytest.mark.parametrize(
    "values",
    [pa.array([5.0]), pa.array([True]), pa.array([["5 mg"]]), pa.array([b"5 mg"]), pa.array([1], pa.duration("s"))],
    ids=lambda values: str(values.type),
)
def test_parquet_of_another_type_is_refused_by_column(tmp_path: Path, values: pa.Array) -> None:
    with pytest.raises(FileError, match=r'"dose" is of type .*\. Write amounts as text with their unit\.'):
        list(read_orders(parquet(tmp_path, order=["1"], dose=values)))


def test_moments_and_decimals_as_text(tmp_path: Path) -> None:
    moment = datetime.datetime(2021, 4, 3, 13, 10)
    path = parquet(
        tmp_path,
        at=pa.array([moment, moment.replace(microsecond=500), None]),
        london=pa.array([moment, None, None], pa.timestamp("ns", "Europe/London")),
        world=pa.array([moment, None, None], pa.timestamp("s", "UTC")),
        weight=pa.array([Decimal("14.20"), Decimal("0.00"), None]),
        small=pa.array([Decimal("1E-10"), Decimal(10) ** 20, None], pa.decimal256(40, 12)),
    )
    (chunk,) = read_orders(path)
    assert chunk.rows.rows() == [
        ("2021-04-03T13:10:00", "2021-04-03T14:10:00+01:00", "2021-04-03T13:10:00Z", "14.20", "0.000000000100"),
        ("2021-04-03T13:10:00.000500", None, None, "0.00", "100000000000000000000.000000000000"),
        (None,) * 5,
    ]


@pytest.mark.parametrize("make", [pa.ipc.new_file, pa.ipc.new_stream])
@pytest.mark.parametrize("suffix", ["arrow", "feather", "ipc", "arrows"])
def test_arrow_files_and_streams(tmp_path: Path, make: Any, suffix: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """Whichever it is, whatever the name: the first bytes tell; and one that is cut anywhere is refused."""
    monkeypatch.setattr(tables_in, "CHUNK_ROWS", 4)
    table = pa.table({"order": ["007", None, "", "a", "b", "c"], "route": pa.array(["oral"] * 6).dictionary_encode()})
    path = tmp_path / f"orders.{suffix}"
    with make(path, table.schema) as writer:
        writer.write_table(table)
    chunks = list(read_orders(path))
    assert [row for chunk in chunks for row in chunk.rows.rows()][:3] == [("007", "oral"), (None, "oral"), (None, "oral")]
    assert [chunk.first_line for chunk in chunks] == [1, 5]
    whole = path.read_bytes()
    for cut in (0, 3, 60, len(whole) // 2, len(whole) - 8, len(whole) - 1):
        path.write_bytes(whole[:cut])
        with pytest.raises(FileError, match=r"cannot be read as Arrow|cut short"):
            list(read_orders(path))


def test_parquet_rows_that_cannot_be_text(tmp_path: Path) -> None:
    (chunk,) = read_orders(parquet(tmp_path, order=["1", "2", "3"], dose=["a\0b", "x" * (LONGEST_FIELD + 1), "5 mg"]))
    assert chunk.rows.rows() == [(None, None), (None, None), ("3", "5 mg")]
    assert [(r.row, r.line) for r in chunk.refused] == [(0, 1), (1, 2)]
    assert "NUL" in chunk.refused[0].why and chunk.refused[0].text == "a\\x00b"
    assert "131,072" in chunk.refused[1].why


def test_parquet_files_that_cannot_be_read(tmp_path: Path) -> None:
    bad = pa.Array.from_buffers(pa.string(), 1, [None, pa.array([0, 2], pa.int32()).buffers()[1], pa.py_buffer(b"\xb5g")])
    with pytest.raises(FileError, match=r"(?i)utf-?8"):
        list(read_orders(parquet(tmp_path, dose=bad)))
    path = tmp_path / "orders.parquet"
    pq.write_table(pa.Table.from_arrays([pa.array(["1"]), pa.array(["2"])], names=["dose", "dose"]), path)
    with pytest.raises(FileError, match='two columns "dose"'):
        list(read_orders(path))
    pq.write_table(pa.table({}), path)
    with pytest.raises(FileError, match="no columns"):
        list(read_orders(path))
    for content in (b"", b"order,dose\n1,2\n", b"PAR1" + b"\0" * 40 + b"PAR1"):
        path.write_bytes(content)
        with pytest.raises(FileError, match="cannot be read as Parquet"):
            list(read_orders(path))
    with pytest.raises(FileError, match="No such file"):
        list(read_orders(tmp_path / "other.parquet"))


def test_parquet_comes_in_chunks(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(tables_in, "ENOUGH_ROWS", 4)
    chunks = list(read_orders(parquet(tmp_path, order=[str(n) for n in range(10)])))
    assert [chunk.first_line for chunk in chunks] == [1, 5, 9]
    (empty,) = read_orders(parquet(tmp_path, order=pa.array([], pa.string())))
    assert empty.rows.columns == ["order"] and empty.rows.height == 0


def test_lines_of_objects(tmp_path: Path) -> None:
    text = "\ufeff" + GOOD + "\n" + '{"dose": "", "order": null}\r\n{}\n {"order": "\\u00b5\\n"} '
    (chunk,) = lines(tmp_path, text)
    assert chunk.rows.columns == ["order", "dose"]
    assert chunk.rows.rows() == [("1", "5 µg"), (None, None), (None, None), ("µ\n", None)]
    assert chunk.line.to_list() == [1, 3, 4, 5] and chunk.refused == []


BAD_LINES = {
    '{"order": 2}': '"order" is not text. Write it as text with its unit, in quotes.',
    '{"order": 2.50}': '"order" is not text',
    '{"order": NaN}': '"order" is not text',
    '{"order": -Infinity}': '"order" is not text',
    '{"order": true}': '"order" is not text',
    '{"order": ["2"]}': '"order" is not text',
    '{"order": {"a": "2"}}': '"order" is not text',
    '{"order": %s}' % ("9" * 5_000): '"order" is not text',
    '{"order": %s}' % ("[" * 100_000): "nested too deep",
    '{"order": "2", "order": "3"}': 'names "order" twice',
    '{"order": "2", "odrer": "3"}': 'unknown column "odrer". Known: order, dose.',
    '{"order": "\\ud800"}': "U+D800",
    '{"\\udfff": "1"}': "U+DFFF",
    '{"order": "a\\u0000b"}': "U+0000",
    '{"order": "2"}{}': "Extra data",
    '{"order": "2",}': "It is not one JSON object",
    "{'order': '2'}": "It is not one JSON object",
    '{"order": "a\0b"}': "It is not one JSON object",
    "null": "It is not a JSON object",
    '["2"]': "It is not a JSON object",
    "2": "It is not a JSON object",
    '{"order": "\udcb5g"}': "The byte 0xB5 is not UTF-8 text",
    '{"order": "%s"}' % ("x" * (LONGEST_FIELD + 1)): "more than 131,072 characters",
}


@pytest.mark.parametrize("bad", BAD_LINES, ids=range(len(BAD_LINES)))
def test_a_bad_line_is_refused_in_its_place(tmp_path: Path, bad: str) -> None:
    content = (GOOD + "\n" + bad + "\n" + GOOD).encode("utf-8", "surrogateescape")
    (chunk,) = lines(tmp_path, content)
    assert chunk.rows.rows() == [("1", "5 µg"), (None, None), ("1", "5 µg")]
    ((row, line, why, text, *_),) = chunk.refused
    assert (row, line) == (1, 3) and BAD_LINES[bad] in why
    assert text.isprintable() and len(text) < 2_000


def test_known_columns_may_come_later_than_the_first_line(tmp_path: Path) -> None:
    (chunk,) = lines(tmp_path, '7\n{"note": "n"}\n' + GOOD, known=("order", "dose", "weight"))
    assert chunk.rows.columns == ["note", "order", "dose", "weight"]
    assert chunk.rows.rows()[1:] == [("n", None, None, None), (None, "1", "5 µg", None)]
    assert [r.line for r in chunk.refused] == [1]


def test_lines_come_in_chunks(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(lines_in, "CHUNK_ROWS", 4)
    chunks = lines(tmp_path, GOOD * 10)
    assert [chunk.line.to_list() for chunk in chunks] == [[1, 2, 3, 4], [5, 6, 7, 8], [9, 10]]


def test_files_of_lines_without_orders(tmp_path: Path) -> None:
    for text in ("", "\n \n"):
        with pytest.raises(FileError, match="holds no orders"):
            lines(tmp_path, text)
    with pytest.raises(FileError, match=r"None of its first 2 lines holds an order\. The first: It is not a JSON object"):
        lines(tmp_path, "[]\n{}\n")
    with pytest.raises(FileError, match="Line 2 is longer"):
        lines(tmp_path, GOOD + "x" * (LONGEST_ROW + 1))


def test_texts_that_a_file_keeps_as_codes(tmp_path: Path) -> None:
    """They stay codes, file by file and part by part; what is read is the same as of plain text, and so is what is refused."""
    texts = ["oral", None, "", "rectal", "oral"] * 40
    whole = pa.table(
        {"route": texts, "dose": [f"{n % 7} mg" for n in range(200)], "note": [None] * 200, "order_id": [str(n) for n in range(200)]}
    )
    path = tmp_path / "orders.parquet"
    pq.write_table(whole.cast(pa.schema((name, pa.string()) for name in whole.column_names)), path, row_group_size=30)
    [chunk] = read_coded(path)
    assert isinstance(chunk.rows.schema["route"], pl.Enum) and isinstance(chunk.rows.schema["dose"], pl.Enum)
    assert chunk.rows["route"].to_list() == [text or None for text in texts]
    [plainly] = read_orders(path)
    assert set(plainly.rows.dtypes) == {pl.String} and plainly.rows.rows() == chunk.rows.rows()
    odd = pa.table({"route": pa.DictionaryArray.from_arrays([0, 1, 2, None], ["oral", "oral", "re\0ctal"])})
    pq.write_table(odd, tmp_path / "odd.parquet")
    [chunk] = read_coded(tmp_path / "odd.parquet")
    assert chunk.rows["route"].to_list() == ["oral", "oral", None, None] and [r.row for r in chunk.refused] == [2]


def test_no_more_of_a_large_file_is_in_memory_than_is_asked_for(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """What Arrow reads ahead it would keep, the bytes of every group of rows, to the end."""
    monkeypatch.setattr(tables_in, "ENOUGH_ROWS", 1000)
    path, group = tmp_path / "orders.parquet", 1_000_000
    schema = pa.schema({"note": pa.string()})
    with pq.ParquetWriter(path, schema) as writer:
        for number in range(30):
            texts = [random.Random(f"{number} {row}").randbytes(group // 2000).hex() for row in range(1000)]
            writer.write_table(pa.table({"note": texts}, schema))
    tracemalloc.start()
    try:
        for chunk in read_coded(path):
            assert len(chunk.rows) == 1000
        most = tracemalloc.get_traced_memory()[1]
    finally:
        tracemalloc.stop()
    assert path.stat().st_size > 10 * group and most < 5 * group


@pytest.mark.parametrize("ending", [".parquet", ".arrow", ".arrows"])
def test_long_texts_make_no_chunk_larger(tmp_path: Path, ending: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """However many rows the file keeps together: a million of them with a note of a kilobyte each held 2 GB."""
    monkeypatch.setattr(tables_in, "_PIECE_ROWS", 10)
    monkeypatch.setattr(tables_in, "_ENOUGH_BYTES", 100_000)
    monkeypatch.setattr(pipeline, "ENOUGH_BYTES", 100_000)
    notes = [random.Random(row).randbytes(500).hex() for row in range(1000)]
    path, rows = tmp_path / f"orders{ending}", pa.table({"note": notes})
    if ending == ".parquet":
        pq.write_table(rows, path)
    else:
        make = pa.ipc.new_file if ending == ".arrow" else pa.ipc.new_stream
        with make(path, rows.schema) as writer:
            writer.write_table(rows)
    chunks = list(pipeline.joined(read_coded(path)))
    assert [note for chunk in chunks for note in chunk.rows["note"]] == notes
    assert [number for chunk in chunks for number in chunk.line] == list(range(1, 1001))
    assert max(len(chunk.rows) for chunk in chunks) <= 220 and len(chunks) < 20
