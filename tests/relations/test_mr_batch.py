"""Files of orders, and every door alike: MR30 to MR33."""

from __future__ import annotations

import contextlib
import csv
import io
import json
import sys
from datetime import date
from fractions import Fraction
from functools import cache
from pathlib import Path
from random import Random

import polars as pl
import pytest
from hypothesis import given
from hypothesis import strategies as st
from relations.kit import FOLDER, HIGH, PASSING, REAL, orders, runs

from dosecheck import InputError, check_order, read_amount, read_order
from dosecheck.batch.columns import FIELDS
from dosecheck.batch.run import Batch, run_batch
from dosecheck.batch.texts import RESULTS, written_ratio
from dosecheck.cli import run
from dosecheck.quantity import COUNTED
from dosecheck.records import OUTCOMES, WITHIN
from dosecheck.showing import show

TODAY = date(2026, 5, 4)


@cache
def some_rows(count: int = 40) -> pl.DataFrame:
    """Orders of many medicines: passing ones, with something changed in every second."""
    random, rows = Random(7), []
    for n, texts in enumerate(random.sample(PASSING, count)):
        changes = (
            {},
            {"dose": "1 g"},
            {},
            {"route": "topical"},
            {"weighed": "2025-05-01", "born": "2020-01-01"},
            {"weight": None},
            {},
            {"weight": "12,5 kg"},
            {},
            {"born": None, "weighed": None, "age": "2 years"},
        )
        rows.append({"order_id": str(n), **dict.fromkeys(FIELDS), **texts, **changes[n % 10]})
    return pl.DataFrame(rows, infer_schema_length=None, schema_overrides=dict.fromkeys(("order_id", *FIELDS), pl.String))


def answered(rows: pl.DataFrame) -> list[tuple]:
    return Batch(REAL, TODAY).answer(rows).rows()


@runs(8)
@given(st.permutations(range(40)))
def test_mr30_row_order_does_not_matter(order: list[int]) -> None:
    """MR30: permuting the rows permutes the results and changes nothing else."""
    rows = some_rows()
    before = answered(rows)
    assert answered(rows[order]) == [before[n] for n in order]


@pytest.mark.parametrize("column", ["medicine", "dose", "weight", "route", "age"])
def test_mr30_sorted_by_a_column(column: str) -> None:
    """MR30: also when the rows are sorted by a column."""
    rows = some_rows().with_row_index("place").sort(column, nulls_last=True)
    before = answered(some_rows())
    assert answered(rows.drop("place")) == [before[n] for n in rows["place"]]


@pytest.mark.parametrize("place", [0, 1, 2, 13, 20, 38, 39, 40])
def test_mr31_split_and_join(place: int) -> None:
    """MR31: the answers of a file are those of its two parts, one after the other."""
    rows = some_rows()
    assert answered(rows[:place]) + answered(rows[place:]) == answered(rows)


def test_mr31_in_small_chunks(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """MR31: however the reader cuts the file, the result is the same, byte for byte, and the counts add up."""
    orders_file, whole, cut = tmp_path / "orders.csv", tmp_path / "whole.csv", tmp_path / "cut.csv"
    some_rows().write_csv(orders_file)
    one = run_batch(orders_file, whole, REAL, TODAY)
    for module in [module for name, module in sys.modules.items() if name.startswith("dosecheck.batch.")]:
        for name, size in (("CHUNK_ROWS", 3), ("CHUNK_BYTES", 700)):
            if hasattr(module, name):
                monkeypatch.setattr(module, name, size)
    other = run_batch(orders_file, cut, REAL, TODAY)
    assert whole.read_bytes() == cut.read_bytes()
    assert (one.rows, one.outcomes, one.refused) == (other.rows, other.outcomes, other.refused)
    assert sum(one.outcomes.values()) == one.rows == 40


GOOD_HEADER = "order_id,medicine,route,for,dose,every,weight,age\n"
GOOD = "{},paracetamol,oral,pain,210 mg,6 hours,14.2 kg,3 years\n"
BAD = ["x,paracetamol,oral,pain,210 mg,6 hours,12,5 kg,3 years\n", "x,paracetamol\n", "x,,,,,,,\n", "x,paracetmol,oral,pain,210 mg,6 hours,14.2 kg,3 years\n",
       'x,paracetamol,oral,pain,"1,234.5 mg",6 hours,14.2 kg,3 years\n', "x,paracetamol,oral,pain,nan mg,6 hours,14.2 kg,3 years\n", "x,paracetamol,oral,pain,.5 mg,6 hours,nan,3\n",
       "x,paracetamol,oral,pain,1O mg,6 hours,0 kg,3 years\n", "x,para\u200bcetamol,oral,pain,210 mg,q4h,14.2 kg,3 years\n", "x,paracetamol,PO/IV,pain,1e400 mg,OD,14.2 kg,2.5 years\n",
       f"x,{'a' * 200_000},oral,pain,210 mg,6 hours,14.2 kg,3 years\n", '=1+1,"@SUM(A1)",oral,pain,210 mg,6 hours,14.2 kg,3 years\n', "x,para\x00cetamol,oral,pain,210 mg,6 hours,14.2 kg,3 years\n"]  # fmt: skip


@pytest.mark.parametrize("bad", range(len(BAD)))
@pytest.mark.parametrize("place", [0, 2, 4])
def test_mr32_one_bad_row_hurts_only_itself(tmp_path: Path, bad: int, place: int) -> None:
    """MR32: with a bad row first, in the middle or last, every other answer stays, and the summary is no all-clear."""
    lines = [GOOD.format(n) for n in range(4)]
    lines.insert(place, BAD[bad])
    (tmp_path / "orders.csv").write_text(GOOD_HEADER + "".join(lines), "utf-8")
    summary = run_batch(tmp_path / "orders.csv", tmp_path / "out.csv", REAL, TODAY)
    with open(tmp_path / "out.csv", encoding="utf-8", newline="") as file:
        csv.field_size_limit(10**6)
        rows = list(csv.DictReader(file))
    assert len(rows) == summary.rows == 5 and sum(summary.outcomes.values()) == 5
    assert [row["outcome"] for row in rows if row["order_id"] in "0123" and row["order_id"]] == [WITHIN] * 4
    assert rows[place]["outcome"] == "not-checked" and rows[place]["sentence"] and summary.outcomes["not-checked"] == 1


# ---- every door ----


def by_command_line(texts: dict, capture: io.StringIO) -> dict:
    args = ["dosecheck", "order", "--json", "--formulary", str(FOLDER)]
    for field, text in texts.items():
        flag = f"--{field.replace('_', '-')}"
        args += (
            [flag]
            if field in ("once", "as_needed")
            else [f"{flag}={part}" for part in (text.split("; ") if field == "condition" else [text])]
        )
    old, sys.argv = sys.argv, args
    try:
        with contextlib.redirect_stdout(capture), pytest.raises(SystemExit) as stopped:
            run()
    finally:
        sys.argv = old
    return {**json.loads(capture.getvalue()), "status": stopped.value.code}


@cache
def batch() -> Batch:
    return Batch(REAL, TODAY)


def _amount(text: str | None) -> Fraction | None:
    return (
        text
        and read_amount(
            text.replace("about ", "").replace(",", ""), ("mass", "activity", "substance", "volume", *COUNTED), "dose", "1 mg"
        ).value
    )


@runs(250)
@given(orders())
def test_mr33_all_doors_agree(texts: dict) -> None:
    """MR33: Python, the command line and a file of orders give one outcome, the same codes, numbers and fingerprint."""
    verdict = check_order(*read_order(texts), REAL)
    cli = by_command_line(texts, io.StringIO())
    assert (cli["outcome"], cli["formulary"]["fingerprint"]) == (verdict.outcome, REAL.fingerprint)
    assert {f["code"] for f in cli["findings"] if f["outcome"] != "note"} == set(verdict.codes)
    assert cli["status"] == {"within": 0, "query": 1, "stop": 3, "not-checked": 4}[verdict.outcome]
    assert cli["one_dose"] == (show(verdict.one_dose) if verdict.one_dose else "")
    row = batch().answer(pl.DataFrame([texts])).row(0, named=True)
    assert (row["outcome"], row["codes"]) == (verdict.outcome, ";".join(verdict.codes)), texts
    if verdict.one_dose and row["one_dose"]:
        assert (
            abs(_amount(row["one_dose"]) / verdict.one_dose.value - 1) < Fraction(1, 1000)
            or abs(_amount(row["one_dose"]) - verdict.one_dose.value) < 10**6
        )


USUAL = next(t for t in PASSING if t["medicine"] == "paracetamol" and "every" in t)
UNREADABLE = [{"dose": "15"}, {"dose": "1,5 mg"}, {"weight": "0 kg"}, {"weight": "12"}, {"every": "OD"}, {"age": "18"}, {"born": "2026-05-05"}, {"dose": "1O mg"},
              {"age": "2 years 14 months", "born": None}, {"age": "9 years", "born": "2024-01-01"}, {"gestation": "31"}, {"weighed": "2026-06-01"}, {"at_most": "0"}, {"once": "maybe"}]  # fmt: skip


@pytest.mark.parametrize("change", UNREADABLE, ids=str)
def test_mr33_all_doors_refuse_alike(change: dict) -> None:
    """MR33: what one door cannot read no door reads, and the words are the same."""
    texts = {key: value for key, value in {**USUAL, **change}.items() if value is not None}
    with pytest.raises(InputError) as error:
        check_order(*read_order(texts), REAL)
    row = batch().answer(pl.DataFrame([texts])).row(0, named=True)
    assert (row["outcome"], row["codes"]) == ("not-checked", "unreadable")
    assert all(str(fault) in row["sentence"] for fault in error.value.faults)
    if "once" not in change:
        told = by_command_line(texts, io.StringIO())
        assert told["status"] == 2 and [tuple(e.values()) for e in told["errors"]] == [tuple(f) for f in error.value.faults]


def test_mr33_numbers_of_a_file_are_written_alike() -> None:
    """MR33: whether columns answered a row or it went one by one (here: for a gestation told), its numbers are written in one form."""
    texts = {
        "medicine": "paracetamol",
        "route": "oral",
        "for": "pain",
        "dose": "1250 mg",
        "every": "6 hours",
        "weight": "71 kg",
        "age": "15 years",
    }
    rows = [texts, *({**t, "gestation": None} for t in PASSING if t["born"] < "2023" and "/" not in t["dose"])]
    rows += [{**row, "weight": "71.3 kg", "dose": f"{row['dose'].split(' ')[0]}7 {row['dose'].split(' ', 1)[1]}"} for row in rows]
    columns, single = (
        Batch(REAL, TODAY).answer(pl.DataFrame([{**row, **more} for row in rows], infer_schema_length=None))
        for more in ({}, {"gestation": "40 weeks"})
    )
    names = ["one_dose", "dose_per_kg", "most_for_one_dose", "times_the_most", "binding_limit", "source", "regimen"]
    differ = [
        (rows[n], one, other)
        for n, (one, other) in enumerate(zip(columns.select(names).rows(), single.select(names).rows(), strict=True))
        if one != other
    ]
    assert not differ, differ[:3]


def test_mr16_the_most_in_a_result_passes() -> None:
    """MR16: the most for one dose in a result, rounded to three decimals, is not HIGH when it is ordered."""
    rows = [
        {**t, "weight": f"{n}.7 kg", "gestation": None}
        for n, t in enumerate(PASSING)
        if t["born"] < "2023" and "/" not in t["dose"] and " of " not in t["dose"]
    ]
    first = Batch(REAL, TODAY).answer(pl.DataFrame(rows, infer_schema_length=None))
    again = [{**row, "dose": most} for row, most in zip(rows, first["most_for_one_dose"], strict=True) if most]
    answers = Batch(REAL, TODAY).answer(pl.DataFrame(again, infer_schema_length=None))
    high = [(row, told) for row, told in zip(again, answers["codes"], strict=True) if set(told.split(";")) & HIGH]
    assert len(again) > 60 and not high, high[:3]


def test_results_are_what_they_are_named() -> None:
    """The test's own: the columns of results, and every outcome, come up among the rows."""
    table = Batch(REAL, TODAY).answer(some_rows())
    assert table.columns == list(RESULTS) and set(table["outcome"]) == set(OUTCOMES)
    assert written_ratio(Fraction(1, 3)) == "0.333"
