"""Writing results: whole or not at all, never over the orders, and harmless in a spreadsheet."""

from __future__ import annotations

import errno
import os
import resource
import signal
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import polars as pl
import pyarrow.parquet as pq
import pytest

from dosecheck.batch.files import ResultWriter, read_orders
from dosecheck.errors import FileError

FORMS = [
    "csv",
    "parquet",
    "jsonl",
    "ndjson",
    "tsv",
    "csv.gz",
    "csv.zst",
    "tsv.gz",
    "jsonl.gz",
    "ndjson.zst",
    "arrow",
    "feather",
    "arrows",
    "xlsx",
]
ROWS = pl.DataFrame({"order": ["1", None, 'a "b", c'], "why": [None, "two\nlines", "é"]})


def put(path: Path, *chunks: pl.DataFrame) -> None:
    with ResultWriter(path, ["order", "why"]) as result:
        for chunk in chunks:
            result.write(chunk)


def parts(folder: Path) -> list[str]:
    return [path.name for path in folder.iterdir() if path.suffix == ".part"]


@pytest.mark.parametrize("form", FORMS)
def test_what_is_written_reads_back_the_same(tmp_path: Path, form: str) -> None:
    path = tmp_path / f"result.{form}"
    put(path, ROWS, ROWS.select("why", "order"))
    assert pl.concat(chunk.rows for chunk in read_orders(path)).equals(pl.concat([ROWS, ROWS]))
    assert os.listdir(tmp_path) == [path.name]


def test_a_result_without_rows_has_its_columns(tmp_path: Path) -> None:
    for form in FORMS[:2]:
        put(tmp_path / f"r.{form}")
        (chunk,) = read_orders(tmp_path / f"r.{form}")
        assert chunk.rows.columns == ["order", "why"] and chunk.rows.height == 0
    put(tmp_path / "r.jsonl")
    assert (tmp_path / "r.jsonl").read_bytes() == b""


def test_parquet_keeps_the_types_of_the_first_chunk(tmp_path: Path) -> None:
    first = pl.DataFrame({"order": [1], "why": [None]})
    put(tmp_path / "r.parquet", first, pl.DataFrame({"order": [2], "why": ["x"]}))
    assert pq.read_table(tmp_path / "r.parquet").to_pylist() == [{"order": 1, "why": None}, {"order": 2, "why": "x"}]


SPREADSHEET = {
    '=HYPERLINK("http://x.example","ok")': '\'=HYPERLINK("http://x.example","ok")',
    "+1": "'+1",
    "-1+2": "'-1+2",
    "-1\n": "'-1\n",
    "-": "'-",
    "@SUM(A1)": "'@SUM(A1)",
    "\t=1": "'\t=1",
    "\r=1": "'\r=1",
    "\n=1": "'\n=1",
    "-1": "-1",
    "-0.25": "-0.25",
    "a=1": "a=1",
    "5 mg": "5 mg",
    "'=1": "'=1",
}


@pytest.mark.parametrize("text", SPREADSHEET)
def test_csv_starts_no_formula(tmp_path: Path, text: str) -> None:
    put(tmp_path / "r.csv", pl.DataFrame({"order": [text], "why": pl.Series([text], dtype=pl.Categorical)}))
    (chunk,) = read_orders(tmp_path / "r.csv")
    assert chunk.rows.row(0) == (SPREADSHEET[text],) * 2
    put(tmp_path / "r.jsonl", pl.DataFrame({"order": [text], "why": [text]}))
    (chunk,) = read_orders(tmp_path / "r.jsonl")
    assert chunk.rows.row(0) == (text, text)


def test_a_column_name_starts_no_formula_and_numbers_stay(tmp_path: Path) -> None:
    with ResultWriter(tmp_path / "r.csv", ["=1+1", "n"]) as result:
        result.write(pl.DataFrame({"n": [-1], "=1+1": ["x"]}))
    assert (tmp_path / "r.csv").read_text() == "'=1+1,n\nx,-1\n"


@pytest.mark.parametrize("form", FORMS)
def test_an_error_inside_leaves_the_earlier_result(tmp_path: Path, form: str) -> None:
    path = tmp_path / f"result.{form}"
    path.write_bytes(b"earlier")
    with pytest.raises(KeyError), ResultWriter(path, ["order", "why"]) as result:
        result.write(ROWS)
        raise KeyError
    assert path.read_bytes() == b"earlier" and os.listdir(tmp_path) == [path.name]


@pytest.mark.parametrize("form", FORMS)
@pytest.mark.parametrize("step", ["fsync", "replace"])
def test_a_failure_at_the_end_leaves_the_earlier_result(tmp_path: Path, form: str, step: str, monkeypatch: pytest.MonkeyPatch) -> None:
    def full(*_: object) -> None:
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    path = tmp_path / f"result.{form}"
    path.write_bytes(b"earlier")
    monkeypatch.setattr(os, step, full)
    with pytest.raises(FileError, match=r"cannot be written: No space left on device\. The result is not complete"):
        put(path, ROWS)
    assert path.read_bytes() == b"earlier" and os.listdir(tmp_path) == [path.name]


CHILD = """
import sys, polars as pl
from dosecheck.batch.files import ResultWriter
from dosecheck.errors import FileError
rows = pl.DataFrame({"order": [str(n) * 9 for n in range(50_000)]})
try:
    with ResultWriter(sys.argv[1], ["order"]) as result:
        for n in range(int(sys.argv[2])):
            result.write(rows)
            if n == 3:
                print("writing", file=sys.stderr, flush=True)
except FileError as error:
    print(error, file=sys.stderr)
    sys.exit(3)
"""


def child(path: Path | str, chunks: int, before: Callable[[], None] | None = None) -> subprocess.Popen[bytes]:
    place = dict(os.environ, PYTHONPATH=os.pathsep.join(filter(None, sys.path)))
    call = [sys.executable, "-c", CHILD, str(path), str(chunks)]
    return subprocess.Popen(call, env=place, stdout=subprocess.PIPE, stderr=subprocess.PIPE, preexec_fn=before)


@pytest.mark.parametrize("form", FORMS)
def test_a_disk_that_fills_up(tmp_path: Path, form: str) -> None:
    """A limit on the size of files stands for the full disk."""
    path = tmp_path / f"result.{form}"
    path.write_bytes(b"earlier")
    task = child(path, 30, lambda: resource.setrlimit(resource.RLIMIT_FSIZE, (200_000, 200_000)))
    _, told = task.communicate(timeout=60)
    assert task.returncode == 3, told
    assert b"cannot be written: File too large" in told and b"Traceback" not in told
    assert path.read_bytes() == b"earlier" and os.listdir(tmp_path) == [path.name]


@pytest.mark.parametrize("stop", [signal.SIGKILL, signal.SIGTERM, signal.SIGINT])
def test_killed_half_way(tmp_path: Path, stop: signal.Signals) -> None:
    path = tmp_path / "result.csv"
    path.write_bytes(b"earlier")
    task = child(path, 1_000_000)
    assert task.stderr is not None and b"writing" in task.stderr.readline()
    task.send_signal(stop)
    task.communicate(timeout=60)
    assert task.returncode != 0
    assert path.read_bytes() == b"earlier"
    assert parts(tmp_path) == [] if stop == signal.SIGINT else len(parts(tmp_path)) == 1


def test_a_pipe_closed_early() -> None:
    with child("/dev/stdout", 1_000) as task:
        assert task.stdout is not None and task.stderr is not None
        assert task.stdout.readline() == b"order\n"
        task.stdout.close()
        told = task.stderr.read()
        assert task.wait(timeout=60) == 3, told
    assert b"Broken pipe" in told and b"Traceback" not in told


def test_a_pipe_read_to_its_end() -> None:
    out, told = child("/dev/stdout", 2).communicate(timeout=60)
    assert out.count(b"\n") == 100_001 and told == b""


def test_never_over_the_orders(tmp_path: Path) -> None:
    orders = tmp_path / "orders.csv"
    orders.write_text("order,why\n1,2\n")
    (tmp_path / "link.csv").symlink_to(orders)
    (tmp_path / "hard.csv").hardlink_to(orders)
    for name in ("orders.csv", "link.csv", "hard.csv", "../" + tmp_path.name + "/orders.csv"):
        with pytest.raises(FileError, match="replace the file of orders itself"):
            ResultWriter(tmp_path / name, ["order"], source=orders)


def test_places_that_cannot_be_written(tmp_path: Path) -> None:
    with pytest.raises(FileError, match="No such file or directory"):
        put(tmp_path / "missing" / "r.csv")
    with pytest.raises(FileError, match="File name too long"):
        put(tmp_path / ("r" * 300 + ".csv"))
    with pytest.raises(FileError, match="This is a folder"):
        (tmp_path / "folder.csv").mkdir()
        put(tmp_path / "folder.csv")
    with pytest.raises(FileError, match=r'cannot end in "\.doc"'):
        put(tmp_path / "r.doc")


def test_rights_and_links_are_kept(tmp_path: Path) -> None:
    path, link = tmp_path / "r.csv", tmp_path / "link.csv"
    path.write_text("earlier")
    path.chmod(0o600)
    link.symlink_to(path)
    put(link, ROWS)
    assert link.is_symlink() and path.stat().st_mode & 0o777 == 0o600
    assert path.read_text().startswith("order,why\n1,\n")
