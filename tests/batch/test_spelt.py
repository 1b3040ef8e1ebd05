"""What `batch columns` proposes of dates and decimals: a key where one reading is possible, lines to decide where several are."""

from __future__ import annotations

import json
import tomllib
from pathlib import Path

import polars as pl
import pytest
from cli.door import FOLDER, dosecheck

from dosecheck.batch.colmap import read_map
from dosecheck.batch.spelt import Spelt, spelt_dates, spelt_decimals

DAY_FIRST, MONTH_FIRST = "dd/mm/yyyy", "mm/dd/yyyy"


@pytest.mark.parametrize(
    ("texts", "spellings", "sure"),
    [
        (["03.04.2021"], ["dd.mm.yyyy"], False),  # the month may be first
        (["03.04.2021", "13.04.2021"], ["dd.mm.yyyy"], True),
        (["3.4.2021", "13.04.2021"], ["d.m.yyyy"], True),
        (["13-04-2021"], ["dd-mm-yyyy"], True),
        (["03/04/2021"], [DAY_FIRST, MONTH_FIRST], False),
        (["03/04/2021", "13/04/2021"], [DAY_FIRST], True),
        (["03/04/2021", "04/13/2021"], [MONTH_FIRST], True),
        (["3/4/2021", "4/13/2021"], ["m/d/yyyy"], True),
        (["13/04/2021", "04/13/2021"], [DAY_FIRST, MONTH_FIRST], False),  # contradict each other
        (["13.04.2021", "31.02.2021"], ["dd.mm.yyyy"], False),
        (["20210403"], ["yyyymmdd"], True),
        (["13.04.2021 08:10", None, "n/a", "2021-04-03"], ["dd.mm.yyyy"], True),
    ],
)
def test_dates(texts: list[str | None], spellings: list[str], sure: bool) -> None:
    assert spelt_dates(pl.Series("d", texts)) == Spelt("date", tuple(spellings), sure)


@pytest.mark.parametrize("texts", [["2021-04-03"], ["13.04.21"], ["14.2"], ["12345678"], ["04.13.2021"], [None], ["13.04.2021", "x", "y"]])
def test_what_shows_no_spelling_of_dates(texts: list[str | None]) -> None:
    assert spelt_dates(pl.Series("d", texts, dtype=pl.String)) is None


@pytest.mark.parametrize(
    ("texts", "sure"),
    [
        (["14,2"], True),
        (["14,2", "1,000", "1.234,5"], True),
        (["14,2", "1,234.5"], False),
        (["1,000"], None),
        (["14.2", "1.234"], None),
        (["a, b"], None),
        ([None], None),
    ],
)
def test_decimals(texts: list[str | None], sure: bool | None) -> None:
    assert spelt_decimals(pl.Series("w", texts, dtype=pl.String)) == (None if sure is None else Spelt("decimal", (",",), sure))


EXPORT = """Wirkstoff;Dosis;Gew (kg);weight_date;dob;on;Erstellt
Paracetamol;212,5 mg;14,2;13.04.2024;20210403;05/04/2024;4/13/2024
Ibuprofen;100 mg;15;14.04.2024;20210404;04/04/2024;4/9/2024
"""


def test_the_proposal_reads_as_a_map(tmp_path: Path) -> None:
    """A column that has our name is in it too where it is not written plainly; what is proposed is applied to what is shown."""
    (tmp_path / "orders.csv").write_text(EXPORT, "utf-8")
    words = ["batch", "columns", str(tmp_path / "orders.csv"), "--delimiter", "semicolon", "--formulary", str(FOLDER)]
    said = dosecheck(*words, "--out", str(tmp_path / "map.toml"))
    text = (tmp_path / "map.toml").read_text("utf-8")
    assert tomllib.loads(text)["columns"] == {
        "medicine": "Wirkstoff",
        "dose": {"column": "Dosis", "decimal": ","},
        "weight": {"column": "Gew (kg)", "unit": "kg", "decimal": ","},
        "weighed": {"column": "weight_date", "date": "dd.mm.yyyy"},
        "born": {"column": "dob", "date": "yyyymmdd"},
    }
    for spelling in (DAY_FIRST, MONTH_FIRST):
        assert f'# decide: on = {{ column = "on", date = "{spelling}" }}  # Is the day or the month first?\n' in text
    assert '# decide: a date = { column = "Erstellt", date = "m/d/yyyy" }  # Only so are its first dates real.\n' in text
    assert said.status == 1 and '"212.5 mg": 212.5 mg, one dose' in said.out and '"14.2 kg": 14.2 kg' in said.out
    decided = text.replace(f'# decide: on = {{ column = "on", date = "{DAY_FIRST}" }}', f'on = {{ column = "on", date = "{DAY_FIRST}" }}')
    (tmp_path / "map.toml").write_text(decided, "utf-8")
    assert read_map(tmp_path / "map.toml").written["on"] == DAY_FIRST
    by_map = dosecheck(*words, "--columns", str(tmp_path / "map.toml"))
    assert by_map.status == 0 and "NOT READ" not in by_map.out


def test_the_proposal_as_json(tmp_path: Path) -> None:
    (tmp_path / "orders.csv").write_text(EXPORT, "utf-8")
    words = ["batch", "columns", str(tmp_path / "orders.csv"), "--delimiter", "semicolon", "--formulary", str(FOLDER), "--json"]
    told = json.loads(dosecheck(*words).out)
    proposed = {guess["field"]: guess for guess in told["proposed"]}
    assert proposed["on"]["clear"] is False and proposed["on"]["columns"] == [
        {"column": "on", "unit": "", "date": [DAY_FIRST, MONTH_FIRST]}
    ]
    assert proposed["weight"]["clear"] and proposed["weight"]["columns"] == [{"column": "Gew (kg)", "unit": "kg", "decimal": [","]}]
    assert told["dates_to_decide"] == ["Erstellt"]
