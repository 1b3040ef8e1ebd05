"""`check_frame`: every kind of frame is answered as the file of the same rows is, and comes back as the kind it was."""

from __future__ import annotations

import datetime
import runpy
from datetime import date
from importlib.resources import files
from pathlib import Path
from typing import Any

import pandas as pd
import polars as pl
import pyarrow as pa
import pytest

from dosecheck import FileError, Formulary, check_frame
from dosecheck.batch import frame as frame_module
from dosecheck.batch.run import run_batch
from dosecheck.batch.texts import RESULTS

FORMULARY = Formulary(Path(__file__).parents[2] / "formulary")
TODAY = date(2026, 5, 4)
ORDERS = pl.read_csv(files("dosecheck.demo") / "orders.csv", infer_schema=False).with_columns(bed=pl.int_range(pl.len()))


class Foreign:
    """A dataframe of somebody else's: nothing is known of it but the interface."""

    def __init__(self, table: pa.Table) -> None:
        self.table = table

    def __arrow_c_stream__(self, requested_schema: Any = None) -> Any:
        return self.table.__arrow_c_stream__(requested_schema)


class Returning(Foreign):
    @classmethod
    def from_arrow(cls, table: pa.Table) -> Returning:
        return cls(table)


KINDS = {
    "polars": (pl.DataFrame, lambda frame: frame),
    "pandas": (pd.DataFrame, lambda frame: frame.to_arrow().to_pandas()),
    "table": (pa.Table, lambda frame: frame.to_arrow()),
    "pieces": (pa.Table, lambda frame: pa.concat_tables([frame[:5].to_arrow(), frame[5:5].to_arrow(), frame[5:].to_arrow()])),
    "record batch": (pa.RecordBatch, lambda frame: frame.to_arrow().combine_chunks().to_batches()[0]),
    "categories": (pl.DataFrame, lambda frame: frame.with_columns(pl.col("medicine").cast(pl.Categorical))),
    "a foreign kind": (pa.Table, lambda frame: Foreign(frame.to_arrow())),
    "one with a way back": (Returning, lambda frame: Returning(frame.to_arrow())),
}


def read_back(frame: Any) -> pl.DataFrame:
    return pl.DataFrame(pa.table(frame))


@pytest.fixture(scope="module")
def expected(tmp_path_factory: pytest.TempPathFactory) -> pl.DataFrame:
    """What the file of the same rows is answered."""
    folder = tmp_path_factory.mktemp("orders")
    ORDERS.write_parquet(folder / "orders.parquet")
    run_batch(folder / "orders.parquet", folder / "results.parquet", FORMULARY, TODAY)
    return pl.read_parquet(folder / "results.parquet").select(RESULTS)


@pytest.mark.parametrize("kind", KINDS)
def test_each_kind_is_answered_as_the_file_and_comes_back_as_it_was(kind: str, expected: pl.DataFrame) -> None:
    cls, make = KINDS[kind]
    given = make(ORDERS)
    checked = check_frame(given, FORMULARY, today=TODAY)
    assert type(checked) is cls
    told = read_back(checked)
    assert told.columns == [*ORDERS.columns, *RESULTS]
    assert set(told["outcome"]) == {"within", "query", "stop", "not-checked"}
    assert told.select(RESULTS).cast(pl.String).equals(expected)
    assert told.select(ORDERS.columns).equals(read_back(given)), "its own columns are not touched"


def test_rows_are_answered_piece_by_piece(monkeypatch: pytest.MonkeyPatch, expected: pl.DataFrame) -> None:
    monkeypatch.setattr(frame_module, "ENOUGH_ROWS", 3)
    assert check_frame(ORDERS, FORMULARY, today=TODAY).select(RESULTS).equals(expected)


def test_the_index_of_pandas_is_kept_and_not_read(expected: pl.DataFrame) -> None:
    frame = ORDERS.to_arrow().to_pandas()
    frame.index = pd.Index([7.5] * len(frame), name="weight")  # neither unique, nor of a type that could be read
    checked = check_frame(frame, FORMULARY, today=TODAY)
    assert checked.index.equals(frame.index) and checked.index.name == "weight"
    assert checked["outcome"].tolist() == expected["outcome"].to_list()
    assert list(frame.columns) == ORDERS.columns, "the frame that was handed over stays as it was"


@pytest.mark.parametrize("kind", ["polars", "pandas", "table", "record batch"])
def test_a_frame_without_rows(kind: str) -> None:
    cls, make = KINDS[kind]
    whole = make(ORDERS)
    empty = whole.iloc[:0] if kind == "pandas" else whole[:0] if kind == "polars" else whole.slice(0, 0)
    checked = check_frame(empty, FORMULARY, today=TODAY)
    assert type(checked) is cls and len(pa.table(checked)) == 0
    assert pa.table(checked).schema.names[: -len(RESULTS)] == ORDERS.columns


def test_dates_and_whole_numbers_are_read_as_text() -> None:
    order = {
        "medicine": ["paracetamol"],
        "route": ["oral"],
        "for": ["pain"],
        "dose": ["210 mg"],
        "every": ["6 hours"],
        "weight": ["14.2 kg"],
    }
    frame = pl.DataFrame({**order, "born": [datetime.date(2023, 3, 1)], "on": [TODAY], "ward": [7]})
    checked = check_frame(frame, FORMULARY)
    assert checked["outcome"].to_list() == ["within"]
    assert checked["born"].dtype == pl.Date and checked["ward"].dtype == pl.Int64


def test_own_names_and_codes_by_a_map_or_its_path(tmp_path: Path) -> None:
    (tmp_path / "map.toml").write_text(
        '[columns]\nmedicine = "drug"\nweight = { column = "kilos", unit = "kg" }\n[codes.route]\n"PO" = "oral"\n'
    )
    frame = pl.DataFrame({"drug": ["paracetamol"], "route": ["PO"], "for": ["pain"], "dose": ["210 mg"], "every": ["6 hours"],
                          "kilos": ["14.2"], "age": ["3 years"]})  # fmt: skip
    checked = check_frame(frame, FORMULARY, today=TODAY, columns=tmp_path / "map.toml")
    assert checked["outcome"].to_list() == ["within"] and checked["kilos"].to_list() == ["14.2"]


NUL = pl.DataFrame({"medicine": ["paracetamol", "para\0cetamol"], "dose": ["210 mg", "210 mg"]})


def test_a_row_that_is_no_text_hurts_only_itself() -> None:
    checked = check_frame(NUL, FORMULARY, today=TODAY)
    assert checked["codes"].to_list()[1] == "unreadable" and "NUL" in checked["sentence"][1]
    assert checked["codes"].to_list()[0] != "unreadable"


NOT_UTF8 = pa.Array.from_buffers(pa.string(), 1, [None, pa.array([0, 2], pa.int32()).buffers()[1], pa.py_buffer(b"\xb5g")])
DOSES = {"medicine": ["paracetamol"], "dose": ["210 mg"]}
BAD = {
    "floats": (pl.DataFrame({**DOSES, "weight": [14.2]}), 'The column "weight" is of type double, not text. Write amounts as text with their unit.'),
    "missing": (pl.DataFrame({"medicine": ["paracetamol"], "dsoe": ["210 mg"]}), 'The column "dose" is missing. Is it "dsoe"?'),
    "hidden": (pl.DataFrame({**DOSES, "outcome": ["within"]}), "result column"),
    "twice": (pd.DataFrame([["a", "b", "c"]], columns=["medicine", "dose", "dose"]), "(?i)duplicate"),
    "twice in arrow": (pa.Table.from_arrays([pa.array(["a"])] * 2, names=["dose", "dose"]), 'two columns "dose"'),
    "mixed": (pd.DataFrame({"medicine": ["paracetamol", "ibuprofen"], "dose": [210, "100 mg"]}), "Write every column as text"),
    "not UTF-8": (pa.table({"medicine": ["paracetamol"], "dose": NOT_UTF8}), "holds what is no text"),
    "no columns": (pl.DataFrame(), "no columns"),
    "lazy": (ORDERS.lazy(), "(?i)collect"),
    "a list": ([DOSES], "A list does not speak the Arrow interface"),
    "a series": (pl.Series(["210 mg"]), "cannot be made an Arrow table"),
}  # fmt: skip


@pytest.mark.parametrize("case", BAD)
def test_a_frame_that_cannot_be_read_is_one_plain_error(case: str) -> None:
    frame, words = BAD[case]
    with pytest.raises(FileError, match=words.replace("?", r"\?") if "Is it" in words else words) as error:
        check_frame(frame, FORMULARY, today=TODAY)
    assert str(error.value).startswith("the frame: ")


def test_the_notebook_runs_as_it_is(capsys: pytest.CaptureFixture[str]) -> None:
    runpy.run_module("dosecheck.demo.notebook")
    told = capsys.readouterr().out
    assert "STOP, do not give as written" in told and "NOT CHECKED." in told
    cells = Path(files("dosecheck.demo") / "notebook.py").read_text("utf-8").split("# %%")
    assert len(cells) > 4
