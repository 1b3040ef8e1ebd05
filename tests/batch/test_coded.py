"""Coded columns: the same texts, whatever the column, and the same change of each."""

from __future__ import annotations

import csv
import io
from pathlib import Path

import polars as pl
import pytest
from hypothesis import given
from hypothesis import strategies as st

from dosecheck.batch import coded as module
from dosecheck.batch.coded import Codes, each_text, texts_of
from dosecheck.batch.columns import distinct, hashed
from dosecheck.batch.out_forms import no_formulas, writer_of

TEXTS = st.lists(st.sampled_from(["a", "b", "=c", "'=c", "-1", "-x", "", "é", None]), max_size=40)


@pytest.fixture(autouse=True)
def few_rows_a_text(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(module, "_MOST_OF_ROWS", 1)


def coded(rows: pl.DataFrame) -> pl.DataFrame:
    return Codes().coded(rows)


def table(texts: list[str | None]) -> pl.DataFrame:
    return pl.DataFrame({"note": texts}, schema={"note": pl.String})


@given(TEXTS)
def test_the_same_texts(texts: list[str | None]) -> None:
    rows = table(texts)
    column = coded(rows)["note"]
    assert isinstance(column.dtype, pl.Enum) == any(text is not None for text in texts)
    assert column.to_list() == texts and {text for text in texts if text is not None} <= set(texts_of(column))
    index, values = distinct(column)
    assert [None if n is None else values[n] for n in index] == texts
    assert hashed(column).to_list() == hashed(rows["note"]).to_list()
    assert no_formulas(coded(rows)).cast(pl.String).equals(no_formulas(rows))


@given(TEXTS)
def test_a_change_that_makes_texts_alike(texts: list[str | None]) -> None:
    rows = table(texts)

    def change(given: pl.Series) -> pl.Series:
        return given.replace({"a": "b", "=c": "b"}) + " kg"

    assert each_text(coded(rows)["note"], change).to_list() == change(rows["note"]).to_list()


def test_many_texts_stay_plain() -> None:
    assert coded(pl.DataFrame({"id": [str(n) for n in range(20_000)]}))["id"].dtype == pl.String


@given(st.lists(TEXTS, max_size=4))
def test_table_after_table(tables: list[list[str | None]]) -> None:
    codes = Codes()
    assert [codes.coded(table(texts))["note"].to_list() for texts in tables] == tables


def test_a_text_that_comes_later_gets_a_code_of_its_own() -> None:
    codes = Codes()
    first, second, third = (codes.coded(table(texts))["note"] for texts in (["a", "b"], ["b", "c", None], ["a", "a"]))
    assert first.dtype == pl.Enum(["a", "b"]) and second.dtype == third.dtype == pl.Enum(["a", "b", "c"])
    assert second.to_list() == ["b", "c", None]


def test_too_many_texts_are_told_anew(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(module, "_MOST_OF_ROWS", 2)
    codes = Codes()
    codes.coded(table(["a", "b"] * 4))
    later = codes.coded(table(["c", "d"] * 2))["note"]
    assert later.dtype == pl.Enum(["c", "d"]) and later.to_list() == ["c", "d"] * 2


@pytest.mark.parametrize("ending, mark", [(".csv", ","), (".tsv", "\t")])
@given(st.lists(st.tuples(*2 * [st.one_of(st.none(), st.text("aé\",;\r\n\t|#'", max_size=4))]), min_size=1, max_size=20), st.booleans())
def test_csv_is_quoted_as_others_quote_it(ending: str, mark: str, rows: list[tuple], few: bool) -> None:
    """By polars' own writer, and read back by Python's csv, of which the one cannot tell an empty text from none."""
    texts = pl.DataFrame(rows, schema={"note": pl.String, "ward": pl.String}, orient="row")
    file = io.BytesIO()
    form = writer_of(Path(f"results{ending}"), False)(file, texts.columns, texts.columns)
    form.write(coded(texts) if few else texts)
    assert file.getvalue() == texts.write_csv(include_header=False, separator=mark).encode()
    read = list(csv.reader(io.StringIO(file.getvalue().decode(), newline=""), delimiter=mark))
    assert read == [[text or "" for text in row] for row in rows]
