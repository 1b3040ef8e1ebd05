"""Spark answers row for row as a run here does: on a real local Spark, with pieces of every size.  One session for all."""

from __future__ import annotations

import json
import os
import shutil
import sys
from collections import Counter
from collections.abc import Iterator
from datetime import date
from importlib.resources import files
from importlib.util import find_spec
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import polars as pl
import pyarrow as pa
import pyarrow.parquet as pq
import pytest
from click.testing import CliRunner

from dosecheck import DosecheckError, FileError, Formulary
from dosecheck.batch import charts, spark_charts, spark_charts_run, spark_run
from dosecheck.batch.chart_file import run_charts
from dosecheck.batch.chart_limits import ChartLimits
from dosecheck.batch.chart_words import CHART_COLUMNS
from dosecheck.batch.charts import charted
from dosecheck.batch.colmap import read_map
from dosecheck.batch.doses import Doses
from dosecheck.batch.run import Batch, run_batch
from dosecheck.batch.spark import Travelling, check_orders
from dosecheck.batch.spark_charts import check_charts
from dosecheck.batch.spark_charts_run import run_charts_on_spark
from dosecheck.batch.spark_files import FILE, ROW, SUMMARY
from dosecheck.batch.spark_run import run_on_spark
from dosecheck.batch.spark_session import session
from dosecheck.batch.texts import RESULTS
from dosecheck.cli import cli

FOLDER = Path(__file__).parents[2] / "formulary"
FORMULARY = Formulary(FOLDER)
TODAY = date(2026, 5, 4)
ORDERS = pl.read_csv(files("dosecheck.demo") / "orders.csv", infer_schema=False)
MAP = '[columns]\nmedicine = "drug, as typed"\nweight = { column = "wt.kg", unit = "kg" }\n[codes.route]\n"PO" = "oral"\n'


def missing() -> str:
    if find_spec("pyspark") is None:
        return 'pyspark is not installed: pip install "dosecheck[spark]"'
    return "" if os.environ.get("JAVA_HOME") or shutil.which("java") else "Java is not installed"


@pytest.fixture(scope="module")
def spark() -> Iterator[Any]:
    why = missing()
    if why:
        (pytest.fail if os.environ.get("DOSECHECK_TEST_ALL") == "1" else pytest.skip)(why)
    with session("local[2]") as spark:
        spark.conf.set("spark.sql.shuffle.partitions", "4")
        spark.conf.set("spark.sql.files.maxPartitionBytes", "20000")  # several pieces even of small files
        spark.conf.set("spark.sql.files.openCostInBytes", "0")
        yield spark


def odd_orders() -> pl.DataFrame:
    """The clinic's orders under odd names, with a whole number, a date, and rows that are no text."""
    odd = ORDERS.rename({"medicine": "drug, as typed", "weight": "wt.kg"}).with_columns(
        pl.col("wt.kg").str.strip_suffix(" kg"), pl.col("route").replace("oral", "PO"), pl.col("on").str.to_date(strict=False), bed=pl.int_range(pl.len())
    )  # fmt: skip
    return pl.concat([odd, odd[:2].with_columns(ward=pl.Series(["no\0rth", "n" * 140_000]))])


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Files of unlike sizes, one of them empty, one of many row groups."""
    place = tmp_path_factory.mktemp("spark") / "orders"
    place.mkdir()
    odd = odd_orders()
    for name, rows in {"a": odd[:0], "b": odd, "c": pl.concat([odd] * 60), "d": odd[3:4]}.items():
        rows.write_parquet(place / f"{name}.parquet", row_group_size=97)
    (place.parent / "map.toml").write_text(MAP)
    return place


def answered_here(folder: Path, columns: Any) -> pl.DataFrame:
    told = []
    for path in sorted(folder.glob("*.parquet")):
        run_batch(path, folder.parent / "here.parquet", FORMULARY, TODAY, columns)
        rows = pl.read_parquet(folder.parent / "here.parquet").with_row_index(ROW, 1).with_columns(pl.col(ROW).cast(pl.Int64))
        told.append(rows.select(pl.lit(path.name).alias(FILE), pl.all()))
    return pl.concat(told, how="vertical_relaxed")


def read_result(path: Path) -> pl.DataFrame:
    return pl.read_parquet(path / "*.parquet").sort(FILE, ROW)


def test_a_folder_is_answered_row_for_row_as_here(spark: Any, folder: Path, tmp_path: Path) -> None:
    columns = read_map(folder.parent / "map.toml")
    summary = run_on_spark(spark, str(folder), str(tmp_path / "results"), FORMULARY, TODAY, columns)
    found, expected = read_result(tmp_path / "results"), answered_here(folder, columns)
    assert len(list((tmp_path / "results").glob("*.parquet"))) > 1, "more than one piece"
    assert found.columns == [FILE, ROW, *odd_orders().columns, *RESULTS]
    assert found.select(FILE, ROW, *RESULTS).equals(expected.select(FILE, ROW, *RESULTS))
    assert found["bed"].dtype == pl.Int64 and found["on"].dtype == pl.Date, "its own columns stay as they were"
    refused = found.filter(pl.col("codes") == "unreadable")["sentence"].to_list()
    assert any("line 15: A field holds a NUL" in text for text in refused)
    assert set(found["outcome"]) == {"within", "query", "stop", "not-checked"}
    counts = dict(expected["outcome"].value_counts().iter_rows())
    assert summary.outcomes == counts and summary.rows == len(expected) and summary.refused == len(refused)
    told = json.loads((tmp_path / "results" / SUMMARY).read_text())
    assert told["rows"] == sum(told["outcomes"].values()) == len(expected) and told["fingerprint"] == FORMULARY.fingerprint
    assert (tmp_path / "results" / "_SUCCESS").exists() and [path.name for path in tmp_path.iterdir()] == ["results"]


def test_for_those_who_have_a_session(spark: Any, tmp_path: Path) -> None:
    """Partitions without rows, all rows in one, and rows in any order: each row's answer is the same."""
    rows = pl.concat([ORDERS.with_columns(order_id=pl.col("order_id") + f"-{n}") for n in range(9)])
    rows.write_parquet(tmp_path / "orders.parquet")
    run_batch(tmp_path / "orders.parquet", tmp_path / "here.parquet", FORMULARY, TODAY)
    expected = pl.read_parquet(tmp_path / "here.parquet").sort("order_id")
    table = spark.read.parquet(str(tmp_path / "orders.parquet"))
    for parted in (table.repartition(20, "medicine"), table.orderBy("dose").coalesce(1), table.limit(0)):
        answers = pl.from_arrow(check_orders(parted, FORMULARY, today=TODAY).toArrow()).sort("order_id")
        assert answers.equals(expected) or (len(answers) == 0 and answers.columns == expected.columns and parted.count() == 0)


def test_the_formulary_that_travels_is_the_one_asked_by(spark: Any, tmp_path: Path) -> None:
    """A worker that has answered by one formulary is handed another: by its figures, and by the day it is asked for."""
    shutil.copytree(FOLDER, tmp_path / "formulary")
    policy = tmp_path / "formulary" / "policy.toml"
    policy.write_text(policy.read_text().replace('"10 %"', '"0 %"', 1))
    table = spark.createDataFrame([("paracetamol", "oral", "pain", "220 mg", "6 hours", "14.2 kg", "3 years")],
                                  "medicine string, route string, `for` string, dose string, every string, weight string, age string")  # fmt: skip
    outcomes = [check_orders(table, by, today=TODAY).first().outcome for by in (FORMULARY, Formulary(tmp_path / "formulary"), FORMULARY)]
    assert outcomes == ["query", "stop", "query"]


def test_the_command(spark: Any, tmp_path: Path) -> None:
    ORDERS.write_parquet(tmp_path / "orders.parquet")
    asked = [
        "batch",
        str(tmp_path / "orders.parquet"),
        "--out",
        str(tmp_path / "results"),
        "--formulary",
        str(FOLDER),
        "--spark",
        "local[2]",
    ]
    done = CliRunner().invoke(cli, asked, standalone_mode=False)
    assert done.return_value == 2, "a row that cannot be read"
    assert "14 orders, each with one result row" in done.output and "14  in all" in done.output and "defer to the prescriber" in done.output
    assert max(map(len, done.output.replace(str(tmp_path), "").splitlines())) <= 80
    again = CliRunner().invoke(cli, asked, standalone_mode=False)
    assert isinstance(again.exception, FileError) and "is there already" in str(again.exception)
    shutil.rmtree(tmp_path / "results")
    told = json.loads(CliRunner().invoke(cli, [*asked, "--json"], standalone_mode=False).output)
    assert told["rows"] == 14 and told["fingerprint"] == FORMULARY.fingerprint
    assert "Parquet alone" in str(CliRunner().invoke(cli, [*asked, "--delimiter", "comma"], standalone_mode=False).exception)


def given(child: str, *times: str, **changed: str) -> list[dict[str, str]]:
    plain = {
        "medicine": "paracetamol",
        "route": "oral",
        "for": "pain",
        "dose": "210 mg",
        "weight": "14.2 kg",
        "age": "3 years",
        "born": None,
    }
    return [{**plain, "child_id": child, "given_at": f"2026-05-{time}", **changed} for time in times]


def doses() -> pl.DataFrame:
    """Charts of every outcome, times that need a zone, and one child with more doses than all others together."""
    rows = []
    for n in range(40):
        rows += given(f"SM-{n:03}", "04 01:00", "04 07:00", "04 13:00", f"04 {14 + n % 6}:00", dose=("210 mg", "180 mg", "a cup")[n % 3])
    rows += given("SM-100", *(f"{day:02} {hour:02}:{minute}" for day in range(1, 29) for hour in range(24) for minute in (10, 40)))
    rows += given("SM-101", "04 01:00", born="2023-03-01") + given("SM-101", "04 09:00", born="2023-03-02")
    rows += given("SM-102", "04 01:00", "04 03:00", medicine="unknown") + given(None, "04 01:00", "05 01:00")
    return (
        pl.DataFrame(rows, infer_schema_length=None)
        .with_row_index("number", 1)
        .with_columns(pl.col("number").cast(pl.Int64))
        .sample(fraction=1, shuffle=True, seed=7)
    )


def test_whole_charts_as_here(spark: Any, tmp_path: Path) -> None:
    """All doses of a child together, wherever its rows stand; each finding is that of a run here."""
    rows, zone = doses(), ZoneInfo("Europe/London")
    rows.write_parquet(tmp_path / "doses.parquet")
    rows.sort("number").drop("number").write_parquet(tmp_path / "here.parquet")
    summary = run_charts(tmp_path / "here.parquet", tmp_path / "findings.parquet", FORMULARY, TODAY, zone)
    expected = pl.read_parquet(tmp_path / "findings.parquet")
    assert {"too-soon", "day-above-with-earlier", "children-disagree", "given-medicine-unknown"} <= set(expected["code"])
    table = spark.read.parquet(str(tmp_path / "doses.parquet"))
    for parted, shares in ((table, 1), (table.repartition(5), 3)):
        found = pl.from_arrow(check_charts(parted, FORMULARY, number="number", today=TODAY, zone=zone, shares=shares).toArrow())
        on_charts = found.filter(pl.col("child_id").is_not_null())
        assert on_charts.sort(pl.all()).equals(expected.cast(found.schema).sort(pl.all()))
        ((lost, which),) = found.filter(pl.col("child_id").is_null()).select("doses", "rows").rows()
        assert lost == str(summary.on_no_chart) == "2" and which == ", ".join(map(str, summary.first))
    with pytest.raises(FileError, match="Which child each dose is for is missing"):
        check_charts(table.drop("child_id"), FORMULARY, number="number")


def in_files(place: Path, rows: pl.DataFrame) -> Path:
    """A folder of files of unlike sizes, one of them without a row."""
    place.mkdir()
    for name, part in {"a": rows[:100], "b": rows[:0], "c": rows[100:1300], "d": rows[1300:]}.items():
        part.drop("number").write_parquet(place / f"{name}.parquet", row_group_size=97)
    return place


@pytest.mark.parametrize("piece", [1, 50, 10**6])
def test_a_share_is_gone_through_piece_by_piece_as_whole(monkeypatch: pytest.MonkeyPatch, piece: int) -> None:
    """As a worker does it: the doses of a share sorted by child and row, in batches that part children and rows alike."""
    limits, batch = ChartLimits(FORMULARY), Batch(FORMULARY, TODAY)
    reader = Doses(limits, ZoneInfo("Europe/London"))
    dated = reader.dated(doses().sort("number").drop("number"))
    share = reader.of(dated, batch.answer(dated.rows)["regimen"], 1).sort("child_id", "row", maintain_order=True)
    for most in (10**6, 500):
        for module in (spark_charts, charts):
            monkeypatch.setattr(module, "MOST", most)
        whole = charted(share, limits)
        monkeypatch.setattr(spark_charts, "PIECE", piece)
        parts = list(spark_charts._children(share.filter(pl.col("child_id").is_not_null()).iter_slices(7)))
        told = [charted(part, limits) for part in parts]
        assert pl.concat([each.found for each in told]).equals(whole.found)
        assert sum((Counter(each.outcomes) for each in told), Counter()) == Counter(whole.outcomes)
        assert max(map(len, parts)) <= max(piece + 7, most + 1 + piece + 7), "what is held at most"
        counts = spark_charts._Counts()
        kept = [counts.on_charts(part) for part in share.iter_slices(7)]
        assert (counts.rows, counts.lost, len(pl.concat(kept))) == (len(doses()), 2, len(share) - share["child_id"].null_count())


def test_whole_charts_by_the_command(spark: Any, tmp_path: Path) -> None:
    """The findings of a run here on the same folder, in the same order and naming the same rows."""
    place = in_files(tmp_path / "doses", doses())
    summary = run_charts(place, tmp_path / "here.parquet", FORMULARY, TODAY, ZoneInfo("Europe/London"))
    assert summary.on_no_chart == 2 and summary.outcomes["stop"] and summary.children == 43
    asked = ["batch", "charts", str(place), "--out", str(tmp_path / "found"), "--formulary", str(FOLDER), "--zone", "Europe/London"]
    done = CliRunner().invoke(cli, [*asked, "--spark", "local[2]"], standalone_mode=False)
    assert done.return_value == 2 and f"{summary.rows:,} doses of 43 children" in done.output and "2 on no chart" in done.output
    found = pl.concat(map(pl.read_parquet, sorted((tmp_path / "found").glob("*.parquet"))))
    assert found.equals(pl.read_parquet(tmp_path / "here.parquet").cast(found.schema))
    told = json.loads((tmp_path / "found" / SUMMARY).read_text())
    assert {**summary._asdict(), "first": list(summary.first)}.items() <= told.items() and told["columns"] == list(CHART_COLUMNS)
    again = CliRunner().invoke(cli, [*asked, "--spark", "local[2]"], standalone_mode=False)
    assert isinstance(again.exception, FileError) and "is there already" in str(again.exception)
    csv = CliRunner().invoke(cli, [*asked[:2], "doses.csv", *asked[3:], "--spark", "local[2]"], standalone_mode=False)
    assert "Spark takes Parquet" in str(csv.exception)


def test_charts_without_a_finding_or_a_row(spark: Any, tmp_path: Path) -> None:
    few = doses().filter(pl.col("child_id") == "SM-000").sort("given_at")[:1].drop("number")
    for name, rows, outcomes in (("clean", few, {"within": 1}), ("none", few[:0], {})):
        rows.write_parquet(tmp_path / f"{name}.parquet")
        summary = run_charts_on_spark(
            spark, str(tmp_path / f"{name}.parquet"), str(tmp_path / name), FORMULARY, TODAY, ZoneInfo("Europe/London")
        )
        assert (summary.rows, +Counter(summary.outcomes), summary.findings) == (len(rows), Counter(outcomes), {})
        assert pl.read_parquet(tmp_path / name / "*.parquet").columns == list(CHART_COLUMNS)


def test_a_dose_that_is_lost_leaves_no_findings(spark: Any, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    place, told_of = in_files(tmp_path / "doses", doses()), spark_charts_run.told_of
    monkeypatch.setattr(spark_charts_run, "told_of", lambda rows, *rest: told_of(rows.where(f"{ROW} != 7"), *rest))
    with pytest.raises(FileError, match=r"1,5\d\d rows were read and 1,5\d\d looked at"):
        run_charts_on_spark(spark, str(place), str(tmp_path / "found"), FORMULARY, TODAY, ZoneInfo("Europe/London"))
    assert [path.name for path in tmp_path.iterdir()] == ["doses"]


def write(place: Path, **tables: pa.Table) -> str:
    place.mkdir(parents=True)
    for name, table in tables.items():
        (place / name).parent.mkdir(exist_ok=True)
        pq.write_table(table, place / f"{name}.parquet")
    return str(place)


ORDER = {"medicine": ["paracetamol"], "dose": ["210 mg"]}
NOT_UTF8 = pa.Array.from_buffers(pa.string(), 1, [None, pa.array([0, 2], pa.int32()).buffers()[1], pa.py_buffer(b"\xb5g")])
REFUSED = {
    "floats": ({"a": pa.table({**ORDER, "weight": [14.2]})}, "of type double, not text"),
    "a column too few": ({"a": pa.table({**ORDER, "at_most": ["4"]}), "b": pa.table(ORDER)}, "has other columns than"),
    "another column": ({"a": pa.table({"medicine": ["paracetamol"], "dsoe": ["210 mg"]})}, 'Is it "dsoe"'),
    "our own name": ({"a": pa.table({**ORDER, "row": ["1"]})}, 'The column "row" has the name of a result column'),
    "a result's name": ({"a": pa.table({**ORDER, "outcome": ["within"]})}, "result column"),
    "not UTF-8": ({"a": pa.table({"medicine": ["paracetamol"], "dose": NOT_UTF8})}, "Spark stopped: .*UTF"),
    "nothing": ({}, "Spark stopped"),
}


@pytest.mark.parametrize("case", REFUSED)
def test_what_cannot_be_trusted_is_refused_whole(spark: Any, tmp_path: Path, case: str) -> None:
    tables, words = REFUSED[case]
    with pytest.raises(FileError, match=words) as error:
        run_on_spark(spark, write(tmp_path / "orders", **tables), str(tmp_path / "results"), FORMULARY, TODAY)
    assert len(str(error.value)) < 700 and "Traceback" not in str(error.value)
    assert [path.name for path in tmp_path.iterdir()] == ["orders"], "no result, and nothing beside it"


def test_places_that_will_not_do(spark: Any, tmp_path: Path) -> None:
    orders = write(tmp_path / "orders", a=pa.table(ORDER))
    with pytest.raises(FileError, match="Spark takes Parquet"):
        run_on_spark(spark, "orders.csv", str(tmp_path / "results"), FORMULARY, TODAY)
    with pytest.raises(FileError, match="does not exist"):
        run_on_spark(spark, str(tmp_path / "none"), str(tmp_path / "results"), FORMULARY, TODAY)
    (tmp_path / "kept").mkdir()
    (tmp_path / "kept" / "letter.txt").write_text("mine")
    with pytest.raises(FileError, match="is there already"):
        run_on_spark(spark, orders, str(tmp_path / "kept"), FORMULARY, TODAY)
    assert (tmp_path / "kept" / "letter.txt").read_text() == "mine"


def test_partition_folders_keep_their_zeros_and_files_their_own_names(spark: Any, tmp_path: Path) -> None:
    place = tmp_path / "orders"
    for ward in ("07", "12"):
        write(place / f"ward={ward}", **{f"of-{ward}": pa.table(ORDER)})
    run_on_spark(spark, str(place), str(tmp_path / "results"), FORMULARY, TODAY)
    assert read_result(tmp_path / "results").select(FILE, "ward").rows() == [("of-07.parquet", "07"), ("of-12.parquet", "12")]
    (place / "ward=12" / "of-12.parquet").rename(place / "ward=12" / "of-07.parquet")
    with pytest.raises(FileError, match=r'Two files are named "of-07\.parquet"'):
        run_on_spark(spark, str(place), str(tmp_path / "again"), FORMULARY, TODAY)


def test_a_row_that_is_lost_leaves_no_result(spark: Any, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    counted = spark_run._counted
    monkeypatch.setattr(spark_run, "_counted", lambda answers, formulary: counted(answers.limit(1), formulary))
    orders = write(tmp_path / "orders", a=pa.table({name: texts * 2 for name, texts in ORDER.items()}))
    with pytest.raises(FileError, match="2 rows were read and 1 answered"):
        run_on_spark(spark, orders, str(tmp_path / "results"), FORMULARY, TODAY)
    assert [path.name for path in tmp_path.iterdir()] == ["orders"]


def test_a_worker_of_another_version_refuses() -> None:
    with pytest.raises(DosecheckError, match="Install the same on every worker"):
        Travelling(None, TODAY, None, [], "", version="0.0.1").batch()


def test_without_pyspark_or_java_one_plain_sentence(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    with monkeypatch.context() as without:
        without.setitem(sys.modules, "pyspark.sql", None)
        with pytest.raises(DosecheckError, match=r'pip install "dosecheck\[spark\]"'), session("local[2]"):
            pass
    if find_spec("pyspark"):
        monkeypatch.setenv("JAVA_HOME", str(tmp_path))
        with pytest.raises(DosecheckError, match="needs Java 17"), session("local[2]"):
            pass
