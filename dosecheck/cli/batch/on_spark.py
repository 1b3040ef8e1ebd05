"""`dosecheck batch --spark` and `dosecheck batch charts --spark`: a Spark session does the work."""

from __future__ import annotations

import json
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import date, tzinfo
from typing import TYPE_CHECKING

import click

from dosecheck.cli.batch.check import counts
from dosecheck.cli.text import wrapped
from dosecheck.errors import FileError

if TYPE_CHECKING:
    from pyspark.sql import SparkSession

    from dosecheck.batch.chart_file import ChartSummary
    from dosecheck.batch.colmap import ColumnMap
    from dosecheck.batch.forms import Asked
    from dosecheck.batch.spark_run import SparkSummary
    from dosecheck.formulary.load import Formulary

_CAUTION = "A second check of the arithmetic, not a prescription: defer to the prescriber and to local guidance."


def on_spark(
    master: str, orders: str, results: str, formulary: Formulary, columns: ColumnMap | None, asked: Asked, as_json: bool
) -> SparkSummary:
    """Runs it, and says what came of it."""
    from dosecheck.batch.spark_run import run_on_spark

    with _session(master, orders, asked) as spark:
        summary = run_on_spark(spark, orders, results, formulary, date.today(), columns)
    click.echo(_as_json(summary) if as_json else _text(summary, results))
    return summary


def charts_on_spark(
    master: str, orders: str, findings: str, formulary: Formulary, zone: tzinfo | None, columns: ColumnMap | None, asked: Asked
) -> ChartSummary:
    """Whole charts, in place of `run_charts`."""
    from dosecheck.batch.spark_charts_run import run_charts_on_spark

    with _session(master, orders, asked) as spark:
        return run_charts_on_spark(spark, orders, findings, formulary, date.today(), zone, columns)


@contextmanager
def _session(master: str, orders: str, asked: Asked) -> Iterator[SparkSession]:
    from dosecheck.batch.forms import NOTHING
    from dosecheck.batch.spark_session import session

    if asked != NOTHING:
        raise FileError(orders, "Spark takes Parquet alone.", "Leave --delimiter, --form, --sheet and --query out.")
    with session(master) as spark:
        yield spark


def _text(summary: SparkSummary, results: str) -> str:
    figures = f", by the figures of {summary.as_of} whatever an order's own date" if summary.as_of else ""
    told = f"{_CAUTION} Earlier doses were not told. Formulary fingerprint {summary.fingerprint}{figures}."
    place = "The columns file and row say where each row stood; orders of one child in several rows were not looked for."
    return "\n".join([*counts(summary, results), wrapped(place), wrapped(told)])


def _as_json(summary: SparkSummary) -> str:
    return json.dumps({**summary._asdict(), "as_of": str(summary.as_of or ""), "caution": _CAUTION}, indent=2)
