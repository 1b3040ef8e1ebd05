"""Parquet and Arrow written chunk by chunk: other readers read it whole, group by group, with statistics, by a filter, and from a pipe."""

from __future__ import annotations

import os
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import polars as pl
import pyarrow as pa
import pyarrow.parquet as pq
import pytest

from dosecheck.batch.arrow_out import Arrow
from dosecheck.batch.files import ResultWriter
from dosecheck.batch.parquet_out import Parquet

COLUMNS = ["order", "why", "nothing"]
CHUNKS = {"no rows": [], "an empty chunk": [0], "one": [5], "two": [5, 700], "one empty among others": [0, 3, 0, 4], "twenty": [50] * 20}


def frames(sizes: list[int]) -> list[pl.DataFrame]:
    schema = dict.fromkeys(COLUMNS, pl.String)
    made = []
    for n, size in enumerate(sizes):
        order, why = [f"{n:02}-{i:03}" for i in range(size)], [None if i % 3 else "w" * (i % 40) for i in range(size)]
        made.append(pl.DataFrame({"order": order, "why": why, "nothing": [None] * size}, schema))
    return made


def put(path: Path, chunks: list[pl.DataFrame]) -> pl.DataFrame:
    """Writes the chunks; what should be read."""
    with ResultWriter(path, COLUMNS) as result:
        for chunk in chunks:
            result.write(chunk)
    return pl.concat([frames([0])[0], *chunks])


def frame(table: pa.Table) -> pl.DataFrame:
    return pl.from_arrow(table).cast(pl.String)


@pytest.mark.parametrize("sizes", CHUNKS.values(), ids=CHUNKS)
def test_each_reader_reads_parquet(tmp_path: Path, sizes: list[int]) -> None:
    path = tmp_path / "r.parquet"
    rows = put(path, frames(sizes))
    assert pl.read_parquet(path).equals(rows)
    with pq.ParquetFile(path) as file:
        groups = [frame(file.read_row_group(n)) for n in range(file.num_row_groups)]
        assert [len(group) for group in groups] == (sizes or [0]) and file.metadata.num_rows == len(rows)
        assert pl.concat(groups).equals(rows) and frame(file.read()).equals(rows)
    pandas = pytest.importorskip("pandas")
    assert pandas.read_parquet(path)["order"].tolist() == rows["order"].to_list()


@pytest.mark.parametrize("sizes", CHUNKS.values(), ids=CHUNKS)
def test_each_column_chunk_stands_where_the_footer_says(tmp_path: Path, sizes: list[int]) -> None:
    path = tmp_path / "r.parquet"
    put(path, frames(sizes))
    footer, ends = pq.read_metadata(path), 4
    for group in (footer.row_group(n) for n in range(footer.num_row_groups)):
        for column in (group.column(n) for n in range(group.num_columns) if group.num_rows):
            begin = column.dictionary_page_offset or column.data_page_offset
            assert ends <= begin <= column.data_page_offset
            ends = begin + column.total_compressed_size
    assert ends < path.stat().st_size


def test_what_a_filter_passes_over_by_statistics_is_right(tmp_path: Path) -> None:
    path = tmp_path / "r.parquet"
    rows = put(path, frames([50] * 20))
    for order in ("00-000", "07-049", "19-013", "none"):
        asked = rows.filter(pl.col("order") == order)
        assert pl.scan_parquet(path).filter(pl.col("order") == order).collect().equals(asked)
        assert frame(pq.read_table(path, filters=[("order", "=", order)])).equals(asked)


@pytest.mark.parametrize("form", ["arrow", "arrows", "parquet"])
def test_through_a_pipe(tmp_path: Path, form: str) -> None:
    path = tmp_path / f"r.{form}"
    os.mkfifo(path)
    with ThreadPoolExecutor(1) as pool:
        got = pool.submit(path.read_bytes)
        rows = put(path, frames([5, 6]))
        text = got.result()
    read = {"arrow": pl.read_ipc, "arrows": pl.read_ipc_stream, "parquet": pl.read_parquet}[form]
    assert read(text).equals(rows)


def test_a_stream_goes_on_with_what_a_dictionary_told(tmp_path: Path) -> None:
    """A dictionary is told once; a run that goes on must not tell it again."""
    chunk = pl.DataFrame({"a": ["within", "stop", None]}, {"a": pl.Categorical})
    rows = [chunk, chunk.tail(2), chunk.head(1), chunk]
    written = set()
    for stop in range(len(rows) + 1):
        path = tmp_path / f"{stop}"
        with open(path, "ab") as file:
            begun = Arrow(file, ["a"], (), pa.ipc.new_stream)
            begun.begin()
            for chunk in rows[:stop]:
                begun.write(chunk)
        with open(path, "ab") as file:
            gone_on = Arrow(file, ["a"], (), pa.ipc.new_stream)
            gone_on.go_on() if stop else gone_on.begin()
            for chunk in rows[stop:]:
                gone_on.write(chunk)
            gone_on.finish()
        written.add(path.read_bytes())
    assert len(written) == 1


def test_codes_stand_in_the_file_as_they_come(tmp_path: Path) -> None:
    """Also those that no row has: whoever makes them sees to it that they do not go by the run (test_agreement.py)."""
    texts, path = ["b", None, "a", "b"], tmp_path / "results.parquet"
    with ResultWriter(path, ["a", "nothing"]) as result:
        result.write(pl.DataFrame({"a": texts, "nothing": [None] * 4}, dict.fromkeys(("a", "nothing"), pl.Enum(["x", "b", "y", "a"]))))
    assert pl.read_parquet(path).to_dict(as_series=False) == {"a": texts, "nothing": [None] * 4}
    assert pq.read_table(path, read_dictionary=["a"])["a"].chunk(0).dictionary.to_pylist() == ["x", "b", "y", "a"]


def test_a_footer_that_tells_of_rows_elsewhere_is_never_written(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Stands for a library whose offsets go by another beginning."""
    monkeypatch.setattr(pa, "OSFile", lambda path, mode: _Elsewhere(open(path, mode)))  # noqa: SIM115
    with open(tmp_path / "r.parquet", "ab") as file:
        form = Parquet(file, COLUMNS, ())
        for chunk in frames([3, 3]):
            form.write(chunk)
        with pytest.raises(AssertionError, match="tells of rows elsewhere"):
            form.finish()


class _Elsewhere:
    """A file of Python's, whose place Arrow counts from 0 whatever it is."""

    def __init__(self, file) -> None:
        self._file = file
        self.write, self.fileno, self.tell, self.flush = file.write, file.fileno, file.tell, file.flush

    closed = False

    def __enter__(self):
        return self

    def __exit__(self, *_: object) -> None:
        self._file.close()
