"""Figures go by the day: an order's own date, or the one day that --as-of names; the same at every door."""

from __future__ import annotations

import json
from datetime import date
from pathlib import Path

import polars as pl
import pytest
from cli.door import dosecheck, flat
from formulary.lint_folder import REGIMEN, folder, medicine

from dosecheck.batch.run import Batch
from dosecheck.formulary.load import Formulary
from dosecheck.records import Child, Order
from dosecheck.rules.check import check_order

NEWER = REGIMEN.replace("2024-05-01", "2026-01-01").replace('dose = "15 mg/kg"', 'dose = "10 mg/kg"')
WHOLE = {"weight": "10 kg", "weight_is": "measured", "age": "3 years"}
ASKED = {"medicine": "exampol", "route": "oral", "for_": "pain", "dose": "150 mg", "every": "6 hours"}


@pytest.fixture
def place(tmp_path: Path) -> str:
    """15 mg/kg from May 2024, 10 mg/kg from January 2026."""
    for name, content in folder(medicines_exampol=medicine(more=REGIMEN + NEWER)).items():
        file = tmp_path / "f" / name
        file.parent.mkdir(parents=True, exist_ok=True)
        file.write_bytes(content)
    return str(tmp_path / "f")


CASES = [  # date of the order, --as-of, outcome
    ("2025-12-31", None, "within"),
    ("2026-01-01", None, "stop"),
    ("2026-06-01", "2025-12-31", "within"),
    ("2025-06-01", "2026-01-01", "stop"),
    ("2026-06-01", "2024-04-30", "not-checked"),
]


@pytest.mark.parametrize(("on", "as_of", "outcome"), CASES)
def test_the_day_chooses_the_figures_in_both_engines(place: str, on: str, as_of: str | None, outcome: str) -> None:
    formulary = Formulary(place, date.fromisoformat(as_of) if as_of else None)
    single = check_order(Order(**ASKED), Child(**WHOLE, weighed=on, on=on), formulary)
    rows = pl.DataFrame([{**{k.rstrip("_"): v for k, v in ASKED.items()}, **WHOLE, "weighed": on, "on": on}])
    assert single.outcome == outcome
    assert Batch(formulary, date(2026, 11, 25)).answer(rows)["outcome"].to_list() == [outcome]


@pytest.mark.parametrize(("on", "as_of", "outcome"), CASES)
def test_the_answer_says_of_which_day_its_figures_are(place: str, on: str, as_of: str | None, outcome: str) -> None:
    args = ["--medicine", "exampol", "--route", "oral", "--for", "pain", "--dose", "150 mg", "--every", "6 hours", "--weight", "10 kg"]
    args += ["--age", "3 years", "--on", on, "--formulary", place, *(["--as-of", as_of] if as_of else [])]
    told, said = json.loads(dosecheck("order", *args, "--json").out), flat(dosecheck("order", *args).out)
    assert told["outcome"] == outcome and told["formulary"]["as_of"] == (as_of or "")
    assert (f"The figures are those of {as_of}, as asked" in said) is (as_of is not None)
    if as_of:
        assert said.endswith(f"figures of {as_of}")


def test_a_file_of_orders_goes_by_each_orders_own_date(place: str, tmp_path: Path) -> None:
    """One row before the change and one after it; with --as-of both by the figures of that day, and the summary says so."""
    head, row = "medicine,route,for,dose,every,weight,age,on", "exampol,oral,pain,150 mg,6 hours,10 kg,3 years,"
    (tmp_path / "o.csv").write_text("\n".join([head, row + "2025-12-31", row + "2026-01-01"]) + "\n", encoding="utf-8")
    files = (str(tmp_path / "o.csv"), "--out", str(tmp_path / "r.csv"), "--formulary", place)
    assert json.loads(dosecheck("batch", *files, "--json").out)["outcomes"] == {"within": 1, "query": 0, "stop": 1, "not-checked": 0}
    told = json.loads(dosecheck("batch", *files, "--as-of", "2025-12-31", "--json").out)
    assert told["outcomes"]["within"] == 2 and told["as_of"] == "2025-12-31"
    assert "by the figures of 2025-12-31" in flat(dosecheck("batch", *files, "--as-of", "2025-12-31").out)


@pytest.mark.parametrize("text", ["2026-13-01", "20260101", "yesterday", "１９99-01-01", ""])
def test_a_day_that_is_none_is_refused(place: str, text: str) -> None:
    said = dosecheck("order", "--medicine", "exampol", "--dose", "150 mg", "--formulary", place, "--as-of", text)
    assert said.status == 2 and "as-of" in said.err and not said.out
