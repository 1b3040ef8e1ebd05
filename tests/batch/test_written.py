"""Dates and decimals as an export writes them: by the map the same as the plain way, and what has two readings is refused."""

from __future__ import annotations

import re
from datetime import date
from pathlib import Path

import polars as pl
import pytest
from cli.door import FOLDER, dosecheck
from hypothesis import given
from hypothesis import strategies as st

from dosecheck.batch.colmap import ColumnMap, read_map
from dosecheck.batch.frame import check_frame
from dosecheck.batch.written import COMMA, DATES, FIELDS_OF
from dosecheck.errors import InputError
from dosecheck.formulary.load import Formulary
from dosecheck.records import read_field

UNITS = {
    "weight": "kg",
    "dose": "mg",
    "height": "cm",
    "creatinine": "mg/dL",
    "every": "hours",
    "over": "hours",
    "made_up_to": "mL",
    "course": "days",
}
PARTS = {"yyyy": "{0.year:04}", "mm": "{0.month:02}", "m": "{0.month}", "dd": "{0.day:02}", "d": "{0.day}"}


def by_map(field: str, texts: list[str], spelling: str, coded: bool = False) -> list[str]:
    """The texts as the readers get them, from a column of texts or of codes."""
    column = pl.Series("theirs", texts, dtype=pl.String)
    rows = pl.DataFrame([column.cast(pl.Enum(column.unique())) if coded else column])
    mapping = ColumnMap({field: ("theirs", UNITS.get(field, ""))}, {}, written={field: spelling})
    return mapping.apply(rows)[field].cast(pl.String).to_list()


def why_not(field: str, text: str) -> str:
    with pytest.raises(InputError) as found:
        read_field(field, text)
    return str(found.value)


@given(
    st.lists(st.tuples(st.integers(0, 999_999), st.text("0123456789", min_size=1, max_size=6)), min_size=1, max_size=20),
    st.sampled_from(FIELDS_OF["decimal"]),
    st.booleans(),
)
def test_a_decimal_comma_is_the_point_or_is_refused(numbers: list[tuple[int, str]], field: str, coded: bool) -> None:
    """Whatever the digits: to the letter what a point would be, or, with three of them after any number but nought, refused as ambiguous."""
    mapped = by_map(field, [f"{whole},{digits}" for whole, digits in numbers], COMMA, coded)
    for (whole, digits), text in zip(numbers, mapped, strict=True):
        if len(digits) == 3 and whole:
            assert text == f"{whole},{digits} {UNITS[field]}"
            assert "may be a thousands mark or a decimal comma" in why_not(field, text)
        else:
            assert text == f"{whole}.{digits} {UNITS[field]}"


@given(st.integers(1, 999), st.integers(0, 999), st.sampled_from(FIELDS_OF["decimal"]))
def test_a_point_that_may_be_a_thousands_mark_is_refused(thousands: int, rest: int, field: str) -> None:
    """ "10.000" of an export with decimal commas is ten thousand, and without a map it would be read as ten."""
    (text,) = by_map(field, [f"{thousands}.{rest:03}"], COMMA)
    assert "may be a thousands mark or a decimal point" in why_not(field, text)


@pytest.mark.parametrize(
    ("given", "text"),
    [
        ("2,5 to 4,5", "2.5 to 4.5 mg"),
        ("14.2", "14.2 mg"),
        ("0.125", "0.125 mg"),  # no thousands begin with a nought
        ("0,125", "0.125 mg"),
        ("0,5 to 0,125", "0.5 to 0.125 mg"),
        ("00,125", "00,125 mg"),
        ("10,125", "10,125 mg"),
        ("1,2340", "1.2340 mg"),
        ("1234", "1234 mg"),
        ("5,", "5, mg"),
        (None, None),
    ],
)
def test_what_else_a_decimal_comma_changes(given: str | None, text: str | None) -> None:
    assert by_map("dose", [given], COMMA) == [text]


@pytest.mark.parametrize(
    "text", ["1.234,5", "1,234.5", "1.234.567", "1,234,567", "1,2,3", "2,5 to 1,000", "2 to 1.000", "2.5 to 4,5", "1 000,5"]
)
def test_a_text_with_thousands_marks_is_refused(text: str) -> None:
    (mapped,) = by_map("dose", [text], COMMA)
    assert re.search("thousands mark|a comma|space inside", why_not("dose", mapped))


@given(st.lists(st.dates(), min_size=1, max_size=20), st.sampled_from(DATES), st.sampled_from(FIELDS_OF["date"]), st.booleans())
def test_a_date_is_the_same_by_every_spelling(days: list[date], spelling: str, field: str, coded: bool) -> None:
    form = re.sub("yyyy|mm?|dd?", lambda part: PARTS[part.group()], spelling)
    assert by_map(field, [form.format(day) for day in days], spelling, coded) == [day.isoformat() for day in days]


@pytest.mark.parametrize(
    "text", ["03.04.21", "3.4.2021", "03/04/2021", "2021.04.03", "20210403", "03.04.20211", "\u0663\u0663.04.2021", "03.04.2021x"]
)
def test_a_text_that_is_not_exactly_so_stays_as_it_is(text: str) -> None:
    assert by_map("born", [text], "dd.mm.yyyy") == [text]
    assert why_not("born", text)


@pytest.mark.parametrize(("text", "spelling"), [("31.02.2021", "dd.mm.yyyy"), ("13/04/2021", "mm/dd/yyyy"), ("20211304", "yyyymmdd")])
def test_a_date_that_is_none_is_refused(text: str, spelling: str) -> None:
    (mapped,) = by_map("born", [text], spelling)
    assert "There is no such date of birth" in why_not("born", mapped)


def test_plain_dates_outer_spaces_and_times_of_day() -> None:
    texts = ["2021-04-03", " 03.04.2021 ", "03.04.2021 08:10", None]
    assert by_map("given_at", texts, "dd.mm.yyyy") == ["2021-04-03", "2021-04-03 ", "2021-04-03 08:10", None]


def test_what_a_code_stands_for_is_plain_already() -> None:
    rows = pl.DataFrame({"d": ["2,5", "FULL"]})
    mapping = ColumnMap({"dose": ("d", "")}, {"dose": {"FULL": "1.234 mg"}}, written={"dose": COMMA})
    assert mapping.apply(rows)["dose"].to_list() == ["2.5", "1.234 mg"]


MAP = """
[columns]
dose = { column = "Dosis", decimal = "," }
weight = { column = "Gewicht", unit = "kg", decimal = "," }
born = { column = "Geb.", date = "dd.mm.yyyy" }
on = { column = "Datum", date = "d/m/yyyy" }
"""
HEADER = "medicine;route;for;every;Dosis;Gewicht;Geb.;Datum"
ROWS = {  # as the export has them, and what becomes of each
    "paracetamol;oral;pain;6 hours;213,0 mg;14,2;03.04.2021;4/5/2024": "within",
    "paracetamol;oral;pain;6 hours;213,0 mg;14,200;03.04.2021;4/5/2024": "decimal comma",
    "paracetamol;oral;pain;6 hours;1.234 mg;14,2;03.04.2021;4/5/2024": "decimal point",
    "paracetamol;oral;pain;6 hours;213,0 mg;14,2;03.04.21;4/5/2024": "year-month-day",
    "paracetamol;oral;pain;6 hours;213,0 mg;14,2;03.04.2021;5/13/2024": "no such date of the order",
}


@pytest.fixture
def place(tmp_path: Path) -> Path:
    (tmp_path / "map.toml").write_text(MAP, "utf-8")
    (tmp_path / "orders.csv").write_text("\n".join([HEADER, *ROWS]) + "\n", "utf-8")
    return tmp_path


def test_a_file_of_such_texts(place: Path) -> None:
    """The whole way: one row is answered, the others are refused with their reasons and put aside as they were."""
    said = dosecheck(
        *("batch", str(place / "orders.csv"), "--out", str(place / "out.csv"), "--delimiter", "semicolon"),
        *("--columns", str(place / "map.toml"), "--formulary", str(FOLDER)),
    )
    results = pl.read_csv(place / "out.csv", infer_schema=False)
    assert said.status == 2 and results["outcome"].to_list() == ["within", *["not-checked"] * 4]
    for sentence, why in list(zip(results["sentence"], ROWS.values(), strict=True))[1:]:
        assert why in sentence
    assert results["one_dose"][0] == "213 mg" and results["dose_per_kg"][0] == "15 mg/kg"
    assert (place / "out.refused.csv").read_text("utf-8").splitlines() == [HEADER, *list(ROWS)[1:]]
    assert dosecheck("batch", "verify", str(place / "out.csv")).status == 0


def test_a_frame_of_texts_and_of_codes(place: Path) -> None:
    rows = pl.read_csv(place / "orders.csv", separator=";", infer_schema=False)
    found = check_frame(rows, Formulary(FOLDER), columns=place / "map.toml")
    assert found["outcome"].to_list() == ["within", *["not-checked"] * 4]
    assert found.select(rows.columns).equals(rows)
    coded = rows.with_columns(pl.all().cast(pl.Categorical))
    assert check_frame(coded, Formulary(FOLDER), columns=read_map(place / "map.toml"))["sentence"].equals(found["sentence"])


def test_doses_given_with_their_times(tmp_path: Path) -> None:
    (tmp_path / "map.toml").write_text(
        '[columns]\ngiven_at = { column = "Zeit", date = "dd.mm.yyyy" }\ndose = { column = "Dosis", decimal = "," }\n'
    )
    row = 'SM-1,paracetamol,oral,pain,6 hours,14 kg,3 years,"212,5 mg",03.04.2024'
    lines = ["child_id,medicine,route,for,every,weight,age,Dosis,Zeit", *(f"{row} {hour:02}:10" for hour in (2, 4))]
    (tmp_path / "doses.csv").write_text("\n".join(lines) + "\n", "utf-8")
    said = dosecheck(
        *("batch", "charts", str(tmp_path / "doses.csv"), "--out", str(tmp_path / "found.csv"), "--zone", "Europe/London"),
        *("--columns", str(tmp_path / "map.toml"), "--formulary", str(FOLDER)),
    )
    text = (tmp_path / "found.csv").read_text("utf-8")
    assert said.status == 0 and "2 hours ago, and the shortest gap is 4 hours. The earliest time: 2024-04-03 06:10." in text
