"""Parquet of doses given, as charts, on Spark: `dosecheck batch charts --spark MASTER_URL`.

The findings are those of a run here, in the same order: sorted by child and time through all files of the result.
"""

from __future__ import annotations

import json
from collections import Counter
from datetime import date, tzinfo
from itertools import accumulate
from typing import TYPE_CHECKING

from dosecheck.batch.chart_file import ChartSummary
from dosecheck.batch.chart_words import CHART_COLUMNS
from dosecheck.batch.colmap import ColumnMap
from dosecheck.batch.spark_charts import findings_of, told_of
from dosecheck.batch.spark_files import FILE, ROW, mark, read_files, refuse_other_forms, result_folder
from dosecheck.batch.spark_session import plain_errors
from dosecheck.errors import FileError
from dosecheck.formulary.load import Formulary
from dosecheck.records import OUTCOMES

if TYPE_CHECKING:
    from pyspark.sql import DataFrame, SparkSession


def run_charts_on_spark(
    spark: SparkSession,
    orders: str,
    findings: str,
    formulary: Formulary,
    today: date,
    zone: tzinfo | None = None,
    columns: ColumnMap | None = None,
) -> ChartSummary:
    """Looks at the doses of each child together, and writes a folder of Parquet: the same findings as `run_charts` here.

    Args:
        orders: Parquet, a file or a folder of files; rows are numbered from 1 through all of them, sorted by name.
        findings: where the folder goes; nothing may be there yet.

    Raises:
        FileError: the files cannot be read as doses, the findings cannot be written, or rows were lost; no result is left.
    """
    from pyspark import StorageLevel

    refuse_other_forms(orders)
    with plain_errors(orders):
        rows, count = _numbered(spark, read_files(spark, orders))
        told = told_of(rows, formulary, ROW, today, zone, columns).persist(StorageLevel.DISK_ONLY)  # it is gone through three times
    try:
        with result_folder(spark, findings) as part, plain_errors(orders):
            on_charts = findings_of(told).where("child_id IS NOT NULL").orderBy("child_id", "place")
            on_charts.select(*CHART_COLUMNS).write.parquet(part)
            summary = _summary(told, spark.read.parquet(part), formulary)
            if summary.rows != count:
                raise FileError(findings, f"{count:,} rows were read and {summary.rows:,} looked at.", "Run it again; no result was kept.")
    finally:
        told.unpersist()
    mark(spark, findings, summary._asdict(), CHART_COLUMNS)
    return summary


def _numbered(spark: SparkSession, rows: DataFrame) -> tuple[DataFrame, int]:
    """Rows numbered through all files, and how many there are."""
    from pyspark.sql import functions as F

    sizes = sorted(map(tuple, rows.groupBy(FILE).count().collect()))
    before = [0, *accumulate(size for _, size in sizes)]
    starts = spark.createDataFrame([(name, start) for (name, _), start in zip(sizes, before, strict=False)], f"{FILE} string, before long")
    placed = rows.join(F.broadcast(starts), FILE)
    own = [f"`{name}`" for name in rows.columns if name not in (FILE, ROW)]
    return placed.select((F.col(ROW) + F.col("before")).alias(ROW), *own), before[-1]


def _summary(told: DataFrame, written: DataFrame, formulary: Formulary) -> ChartSummary:
    shares = [json.loads(row.counts) for row in told.where("counts IS NOT NULL").select("counts").collect()]
    outcomes = sum((Counter(share["outcomes"]) for share in shares), Counter())
    codes = written.groupBy("code").count().collect()
    rows, lost, children = (sum(share[name] for share in shares) for name in ("rows", "on_no_chart", "children"))
    first = sorted(row for share in shares for row in share["first"])[:20]
    return ChartSummary(
        rows,
        lost,
        tuple(first),
        children,
        {name: outcomes[name] for name in OUTCOMES},
        dict(sorted(map(tuple, codes))),
        formulary.fingerprint,
    )
