"""A file or a folder of Parquet checked on Spark, from a session of its own: `dosecheck batch --spark MASTER_URL`."""

from __future__ import annotations

from datetime import date
from typing import TYPE_CHECKING, NamedTuple

from dosecheck.batch.colmap import ColumnMap
from dosecheck.batch.spark import check_orders
from dosecheck.batch.spark_files import ROW, mark, read_files, refuse_other_forms, result_folder
from dosecheck.batch.spark_session import plain_errors
from dosecheck.batch.texts import RESULTS
from dosecheck.errors import FileError
from dosecheck.formulary.load import Formulary
from dosecheck.records import OUTCOMES

if TYPE_CHECKING:
    from pyspark.sql import DataFrame, SparkSession


class SparkSummary(NamedTuple):
    """`rows` = the sum of `outcomes` = the rows of the files; of those `refused` could not be read."""

    rows: int
    outcomes: dict[str, int]
    refused: int
    fingerprint: str
    as_of: date | None


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
    refuse_other_forms(orders)
    with plain_errors(orders):
        rows = read_files(spark, orders)
        answers = check_orders(rows, formulary, today=today, columns=columns, number=ROW)
    with result_folder(spark, results) as part, plain_errors(orders):
        answers.write.parquet(part)
        summary = _counted(spark.read.parquet(part), formulary)
        if summary.rows != (read := rows.count()):
            raise FileError(results, f"{read:,} rows were read and {summary.rows:,} answered.", "Run it again; no result was kept.")
    mark(spark, results, {**summary._asdict(), "as_of": str(summary.as_of or "")}, RESULTS)
    return summary


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
