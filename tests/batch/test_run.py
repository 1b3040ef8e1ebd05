"""Files of orders end to end: every input row gives exactly one result row, in order, whatever the rows hold."""

from __future__ import annotations

import json
from datetime import date
from pathlib import Path

import polars as pl
import pytest
from click.testing import CliRunner

from dosecheck import FileError, Formulary, check_order, read_order
from dosecheck.batch import pipeline
from dosecheck.batch import run as run_module
from dosecheck.batch.colmap import read_map
from dosecheck.batch.run import run_batch
from dosecheck.batch.texts import RESULTS
from dosecheck.cli import cli

FOLDER = Path(__file__).parents[2] / "formulary"
FORMULARY = Formulary(FOLDER)
TODAY = date(2026, 5, 4)
HEADER = "order_id,child_id,medicine,route,for,dose,every,weight,age,ward"
GOOD = "A1,c1,paracetamol,oral,pain,210 mg,6 hours,14.2 kg,3 years,north"
STOP = "A2,c2,paracetamol,oral,pain,2100 mg,6 hours,14.2 kg,3 years,south"


def batch(tmp_path: Path, text: str | bytes, name: str = "orders.csv", out: str = "results.csv", **options):
    orders = tmp_path / name
    orders.write_bytes(text if isinstance(text, bytes) else text.encode())
    summary = run_batch(orders, tmp_path / out, FORMULARY, TODAY, **options)
    rows = pl.read_csv(tmp_path / out, infer_schema=False) if out.endswith("csv") else None
    return summary, rows


def lines(*rows: str) -> str:
    return "\n".join((HEADER, *rows)) + "\n"


def cli_batch(tmp_path: Path, text: str | bytes, *options: str):
    orders = tmp_path / "orders.csv"
    orders.write_bytes(text if isinstance(text, bytes) else text.encode())
    return CliRunner().invoke(
        cli, ["batch", str(orders), "--out", str(tmp_path / "results.csv"), "--formulary", str(FOLDER), *options], standalone_mode=False
    )


def test_one_result_row_for_each_row_in_order_with_other_columns_carried_through(tmp_path: Path) -> None:
    summary, rows = batch(tmp_path, lines(GOOD, STOP, GOOD.replace("A1", "A3")))
    assert rows.columns == [*HEADER.split(","), *RESULTS]
    assert rows["order_id"].to_list() == ["A1", "A2", "A3"]
    assert rows["outcome"].to_list() == ["within", "stop", "within"]
    assert rows["ward"].to_list() == ["north", "south", "north"]
    assert rows["dose_per_kg"].to_list() == ["14.789 mg/kg", "147.887 mg/kg", "14.789 mg/kg"]
    assert rows["times_the_most"].to_list() == ["0.986", "9.859", "0.986"]
    assert rows["most_for_one_dose"].to_list() == ["213 mg"] * 3
    assert rows["binding_limit"].to_list() == ["dose, 15 mg/kg"] * 3
    assert "who-child-pain-2012" in rows["source"][0]
    assert summary.rows == sum(summary.outcomes.values()) == 3


BAD_ROWS = {
    "B001": GOOD.replace("14.2 kg", '"14,2 kg"'), "B002": GOOD.replace("14.2 kg", "14,2 kg"), "B003": GOOD.replace("210 mg", '"1.234,5 mg"'),
    "B004": GOOD.replace("210 mg", "1\u00a0000 mg"), "B006": GOOD.replace("210 mg", "21O mg"), "B007": GOOD.replace("14.2", "１４"),
    "B009": GOOD.replace("14.2 kg", "NaN kg"), "B011": GOOD.replace("210 mg", "1e999999 mg"), "B015": GOOD.replace("210", "9" * 400),
    "B020": GOOD.replace("210 mg", "210"), "B021": GOOD.replace("210 mg", "210 mgs"), "B039": GOOD.replace("3 years", "2023-02-29"),
    "B042": GOOD.replace("3 years", "18"), "B050 few": "A1,c1,paracetamol", "B050 many": GOOD + ",x", "B053": GOOD.replace("pain", "pa\0in"),
    "B054": GOOD.replace("north", "n" * 200_000), "B057": GOOD.replace("210 mg", "\u202e210 mg"), "quote": GOOD.replace("north", 'no"rth'),
}  # fmt: skip


@pytest.mark.parametrize("bad", BAD_ROWS.values(), ids=BAD_ROWS)
@pytest.mark.parametrize("place", [0, 1, 2])
def test_one_bad_row_hurts_only_itself(tmp_path: Path, bad: str, place: int) -> None:
    rows = [GOOD, STOP]
    rows.insert(place, bad)
    summary, answers = batch(tmp_path, lines(*rows))
    assert len(answers) == 3 and summary.rows == 3
    assert answers["outcome"][place] == "not-checked" and answers["sentence"][place].startswith("NOT CHECKED")
    assert answers["codes"][place] == "unreadable"
    others = [answer for index, answer in enumerate(answers["outcome"]) if index != place]
    assert others == ["within", "stop"]
    assert summary.refused == 1


def test_all_faults_of_a_row_are_told(tmp_path: Path) -> None:
    _, rows = batch(tmp_path, lines(GOOD.replace("210 mg", "210").replace("14.2 kg", "14.2").replace("3 years", "3")))
    assert all(word in rows["sentence"][0] for word in ("dose", "weight", "age"))


def test_latin_1_byte_refuses_its_line_alone(tmp_path: Path) -> None:
    text = lines(GOOD).encode() + GOOD.replace("210 mg", "210 µg").encode("latin-1") + b"\n" + STOP.encode() + b"\n"
    _, rows = batch(tmp_path, text)
    assert rows["outcome"].to_list() == ["within", "not-checked", "stop"]
    assert "UTF-8" in rows["sentence"][1] and "line 3" in rows["sentence"][1]


@pytest.mark.parametrize(
    "text, word",
    [
        ("", "header"), ("\n", "header"), (HEADER.replace("dose", "dsoe") + "\n" + GOOD + "\n", 'The column "dose" is missing. Is it "dsoe"?'),
        (HEADER.replace("weight", "wieght") + "\n" + GOOD + "\n", 'looks like "weight"'), (lines(GOOD).replace(",", ";"), "semicolons"),
        (lines(GOOD).replace(",", "\t"), "tab"), (b"PK\x03\x04 rest of a spreadsheet", "spreadsheet"),
        (lines('A1,c1,"paracetamol,oral,pain,210 mg,6 hours,14.2 kg,3 years,north', GOOD), "quote"),
        (HEADER.replace("ward", "outcome") + "\n" + GOOD + "\n", "result column"),
    ],
)  # fmt: skip
def test_a_file_that_cannot_be_trusted_is_refused_whole(tmp_path: Path, text: str | bytes, word: str) -> None:
    done = cli_batch(tmp_path, text)
    assert isinstance(done.exception, FileError)
    assert word.lower() in str(done.exception).lower()
    assert not (tmp_path / "results.csv").exists()


def test_header_only_is_not_an_all_clear(tmp_path: Path) -> None:
    done = cli_batch(tmp_path, HEADER + "\n")
    assert done.return_value == 2
    assert "0 orders checked" in done.output and "not an all-clear" in done.output


def test_exit_statuses(tmp_path: Path) -> None:
    assert cli_batch(tmp_path, lines(GOOD)).return_value == 0
    assert cli_batch(tmp_path, lines(GOOD, STOP)).return_value == 0
    assert cli_batch(tmp_path, lines(GOOD, STOP), "--fail-on", "stop").return_value == 1
    assert cli_batch(tmp_path, lines(GOOD), "--fail-on", "stop").return_value == 0
    assert cli_batch(tmp_path, lines(GOOD, BAD_ROWS["B001"])).return_value == 2


def test_summary_counts_add_up_and_name_the_same_child(tmp_path: Path) -> None:
    again = GOOD.replace("A1", "A4").replace("pain", "fever")
    done = cli_batch(tmp_path, lines(GOOD, STOP, BAD_ROWS["B001"], again))
    assert "4 orders" in done.output and "4  in all" in done.output
    assert "paracetamol: rows 1, 3, 4" in done.output


def test_conflicting_births_are_named(tmp_path: Path) -> None:
    header = HEADER.replace("age", "born")
    rows = [GOOD.replace("3 years", born) for born in ("2023-01-01", "2023-01-02")]
    done = cli_batch(tmp_path, "\n".join((header, *rows)) + "\n")
    assert "disagree about the date of birth" in done.output and "rows 1, 2" in done.output


def test_formulas_are_neutralised_and_numbers_left_alone(tmp_path: Path) -> None:
    _, rows = batch(
        tmp_path, lines(GOOD.replace("north", '"=HYPERLINK(""x"")"'), GOOD.replace("north", "-1"), GOOD.replace("north", "@SUM(A1)"))
    )
    assert rows["ward"].to_list() == ['\'=HYPERLINK("x")', "-1", "'@SUM(A1)"]


@pytest.mark.parametrize("suffix", ["parquet", "jsonl"])
def test_other_forms_answer_alike(tmp_path: Path, suffix: str) -> None:
    _, expected = batch(tmp_path, lines(GOOD, STOP))
    table = pl.read_csv(tmp_path / "orders.csv", infer_schema=False)
    source, result = tmp_path / f"orders.{suffix}", tmp_path / f"answers.{suffix}"
    table.write_parquet(source) if suffix == "parquet" else table.write_ndjson(source)
    run_batch(source, result, FORMULARY, TODAY)
    found = pl.read_parquet(result) if suffix == "parquet" else pl.DataFrame([json.loads(line) for line in result.read_text().splitlines()])
    assert found.select(RESULTS).rows() == expected.with_columns(pl.col("codes").fill_null("")).select(RESULTS).rows()


MAP = """
[columns]
medicine = "drug"
weight   = { column = "weight_kg", unit = "kg" }

[codes.route]
"PO" = "oral"

[codes.every]
"QDS" = "4 times a day"
"OD"  = "once a day"
"""


def test_a_hospitals_own_names_and_codes(tmp_path: Path) -> None:
    (tmp_path / "map.toml").write_text(MAP)
    text = (
        "order_id,drug,route,dose,every,weight_kg,age\n1,paracetamol,PO,210 mg,QDS,14.2,3 years\n2,paracetamol,PO,210 mg,TDS,14.2,3 years\n"
    )
    _, rows = batch(tmp_path, text, columns=read_map(tmp_path / "map.toml"))
    assert rows["outcome"].to_list() == ["within", "not-checked"]
    assert "TDS" in rows["sentence"][1]
    assert rows["weight_kg"].to_list() == ["14.2", "14.2"], "the hospital's own columns are carried through as they were"


def test_od_is_refused_until_mapped(tmp_path: Path) -> None:
    _, rows = batch(tmp_path, lines(GOOD.replace("6 hours", "OD")))
    assert rows["outcome"][0] == "not-checked" and "more than one reading" in rows["sentence"][0]


def test_a_map_of_a_column_that_is_not_there(tmp_path: Path) -> None:
    (tmp_path / "map.toml").write_text('[columns]\nweight = "kilos"\n')
    with pytest.raises(FileError, match="not in the file"):
        batch(tmp_path, lines(GOOD), columns=read_map(tmp_path / "map.toml"))


def test_chunks_do_not_show(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    rows = [GOOD, STOP, BAD_ROWS["B001"], BAD_ROWS["B050 few"]] * 300
    _, whole = batch(tmp_path, lines(*rows))
    monkeypatch.setattr(pipeline, "ENOUGH_ROWS", 7)
    _, pieces = batch(tmp_path, lines(*rows))
    assert whole.equals(pieces)


def test_a_fault_in_the_engine_is_never_an_all_clear(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def broken(*_: object) -> None:
        raise RuntimeError("planted")

    monkeypatch.setattr(run_module, "check_order", broken)
    _, rows = batch(tmp_path, lines(GOOD, GOOD).replace("age,", "age,gestation,").replace("3 years,", "3 years,39 weeks,"))
    assert rows["outcome"].to_list() == ["not-checked"] * 2
    assert rows["codes"].to_list() == ["internal-fault"] * 2


@pytest.mark.parametrize("every", ["7.123456789012 hours", "999999999999 weeks", "999999999999.123456789012 hours", "0.08 hours"])
def test_awkward_times_answer_as_one_by_one(tmp_path: Path, every: str) -> None:
    _, rows = batch(tmp_path, lines(GOOD.replace("6 hours", every), STOP))
    order = dict(zip(HEADER.split(","), GOOD.replace("6 hours", every).split(","), strict=True)) | {"on": TODAY.isoformat()}
    fields = {name: text for name, text in order.items() if name not in ("order_id", "child_id", "ward")}
    verdict = check_order(*read_order(fields), FORMULARY)
    assert rows["outcome"].to_list() == [verdict.outcome, "stop"]


def planted(*_: object) -> pl.DataFrame:
    raise RuntimeError("planted")


@pytest.mark.parametrize("compare", [planted, lambda *_: planted], ids=["where rows are compared", "where words are put to them"])
def test_a_fault_in_the_columns_leaves_no_result(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, compare: object) -> None:
    """In either thread."""
    monkeypatch.setattr(run_module.Batch, "compare", compare)
    with pytest.raises(RuntimeError):
        batch(tmp_path, lines(GOOD))
    assert [path.name for path in tmp_path.iterdir()] == ["orders.csv"]
