"""A Spark session of our own, and what Spark says at length in one line."""

from __future__ import annotations

import os
import re
import shutil
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any

from dosecheck.batch.spark import without_pandas_warning
from dosecheck.errors import DosecheckError, FileError

if TYPE_CHECKING:
    from pyspark.sql import SparkSession

_INSTALL = 'Install it: pip install "dosecheck[spark]"'
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
        with plain_errors("Spark"):
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


@contextmanager
def plain_errors(what: str) -> Iterator[None]:
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
