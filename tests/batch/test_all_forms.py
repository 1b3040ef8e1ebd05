"""All forms held together: the same orders in each form that is read, into each form that is written, give the same answers.

The files of orders are made, and the results read, by `every_form.py`, without the tool's own readers and writers.  What differs
by nature, and is taken into account here:

- An empty text and a text that is not given are one.
- CSV and TSV have an apostrophe before what a spreadsheet would run; nothing else that is written has one.
- JSON Lines may bring a known column later than in the first line, so that its result has all of them, empty.
- A workbook has no carriage return, and no other character that XML does not know, but as an escape (`_x000D_`).
- A row that the reader itself refuses is told with its line, which is counted as the form counts; `test_bad_forms.py` holds those.
"""

from __future__ import annotations

import re
import sqlite3
from datetime import date
from pathlib import Path
from typing import Any

import openpyxl
import polars as pl
import pytest
from batch.every_form import RESULT_OF, SOURCES, Result, as_database, asked, source
from cli.door import FOLDER
from hypothesis import given, settings
from hypothesis import strategies as st

from dosecheck import Formulary
from dosecheck.batch.columns import FIELDS
from dosecheck.batch.database import NewTable
from dosecheck.batch.files import ResultWriter, read_orders
from dosecheck.batch.run import Batch, run_batch
from dosecheck.batch.texts import RESULTS
from dosecheck.batch.verify import verify

FORMULARY = Formulary(FOLDER)
TODAY = date(2026, 5, 4)
NAMES = ["order_id", "medicine", "route", "for", "dose", "every", "weight", "age", "born", "on", "note é"]
ORDER = ("paracetamol", "oral", "pain", "210 mg", "6 hours", "14.2 kg", "3 years", None, None)


def order(order_id: str | None, note: str | None, **changes: str | None) -> tuple[str | None, ...]:
    return (order_id, *(changes.get(name, given) for name, given in zip(NAMES[1:-1], ORDER, strict=True)), note)


ROWS = [
    order("007", "leading zeros"),
    order("1.50", None, dose="2100 mg"),
    order("A, 1", 'he said "no", and\nwent', weight=None),
    order("=1+1", "@SUM(A1)"),
    order("+1", "-1"),
    order("-1+2", "-0.25"),
    order("\tA", " spaces "),
    order("B;2|3", "two\r\nlines\rand\n\nmore"),
    order("µ", "體重 — \U0001f9d2 \u202e \ufeff \x85 \u2028"),
    order("n/a", "n/a", weight="n/a"),
    order("12", "born", age=None, born="2023-04-03", on="2026-05-04"),
    order("13", "born, badly", age=None, born="03/04/2023"),
    order("14", "refused", dose="210"),
    order("15", "refused", weight="14,2 kg"),
    (None,) * len(NAMES),
    order("true", "null", medicine="nosuch"),
    order("1e3", "<b>&amp;</b> _x000D_ ]]> \\ \\u0041 ''", dose=None),
    order(None, "None"),
]
TABLE = pl.DataFrame(ROWS, schema=NAMES, orient="row")


def harmless(text: str | None) -> str | None:
    """As CSV holds it."""
    runs = text and re.match(r"[=+\-@\t\r\n]", text) and not re.fullmatch(r"-[0-9]+(\.[0-9]+)?", text)
    return f"'{text}" if runs else text


@pytest.fixture(scope="module")
def answers() -> Result:
    """Those of the orders in memory, in no form at all."""
    found = pl.concat([TABLE, Batch(FORMULARY, TODAY).answer(TABLE)], how="horizontal")
    assert found["outcome"].n_unique() == 3 and found["codes"].eq("unreadable").sum() == 3
    return without_empty(found.to_dicts())


@pytest.mark.parametrize("form", SOURCES)
def test_the_same_answers_in_every_pair_of_forms(tmp_path: Path, form: str, answers: Result) -> None:
    orders = source(tmp_path, form, NAMES, ROWS)
    for out, read in RESULT_OF.items():
        path = tmp_path / f"results.{out}"
        summary = run_batch(orders, path, FORMULARY, TODAY, asked=asked(form))
        assert (summary.rows, summary.refused) == (len(ROWS), 3)
        plain = harmless if out[:3] in ("csv", "tsv") else str_or_none
        wanted = [{name: plain(text) if name in NAMES else text for name, text in row.items()} for row in answers]
        assert without_later(read(path.read_bytes())) == wanted, out
        assert all(each.agrees for each in verify(path)), out
    found = tmp_path / "results.db"
    run_batch(orders, f"sqlite:///{found}#results", FORMULARY, TODAY, asked=asked(form))
    base = sqlite3.connect(found)
    base.row_factory = sqlite3.Row
    assert without_later([dict(row) for row in base.execute("select * from results")]) == answers
    base.close()


def str_or_none(text: str | None) -> str | None:
    return text


def without_later(rows: Result) -> Result:
    """Without the known columns that JSON Lines might have brought later, which are empty."""
    later = {*FIELDS, "child_id"} - {*NAMES}
    assert not any(row.get(name) for row in rows for name in later)
    return without_empty([{name: row[name] for name in (*NAMES, *RESULTS)} for row in rows])


def without_empty(rows: Result) -> Result:
    return [{name: text or None for name, text in row.items()} for row in rows]


def test_values_of_other_types_answer_as_their_texts(tmp_path: Path) -> None:
    """Dates, whole numbers and decimals as a table, a workbook and a database hold them."""
    names = ["order_id", "medicine", "route", "for", "dose", "times_a_day", "weight", "born", "on"]
    row: tuple[Any, ...] = (12, "paracetamol", "oral", "pain", "210 mg", 4, "14.2 kg", date(2023, 4, 3), date(2026, 5, 4))
    text = pl.DataFrame([tuple(map(str, row))], schema=names, orient="row")
    wanted = pl.concat([text, Batch(FORMULARY, TODAY).answer(text)], how="horizontal")
    pl.DataFrame([row], schema=names, orient="row").write_parquet(tmp_path / "orders.parquet")
    pl.DataFrame([row], schema=names, orient="row").write_ipc(tmp_path / "orders.arrow")
    book = openpyxl.Workbook()
    book.active.append(names)
    book.active.append(row)
    book.save(tmp_path / "orders.xlsx")
    in_table = tuple(value if isinstance(value, int) else str(value) for value in row)
    base = as_database(tmp_path / "orders.db", names, [in_table], "")
    for orders in (*(tmp_path / f"orders.{form}" for form in ("parquet", "arrow", "xlsx")), base):
        run_batch(orders, tmp_path / "results.parquet", FORMULARY, TODAY)
        assert pl.read_parquet(tmp_path / "results.parquet").equals(wanted), orders
    assert wanted["outcome"].to_list() == ["within"]


# ---- whatever is written is read back ----

PIECES = ["=", "-", "1", ".", '"', "'", ",", ";", "\t", "\r", "\n", "\\", "_x", "000D", "_", "\x1b", "\ufeff", " ", "a"]
TEXTS = st.one_of(
    st.none(),
    st.text(st.characters(exclude_categories=["Cs"], exclude_characters="\0"), max_size=12),
    st.lists(st.sampled_from(PIECES), max_size=8).map("".join),
)
CHUNKS = st.lists(st.lists(st.tuples(TEXTS, TEXTS, TEXTS), max_size=4), max_size=4)
COLUMNS = ["order", "why", "é, é"]


@pytest.mark.parametrize("form", [*RESULT_OF, "database"])
@settings(max_examples=60, deadline=None)
@given(chunks=CHUNKS)
def test_what_is_written_is_read_back(tmp_path_factory: pytest.TempPathFactory, form: str, chunks: list[list[tuple]]) -> None:
    """In whatever chunks; an empty text is one that was not given; and once more, from what was read."""
    chunks += [[("end", None, None)]]  # a workbook's last rows would be none if they were empty, and JSON without a line has no columns
    path, plain = tmp_path_factory.getbasetemp() / f"back.{form}", harmless if form[:3] in ("csv", "tsv") else str_or_none
    rows = [tuple(plain(text) or None for text in row) for chunk in chunks for row in chunk]
    for _ in range(2):
        place = f"sqlite:///{path}#results" if form == "database" else str(path)
        path.unlink(missing_ok=True)
        with NewTable(place, COLUMNS) if form == "database" else ResultWriter(place, COLUMNS) as writer:
            for chunk in chunks:
                writer.write(pl.DataFrame(chunk, schema=dict.fromkeys(COLUMNS, pl.String), orient="row"))
        found = list(read_orders(place))
        assert not any(chunk.refused for chunk in found)
        assert [row for chunk in found for row in chunk.rows.rows()] == rows
        chunks = [[*chunk.rows.rows()] for chunk in found]
