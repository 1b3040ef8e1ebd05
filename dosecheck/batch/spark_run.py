"""A file or a folder of Parquet checked on Spark, from a session of its own: `dosecheck batch --spark MASTER_URL`.

Spark writes the result under another name; it is counted against what was read, and only then renamed.  The summary is
written into it last, so a folder of results without `_summary.json` is not whole.
"""

from __future__ import annotations

import json
import os
import re
import secrets
import shutil
import sys
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Any, NamedTuple

from dosecheck.batch.colmap import ColumnMap
from dosecheck.batch.spark import check_orders, without_pandas_warning
from dosecheck.batch.texts import RESULTS
from dosecheck.errors import DosecheckError, FileError
from dosecheck.formulary.folder import VERSION
from dosecheck.formulary.load import Formulary
from dosecheck.records import OUTCOMES

if TYPE_CHECKING:
    from pyspark.sql import DataFrame, SparkSession

FILE, ROW = "file", "row"  # the columns that say where a result's row stood; rows are numbered from 1
SUMMARY = "_summary.json"
_INSTALL = 'Install it: pip install "dosecheck[spark]"'
_OTHER_FORMS = (".csv", ".tsv", ".jsonl", ".ndjson", ".gz", ".zst", ".xlsx", ".arrow", ".arrows", ".feather", ".ipc")
_ALWAYS = {
    "spark.ui.enabled": "false",
    "spark.ui.showConsoleProgress": "false",
    "spark.sql.caseSensitive": "true",
    "spark.sql.session.timeZone": "UTC",
    "spark.sql.sources.partitionColumnTypeInference.enabled": "false",  # ward=07 stays "07"
    "spark.sql.files.ignoreCorruptFiles": "false",
    "spark.sql.files.ignoreMissingFiles": "false",
    "spark.sql.execution.arrow.maxRecordsPerBatch": "100000",
    "spark.executorEnv.POLARS_MAX_THREADS": "1",  # Spark gives each core a worker of its own
}


class SparkSummary(NamedTuple):
    """`rows` = the sum of `outcomes` = the rows of the files; of those `refused` could not be read."""

    rows: int
    outcomes: dict[str, int]
    refused: int
    fingerprint: str
    as_of: date | None


@contextmanager
def session(master: str) -> Iterator[SparkSession]:
    """A Spark session on `master` ("local[4]", "spark://host:7077", "yarn"), ended with the block unless it was there before.

    Raises:
        DosecheckError: pyspark or Java is missing, or the master does not answer.
    """
    try:
        from pyspark.sql import SparkSession
    except ImportError:
        raise DosecheckError(f"--spark needs pyspark, which is not installed. {_INSTALL}") from None
    java = os.environ.get("JAVA_HOME")
    if not (os.path.exists(os.path.join(java, "bin", "java")) if java else shutil.which("java")):
        raise DosecheckError("--spark needs Java 17 or later, and none was found. Install it, or set JAVA_HOME to where it is.")
    there = SparkSession.getActiveSession()
    with without_pandas_warning():
        with _plain_errors("Spark"):
            spark = there or _started(SparkSession.builder.master(master), master)
        try:
            yield spark
        finally:
            if not there:
                spark.stop()


def _started(builder: Any, master: str) -> SparkSession:
    settings = dict(_ALWAYS)
    if master.startswith("local"):  # nobody else has to reach it, and its workers are this very Python
        os.environ.setdefault("SPARK_LOCAL_IP", "127.0.0.1")
        os.environ.setdefault("PYSPARK_PYTHON", sys.executable)
        package = str(Path(__file__).parents[2])
        settings |= {"spark.driver.host": "127.0.0.1", "spark.driver.bindAddress": "127.0.0.1", "spark.executorEnv.PYTHONPATH": package}
    for name, value in settings.items():
        builder = builder.config(name, value)
    spark = builder.appName("dosecheck batch").getOrCreate()
    spark.sparkContext.setLogLevel("OFF")  # a failed job comes back as an error, and is told once
    return spark


def run_on_spark(
    spark: SparkSession, orders: str, results: str, formulary: Formulary, today: date, columns: ColumnMap | None = None
) -> SparkSummary:
    """Checks Parquet, a file or a folder of files, and writes a folder of Parquet: the same row for each row as here.

    Args:
        orders: a path, or an address that the cluster knows (hdfs:, s3a:).
        results: where the folder goes; nothing may be there yet.  `file` and `row` say where each row stood.

    Raises:
        FileError: the files cannot be read as orders, the result cannot be written, or rows were lost; no result is left.
    """
    if not orders.rstrip("/").endswith(".parquet") and orders.lower().endswith(
        (".csv", ".tsv", ".jsonl", ".ndjson", ".gz", ".zst", ".xlsx")
    ):
        raise FileError(
            orders,
            "Spark takes Parquet: its own reader of other forms guesses, and loses broken rows in silence.",
            "Check this file without --spark, or export Parquet with columns of text.",
        )
    with _plain_errors(orders):
        rows = _read(spark, orders)
        answers = check_orders(rows, formulary, today=today, columns=columns, number=ROW)
    with _folder(spark, results) as part, _plain_errors(orders):
        answers.write.parquet(part)
        summary = _counted(spark.read.parquet(part), formulary)
        if summary.rows != (read := rows.count()):
            raise FileError(results, f"{read:,} rows were read and {summary.rows:,} answered.", "Run it again; no result was kept.")
    _mark(spark, results, summary)
    return summary


def _read(spark: SparkSession, orders: str) -> DataFrame:
    """The files' rows, and before their columns where each row stands."""
    from pyspark.sql import functions as F

    table = spark.read.parquet(orders)
    files = table.inputFiles()
    names = [file.rpartition("/")[2] for file in files]
    twice = next((name for name in names if names.count(name) > 1), None) if len(set(names)) < len(names) else None
    if twice:
        raise FileError(orders, f'Two files are named "{twice}".', "Rows are told by the file's name: give each its own.")
    _check_alike(spark, orders, files)
    taken = next((name for name in (FILE, ROW) if name in table.columns), None)
    if taken:
        raise FileError(orders, f'The column "{taken}" has the name of a result column.', "Rename it.")
    place = [F.col("_metadata.file_name").alias(FILE), (F.col("_metadata.row_index") + 1).alias(ROW)]
    return table.select(*place, "*")


def _check_alike(spark: SparkSession, orders: str, files: list[str]) -> None:
    """Spark takes the columns of one file for all, and would read no others."""
    with ThreadPoolExecutor(8) as pool:
        schemas = list(pool.map(lambda file: spark.read.parquet(file).schema.simpleString(), files))
    odd = next((number for number, schema in enumerate(schemas) if schema != schemas[0]), None)
    if odd is not None:
        raise FileError(
            orders, f"{files[odd]} has other columns than {files[0]}.", "Give every file the same columns, or check them one by one."
        )


def _counted(answers: DataFrame, formulary: Formulary) -> SparkSummary:
    """What stands in the files that were written."""
    from pyspark.sql import functions as F

    counts = answers.groupBy("outcome").agg(F.count("*"), F.count(F.when(F.col("codes") == "unreadable", 1))).collect()
    outcomes = {name: rows for name, rows, _ in counts}
    return SparkSummary(
        sum(outcomes.values()),
        {name: outcomes.get(name, 0) for name in OUTCOMES},
        sum(refused for *_, refused in counts),
        formulary.fingerprint,
        formulary.as_of,
    )


@contextmanager
def _folder(spark: SparkSession, results: str) -> Iterator[str]:
    """A name beside the result's; renamed at the end of a good block, removed at the end of another."""
    system, final = _place(spark, results)
    if system.exists(final):
        raise FileError(results, "It is there already, and a folder is not written over.", "Choose another name, or move it away.")
    part = f"{results.rstrip('/')}.{secrets.token_hex(4)}.part"
    _, beside = _place(spark, part)
    try:
        yield part
        if system.exists(final) or not system.rename(beside, final):
            raise FileError(results, "It cannot be put under its name.", "Choose another name.")
    finally:
        system.delete(beside, True)


def _place(spark: SparkSession, path: str) -> tuple[Any, Any]:
    """The file system of a path, whichever it is, and the path as it knows it."""
    place = spark.sparkContext._jvm.org.apache.hadoop.fs.Path(path)
    return place.getFileSystem(spark.sparkContext._jsc.hadoopConfiguration()), place


def _mark(spark: SparkSession, results: str, summary: SparkSummary) -> None:
    told = {**summary._asdict(), "as_of": str(summary.as_of or ""), "version": VERSION, "columns": list(RESULTS)}
    system, place = _place(spark, f"{results.rstrip('/')}/{SUMMARY}")
    file = system.create(place)
    try:
        file.write(bytearray(json.dumps(told, indent=2).encode() + b"\n"))
    finally:
        file.close()


@contextmanager
def _plain_errors(what: str) -> Iterator[None]:
    """Whatever Spark says at length, in one line."""
    from py4j.protocol import Py4JError
    from pyspark.errors import PySparkException

    try:
        yield
    except (PySparkException, Py4JError, RuntimeError) as error:
        text = str(error)
        if "No module named 'dosecheck'" in text:
            raise DosecheckError("The workers of Spark have no dosecheck. Install the same version on every worker.") from None
        raise FileError(what, f"Spark stopped: {_told(text)}", "") from error


_RAISED = re.compile(r"[A-Za-z_.]*(Error|Exception|ArrowInvalid): ")


def _told(text: str) -> str:
    """The line that says what was wrong: of a worker's traceback the last that names an error, of Spark's own messages the first."""
    lines = [line.strip() for line in text.splitlines() if line.strip()] or ["without a word"]
    raised = [line for line in lines if _RAISED.match(line)] if "Traceback" in text else []
    return (raised[-1] if raised else lines[0])[:300]
