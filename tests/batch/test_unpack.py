"""Files that are compressed: read as they would be unpacked, and every way of being broken is one clear error."""

from __future__ import annotations

import gzip
from pathlib import Path

import pyarrow as pa
import pytest

from dosecheck.batch import unpack
from dosecheck.batch.chunk import LONGEST_ROW
from dosecheck.batch.files import read_orders
from dosecheck.errors import FileError

HEADER = "order,weight,dose\n"
ROWS = HEADER + "".join(f"{n},{n % 60 + 2}.{n % 9} kg,{n * 7919 % 4001} mg\n" for n in range(5_000))


def zstd(text: bytes) -> bytes:
    return pa.Codec("zstd").compress(text, asbytes=True)


PACK = {"gz": gzip.compress, "zst": zstd}


def read(path: Path, content: bytes) -> list[tuple]:
    path.write_bytes(content)
    return [row for chunk in read_orders(path) for row in zip(chunk.line, *chunk.rows, strict=True)]


@pytest.mark.parametrize("pack", PACK)
@pytest.mark.parametrize("form", ["csv", "tsv", "jsonl"])
def test_packed_reads_as_unpacked(tmp_path: Path, form: str, pack: str) -> None:
    text = {"csv": ROWS, "tsv": ROWS.replace(",", "\t"), "jsonl": '{"order": "1", "dose": "5 µg"}\n' * 900}[form].encode()
    plain = read(tmp_path / f"orders.{form}", text)
    assert read(tmp_path / f"orders.{form}.{pack}", PACK[pack](text)) == plain
    halves = PACK[pack](text[:1_000]) + PACK[pack](text[1_000:])
    assert read(tmp_path / f"ORDERS.{form.upper()}.{pack.upper()}", halves) == plain


@pytest.mark.parametrize("pack", PACK)
@pytest.mark.parametrize("cut", [1, 5, 20, 200, 0.5, -1, -9])
def test_cut_short_anywhere(tmp_path: Path, pack: str, cut: float) -> None:
    whole = PACK[pack](ROWS.encode())
    with pytest.raises(FileError, match=r"orders.csv"):
        read(tmp_path / f"orders.csv.{pack}", whole[: int(cut * len(whole)) if isinstance(cut, float) else cut])


@pytest.mark.parametrize("pack", PACK)
def test_other_bytes_inside_or_behind(tmp_path: Path, pack: str) -> None:
    whole = PACK[pack](ROWS.encode())
    spoilt = bytearray(whole)
    spoilt[len(whole) // 2] ^= 0xFF
    for content in (bytes(spoilt), whole + b"not packed", ROWS.encode(), b"PK\x03\x04" + whole):
        with pytest.raises(FileError, match=f"orders.csv.{pack}: It cannot be unpacked as"):
            read(tmp_path / f"orders.csv.{pack}", content)


def test_nothing_packed_is_a_file_without_a_header(tmp_path: Path) -> None:
    for pack, how in PACK.items():
        with pytest.raises(FileError, match="no header line"):
            read(tmp_path / f"orders.csv.{pack}", how(b""))


@pytest.mark.parametrize("pack", PACK)
@pytest.mark.parametrize("filler", [b"\n", b" ", b"1,2,3\n"])
def test_a_bomb_is_refused(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, pack: str, filler: bytes) -> None:
    monkeypatch.setattr(unpack, "_FREE", 4 << 20)
    bomb = HEADER.encode() + filler * (12 * LONGEST_ROW // len(filler))
    with pytest.raises(FileError, match=r"unpacks to more than 500 times|longer than 1,048,576 bytes"):
        read(tmp_path / f"orders.csv.{pack}", PACK[pack](bomb))
    with pytest.raises(FileError, match=r"unpacks to more than 500 times|longer than 1,048,576 bytes|None of its first"):
        read(tmp_path / f"orders.jsonl.{pack}", PACK[pack](filler * (12 * LONGEST_ROW // len(filler))))


def test_only_text_is_packed(tmp_path: Path) -> None:
    with pytest.raises(FileError, match=r'cannot end in "\.parquet\.gz"'):
        read_orders(tmp_path / "orders.parquet.gz")
