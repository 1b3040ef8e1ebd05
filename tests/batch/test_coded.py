"""Coded columns: the same texts, whatever the column, and the same change of each."""

from __future__ import annotations

import polars as pl
import pytest
from hypothesis import given
from hypothesis import strategies as st

from dosecheck.batch import coded as module
from dosecheck.batch.coded import coded, each_text, texts_of
from dosecheck.batch.columns import distinct, hashed
from dosecheck.batch.out_forms import no_formulas

TEXTS = st.lists(st.sampled_from(["a", "b", "=c", "'=c", "-1", "-x", "", "é", None]), max_size=40)


@pytest.fixture(autouse=True)
def few_rows_a_text(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(module, "_MOST_OF_ROWS", 1)


@given(TEXTS)
def test_the_same_texts(texts: list[str | None]) -> None:
    rows = pl.DataFrame({"note": texts}, schema={"note": pl.String})
    column = coded(rows)["note"]
    assert isinstance(column.dtype, pl.Enum) == any(text is not None for text in texts)
    assert column.to_list() == texts and {text for text in texts if text is not None} <= set(texts_of(column))
    index, values = distinct(column)
    assert [None if n is None else values[n] for n in index] == texts
    assert hashed(column).to_list() == hashed(rows["note"]).to_list()
    assert no_formulas(coded(rows)).cast(pl.String).equals(no_formulas(rows))


@given(TEXTS)
def test_a_change_that_makes_texts_alike(texts: list[str | None]) -> None:
    rows = pl.DataFrame({"note": texts}, schema={"note": pl.String})

    def change(given: pl.Series) -> pl.Series:
        return given.replace({"a": "b", "=c": "b"}) + " kg"

    assert each_text(coded(rows)["note"], change).to_list() == change(rows["note"]).to_list()


def test_many_texts_stay_plain() -> None:
    assert coded(pl.DataFrame({"id": [str(n) for n in range(2000)]}))["id"].dtype == pl.String
