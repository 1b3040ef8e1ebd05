"""Reading order files in CSV: structure, encoding, line numbers, and that no row is ever lost."""

from __future__ import annotations

import codecs
import csv
from pathlib import Path

import polars as pl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from dosecheck.batch import csv_cut, csv_in
from dosecheck.batch.chunk import LONGEST_FIELD, LONGEST_ROW, Chunk
from dosecheck.batch.files import Asked, read_orders
from dosecheck.errors import FileError

HEADER = b"order,weight,dose\n"
GOOD = b"1,16 kg,240 mg\n"


def chunks_of(folder: Path, content: bytes, name: str = "orders.csv") -> list[Chunk]:
    path = folder / name
    path.write_bytes(content)
    return list(read_orders(path))


def one(folder: Path, content: bytes) -> Chunk:
    (chunk,) = chunks_of(folder, content)
    assert all(kind == pl.String for kind in chunk.rows.schema.values())
    assert chunk.line.dtype == pl.Int64 and len(chunk.line) == chunk.rows.height
    return chunk


def why_not(folder: Path, content: bytes, name: str = "orders.csv") -> str:
    with pytest.raises(FileError) as error:
        chunks_of(folder, content, name)
    assert name in str(error.value)
    return str(error.value)


def test_rows_are_text_and_an_empty_field_is_null(tmp_path: Path) -> None:
    chunk = one(tmp_path, HEADER + b'007,,-1\nNULL,"",nan\n')
    assert chunk.rows.columns == ["order", "weight", "dose"]
    assert chunk.rows.rows() == [("007", None, "-1"), ("NULL", None, "nan")]
    assert chunk.line.to_list() == [2, 3] and chunk.first_line == 2 and chunk.refused == []


@pytest.mark.parametrize("start", [b"", b"\xef\xbb\xbf"])
@pytest.mark.parametrize("end", [b"\n", b"\r\n"])
@pytest.mark.parametrize("last", [True, False])
def test_byte_order_mark_and_line_ends(tmp_path: Path, start: bytes, end: bytes, last: bool) -> None:
    text = start + (HEADER + GOOD + "2,4 kg,µg".encode() + b"\n" * last).replace(b"\n", end)
    assert one(tmp_path, text).rows.rows() == [("1", "16 kg", "240 mg"), ("2", "4 kg", "µg")]


def test_quoted_fields(tmp_path: Path) -> None:
    chunk = one(tmp_path, HEADER + b'"1","16,5 kg","a ""b"" c"\n2,"two\r\nlines\n\nmore",x\n3,y,z\n')
    assert chunk.rows.rows() == [("1", "16,5 kg", 'a "b" c'), ("2", "two\r\nlines\n\nmore", "x"), ("3", "y", "z")]
    assert chunk.line.to_list() == [2, 3, 7]


def test_wholly_blank_lines_are_skipped_and_empty_rows_are_not(tmp_path: Path) -> None:
    chunk = one(tmp_path, b"\n" + HEADER + b"\n" + GOOD + b'\r\n,,\n"a\n\n",b,c\n\n')
    assert chunk.rows.rows() == [("1", "16 kg", "240 mg"), (None, None, None), ("a\n\n", "b", "c")]
    assert chunk.line.to_list() == [4, 6, 7] and chunk.refused == []


def test_header_alone_gives_one_chunk_without_rows(tmp_path: Path) -> None:
    for text in (HEADER, HEADER.strip(), HEADER + b"\n\r\n"):
        chunk = one(tmp_path, text)
        assert chunk.rows.columns == ["order", "weight", "dose"] and chunk.rows.height == 0
        assert chunk.first_line is None


BAD_ROWS = {
    b"2,x": "It has 2 fields; the header has 3.",
    b"2,12,5,x": "It has 4 fields; the header has 3.",
    b'"2\n2",12,5,x': "It has 4 fields; the header has 3. A quote makes one row of 2 lines.",
    b"   ": "It has 1 field; the header has 3. A comma",
    b"2,x,5 \xb5g": "The byte 0xB5 is not UTF-8 text.",
    b"2,\xb5": "The byte 0xB5 is not UTF-8 text.",
    b"2,x,\xed\xa0\x80": "The byte 0xED is not UTF-8 text.",
    b"2,x\x00y,z": "a NUL byte",
    b'2,"x\x00",z': "a NUL byte",
    b'2,a"b,c': "a quote in the middle of a field",
    b'2,"a"b,c': "Text follows a closing quote",
    b'2,"a" ,c': "Text follows a closing quote",
    b"2,a\rb,c": "a carriage return in the middle",
    b"2,a,c\r\r": "a carriage return in the middle",
    b"2," + b"x" * (LONGEST_FIELD + 1) + b",c": "A field has more than 131,072 characters.",
    b'2,"' + b"\n" * 200_000 + b'",c': "A field has more than 131,072 characters.",
}


@pytest.mark.parametrize("bad", BAD_ROWS)
def test_a_bad_row_is_refused_in_its_place_and_hurts_no_other(tmp_path: Path, bad: bytes) -> None:
    chunk = one(tmp_path, HEADER + GOOD + b"\n" + bad + b"\n" + b'3,"a,b",c\n' + bad)
    assert chunk.rows.rows() == [("1", "16 kg", "240 mg"), (None,) * 3, ("3", "a,b", "c"), (None,) * 3]
    lines = bad.count(b"\n") + 1
    assert chunk.line.to_list() == [2, 4, 4 + lines, 5 + lines]
    assert [(r.row, r.line) for r in chunk.refused] == [(1, 4), (3, 5 + lines)]
    for refusal in chunk.refused:
        assert BAD_ROWS[bad] in refusal.why
        assert refusal.text.isprintable() and len(refusal.text) < 2_000


def test_the_longest_field_still_passes(tmp_path: Path) -> None:
    text = "é" * LONGEST_FIELD
    assert one(tmp_path, HEADER + f"1,{text},x\n".encode()).rows.item(0, 1) == text


def test_a_byte_order_mark_inside_the_file_is_text(tmp_path: Path) -> None:
    """Where files were joined; the reader of the field refuses it by name."""
    assert one(tmp_path, HEADER + b"\xef\xbb\xbf" + GOOD + GOOD).rows["order"].to_list() == ["\ufeff1", "1"]
    assert one(tmp_path, HEADER + b"\xef\xbb\xbf" + GOOD + b"2,x\n").rows["order"].to_list() == ["\ufeff1", None]


@pytest.mark.parametrize("short", [-1, 0, 1, 3, 40])
def test_a_byte_order_mark_before_a_long_file_tears_no_row(tmp_path: Path, short: int) -> None:
    """Its three bytes once made the first piece look like the end of the file, and the row there was cut in two."""
    rows = b"".join(b"%07d,16 kg,240 mg/kg\n" % n for n in range(csv_cut.HEADER_BYTES // 24 + 1000))
    text = codecs.BOM_UTF8 + HEADER + rows[: csv_cut.HEADER_BYTES - short]
    with_mark, without = chunks_of(tmp_path, text), chunks_of(tmp_path, text[3:], "bare.csv")
    assert sum(len(chunk.rows) for chunk in with_mark) == len(text.splitlines()) - 1 > 40_000
    assert pl.concat(chunk.rows for chunk in with_mark).equals(pl.concat(chunk.rows for chunk in without))


BAD_FILES = {
    b"": "no header line (0 bytes)",
    b"\xef\xbb\xbf\r\n\n": "no header line",
    b"order;weight\n1;2\n": "separated by semicolons, and commas were expected. If that is how the file is meant, say so: --delimiter semicolon.",
    b"order\tweight\n": "--delimiter tab",
    b"order|weight|dose,x\n": "--delimiter pipe",
    b"order\n1\n": "one column only",
    b"order,weight,order\n": '"order" twice',
    b"order,,dose\n": "Column 2 has no name",
    b"order,gewicht \xb5\n": "The byte 0xB5",
    b"order,a\x00b\n": "a NUL byte",
    b'order,a"b\n': "a quote in the middle",
    b"order,weight\r1,2\r": "a carriage return",
    b'order,"weight\n1,2\n': "The quote opened at line 1 is never closed.",
    b"PK\x03\x04,\n": "a zip file or a spreadsheet",
    b"\xd0\xcf\x11\xe0\xa1\xb1": "an old spreadsheet",
    b"PAR1\x15": "a Parquet file",
    b"\x1f\x8b\x08": "a compressed file",
    "order,weight\n".encode("utf-16"): "UTF-16",
    b"x" * (LONGEST_ROW + 2): "line 1 is longer than 1,048,576 bytes",
    HEADER + GOOD + b'2,"x,y\n' + GOOD * 900: "The quote opened at line 3 is never closed.",
    HEADER + b'2,"x\n",y"z,"\n' + GOOD: "The quote opened at line 3 is never closed.",
    HEADER + GOOD + b'2,x,"y\n' + GOOD + b'3,"z",w\n' + GOOD: "The quote opened at line 3 is not closed before line 5.",
    HEADER + b'2,"x' + GOOD * 100_000: "The quote opened at line 2 is not closed within 1,048,576 bytes.",
    HEADER + GOOD + b"y" * (LONGEST_ROW * 2) + b"\n2,x,\xb5\n": "The row at line 3 is longer than",
    HEADER + GOOD + b"y" * (LONGEST_ROW * 20): "The row at line 3 is longer",
}


@pytest.mark.parametrize("content", BAD_FILES, ids=range(len(BAD_FILES)))
def test_a_file_of_another_form_is_refused_whole(tmp_path: Path, content: bytes) -> None:
    assert BAD_FILES[content] in why_not(tmp_path, content)


def test_other_names_are_refused(tmp_path: Path) -> None:
    assert ".csv, .tsv, .jsonl" in why_not(tmp_path, b"x", "orders.doc")
    assert chunks_of(tmp_path, HEADER + GOOD, "ORDERS.CSV")[0].rows.height == 1
    with pytest.raises(FileError, match="No such file"):
        list(read_orders(tmp_path / "missing.csv"))


def test_many_blocks_with_quotes_and_bad_rows(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Large enough for several of Arrow's parts and threads; every seventh row bad in the second half."""
    monkeypatch.setattr(csv_cut, "CHUNK_BYTES", 6 << 20)
    count, pieces = 150_000, [HEADER]
    for n in range(count):
        bad = n > count // 2 and n % 7 == 0
        pieces.append(b'%d,"16 kg\n, as ""stated"" %s",240 mg%s\n' % (n, b"." * (n % 120), b",x" * bad))
    chunks = chunks_of(tmp_path, b"".join(pieces))
    assert len(chunks) > 2
    refused = {r.line for chunk in chunks for r in chunk.refused}
    assert refused == {2 + 2 * n for n in range(count) if n > count // 2 and n % 7 == 0}
    orders = pl.concat(chunk.rows for chunk in chunks)["order"]
    lines = pl.concat(chunk.line for chunk in chunks)
    assert lines.to_list() == list(range(2, 2 + 2 * count, 2))
    assert [n for n, order in enumerate(orders) if order != str(n)] == [(line - 2) // 2 for line in sorted(refused)]


def plain_rows(text: str) -> list[tuple[int, str]] | None:
    """The plain way, one character after another: line and text of each row; None where a quote is left open or torn."""
    rows, line, start, at = [], 1, 0, 0
    while at < len(text):
        first_bad = None
        while True:  # one field
            begin = at
            bad = False
            if text[at] == '"':
                at += 1
                while text[at : at + 1] not in ("", '"') or text[at : at + 2] == '""':
                    at += 2 if text[at] == '"' else 1
                if at == len(text):
                    return None
                at += 1
                bad = text[at] not in ",\n" and text[at : at + 2] != "\r\n"
            while text[at] not in ",\n":
                bad = bad or text[at] == '"' or (text[at] == "\r" and text[at + 1] != "\n")
                at += 1
            field = text[begin:at]
            if first_bad is None and (bad or "\0" in field):
                first_bad = field
            at += 1
            if text[at - 1] == "\n":
                break
        if first_bad is not None and first_bad.startswith('"') and "\n" in first_bad and "\0" not in first_bad:
            return None
        rows.append((line, "\0" if first_bad is not None else text[start:at]))
        line += text.count("\n", start, at)
        start = at
    return rows


def plain_answer(text: str) -> list[tuple[int, list[str | None] | None]] | None:
    rows = plain_rows(text)
    if rows is None:
        return None
    answer: list[tuple[int, list[str | None] | None]] = []
    for line, row in rows:
        if row in ("\n", "\r\n"):
            continue
        fields = None
        if "\0" not in row and not any("\ud800" <= c <= "\udfff" for c in row):
            (fields,) = csv.reader([row], strict=True)
        answer.append((line, [f or None for f in fields] if fields and len(fields) == 3 else None))
    return answer


PIECES = st.sampled_from(
    [",", ",", '"', '""', '"', "\n", "\r\n", "\r", "a", "é", " ", "\0", "\udcb5", "\ufeff", "a,b,c\n", '"a,b",c,d\n', '"x\ny",,\n', '"",""']
)


@settings(max_examples=600, deadline=None)
@given(st.lists(PIECES, max_size=40).map("".join), st.integers(1, 60), st.sampled_from(",;\t|"))
def test_the_fast_way_and_the_plain_way_agree(tmp_path_factory: pytest.TempPathFactory, text: str, block: int, mark: str) -> None:
    """With another delimiter as with a comma: the two change places in the text, and in what is read."""
    path = tmp_path_factory.getbasetemp() / "same.csv"
    whole = text if text.endswith("\n") or not text else text + "\n"
    swapped = ("a,b,c\n" + text).translate(str.maketrans({",": mark, mark: ","}))
    path.write_bytes(swapped.encode("utf-8", "surrogateescape"))
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(csv_cut, "CHUNK_BYTES", block)
        patch.setattr(csv_cut, "HEADER_BYTES", 6)
        try:
            chunks = list(read_orders(path, asked=Asked(mark)))
        except FileError:
            assert plain_answer(whole) is None
            return
    found = []
    for chunk in chunks:
        refused = {r.row: r.line for r in chunk.refused}
        assert all(chunk.line[row] == line for row, line in refused.items())
        back = chunk.rows.select(
            pl.all()
            .str.replace_all(mark, "\0", literal=True)
            .str.replace_all(",", mark, literal=True)
            .str.replace_all("\0", ",", literal=True)
        )
        found += [(n - 1, None if at in refused else list(r)) for at, (n, r) in enumerate(zip(chunk.line, back.rows(), strict=True))]
    assert found == plain_answer(whole)


def test_the_fast_way_is_taken_where_nothing_is_wrong(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(csv_in, "_careful", None)
    assert one(tmp_path, HEADER + GOOD + b'2,"a\nb ""c""",d\r\n').rows.height == 2


DELIMITERS = {";": "semicolon", "\t": "tab", "|": "pipe"}


@pytest.mark.parametrize("mark", DELIMITERS)
def test_a_delimiter_is_taken_only_when_it_is_stated(tmp_path: Path, mark: str) -> None:
    text = (HEADER + b"1,16 kg,240 mg\n2,x\n").replace(b",", mark.encode()) + f'3{mark}"16,5{mark}kg"{mark},\n'.encode()
    assert f"--delimiter {DELIMITERS[mark]}" in why_not(tmp_path, text)
    (chunk,) = read_orders(tmp_path / "orders.csv", asked=Asked(mark))
    assert chunk.rows.rows() == [("1", "16 kg", "240 mg"), (None,) * 3, ("3", f"16,5{mark}kg", ",")]
    assert f"A {DELIMITERS[mark]} inside a field" in chunk.refused[0].why
    with pytest.raises(FileError, match=r"commas, and .* were expected.*--delimiter comma"):
        (tmp_path / "orders.csv").write_bytes(HEADER)
        list(read_orders(tmp_path / "orders.csv", asked=Asked(mark)))


def test_tsv_is_of_tabs_and_has_no_other_delimiter(tmp_path: Path) -> None:
    (chunk,) = chunks_of(tmp_path, (HEADER + GOOD).replace(b",", b"\t"), "orders.tsv")
    assert chunk.rows.rows() == [("1", "16 kg", "240 mg")]
    with pytest.raises(FileError, match="Leave --delimiter out"):
        read_orders(tmp_path / "orders.tsv", asked=Asked(";"))


def test_a_header_with_another_mark_inside_a_name_is_no_matter(tmp_path: Path) -> None:
    assert one(tmp_path, b'order,"a;b;c;d",dose|x\n1,2,3\n').rows.columns == ["order", "a;b;c;d", "dose|x"]
