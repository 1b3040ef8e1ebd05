"""Parquet that Spark reads, row by row numbered, and folders of it that are written whole or not at all.

A result stands under another name until it has been counted.  Its summary is written into it last, so a folder of
results without `_summary.json` is not whole.
"""

from __future__ import annotations

import json
import secrets
from collections.abc import Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from typing import TYPE_CHECKING, Any

from dosecheck.errors import FileError
from dosecheck.formulary.folder import VERSION

if TYPE_CHECKING:
    from pyspark.sql import DataFrame, SparkSession

FILE, ROW = "file", "row"  # the columns that say where a row stands; rows are numbered from 1
SUMMARY = "_summary.json"
_OTHER_FORMS = (".csv", ".tsv", ".jsonl", ".ndjson", ".gz", ".zst", ".xlsx", ".arrow", ".arrows", ".feather", ".ipc")


def refuse_other_forms(orders: str) -> None:
    """Raises FileError: it is no Parquet, by its name."""
    if not orders.rstrip("/").endswith(".parquet") and orders.lower().endswith(_OTHER_FORMS):
        raise FileError(
            orders,
            "Spark takes Parquet: its own reader of other forms guesses, and loses broken rows in silence.",
            "Check this file without --spark, or export Parquet with columns of text.",
        )


def read_files(spark: SparkSession, orders: str) -> DataFrame:
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


@contextmanager
def result_folder(spark: SparkSession, results: str) -> Iterator[str]:
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


def mark(spark: SparkSession, results: str, summary: dict[str, Any], columns: Sequence[str]) -> None:
    """Writes the summary, and which columns are ours, into the folder of results."""
    told = {**summary, "version": VERSION, "columns": list(columns)}
    system, place = _place(spark, f"{results.rstrip('/')}/{SUMMARY}")
    file = system.create(place)
    try:
        file.write(bytearray(json.dumps(told, indent=2).encode() + b"\n"))
    finally:
        file.close()
