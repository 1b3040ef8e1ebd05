"""The same checks on Spark: each piece of a table goes through Arrow to the very functions that answer a file here.

For people who have a session; `spark_run.py` takes files.  The formulary travels once, as a broadcast, and each
Python worker keeps one `Batch` of it, so that what it learns of one piece serves the next.  The workers need the
same version of dosecheck.  pyspark itself is not imported: a DataFrame of it is handed in.
"""

from __future__ import annotations

import warnings
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from datetime import date
from typing import TYPE_CHECKING, NamedTuple

import polars as pl
import pyarrow as pa

from dosecheck.batch.colmap import ColumnMap
from dosecheck.batch.run import Batch, answered, check_columns
from dosecheck.batch.tables_in import check_schema, chunk_of
from dosecheck.batch.texts import RESULTS
from dosecheck.errors import DosecheckError
from dosecheck.formulary.folder import VERSION
from dosecheck.formulary.load import Formulary

if TYPE_CHECKING:
    from pyspark import Broadcast
    from pyspark.sql import DataFrame

PIECE_ROWS = 100_000  # as many at a time, whatever the session's own size of an Arrow batch
_NAME = "the table"
_batches: dict[tuple[str, date | None, date], Batch] = {}  # of this Python worker


class Travelling(NamedTuple):
    """What a worker needs, beside the rows.

    names: of the columns, which travel under plain ones, since pyspark takes a point in a name for a field.
    number: the column with the number of each row, or "" for none.
    """

    formulary: Broadcast[Formulary]
    today: date
    columns: ColumnMap | None
    names: list[str]
    number: str
    version: str = VERSION

    def batch(self) -> Batch:
        """The one of this worker, made at the first piece."""
        if self.version != VERSION:
            raise DosecheckError(f"dosecheck {self.version} was asked, and a worker has {VERSION}. Install the same on every worker.")
        formulary = self.formulary.value
        key = (formulary.fingerprint, formulary.as_of, self.today)
        if key not in _batches:
            _batches[key] = Batch(formulary, self.today)
        return _batches[key]


def check_orders(
    orders: DataFrame, formulary: Formulary, *, today: date | None = None, columns: ColumnMap | None = None, number: str = ""
) -> DataFrame:
    """Checks a DataFrame of orders, one a row, as `dosecheck batch` checks a file; Spark does it when the answers are asked for.

    Args:
        orders: columns as in a file of orders: text with its unit ("210 mg"), dates or whole numbers.
        formulary: what to check against; it travels once to each worker.
        today: the date of rows that give none in the column `on`; None: the present day.
        columns: your own column names and codes (`dosecheck.batch.colmap.read_map`).
        number: a column of whole numbers by which a row that cannot be read is named.

    Returns:
        Every row once, its columns as they were, and after them the columns `outcome`, `codes`, ... `sentence`, all text.

    Raises:
        FileError: the columns cannot be read as orders: which, and what to write instead.
    """
    from pyspark.sql.pandas.types import to_arrow_schema
    from pyspark.sql.types import StringType, StructField, StructType

    schema = to_arrow_schema(orders.schema)
    check_schema(schema, _NAME)
    check_columns(_NAME, [name for name in schema.names if name != number], columns)
    shared = orders.sparkSession.sparkContext.broadcast(formulary)
    answering = Answering(Travelling(shared, today or date.today(), columns, schema.names, number))
    wide = StructType([*orders.schema.fields, *(StructField(name, StringType()) for name in RESULTS)])
    with without_pandas_warning():
        return orders.toDF(*map(str, range(len(schema)))).mapInArrow(answering, wide)


@contextmanager
def without_pandas_warning() -> Iterator[None]:
    """pyspark warns of a new pandas wherever Arrow is used; no row goes through pandas here."""
    with warnings.catch_warnings():
        warnings.filterwarnings("ignore", "PySpark does not yet fully support pandas", FutureWarning)
        yield


class Answering:
    """What a worker does with the pieces of one partition; a class, since Spark sends it by its name and not as code."""

    def __init__(self, travelling: Travelling) -> None:
        self.travelling = travelling

    def __call__(self, batches: Iterable[pa.RecordBatch]) -> Iterator[pa.RecordBatch]:
        batch = self.travelling.batch()
        for piece in _gathered(batches):
            yield from with_answers(batch, piece, self.travelling).to_batches()


def _gathered(batches: Iterable[pa.RecordBatch]) -> Iterator[pa.Table]:
    """Small batches put together: rows that ask alike are answered together."""
    held: list[pa.RecordBatch] = []
    for batch in batches:
        held.append(batch)
        if sum(b.num_rows for b in held) >= PIECE_ROWS:
            yield pa.Table.from_batches(held)
            held = []
    if held:
        yield pa.Table.from_batches(held)


def with_answers(batch: Batch, piece: pa.Table, travelling: Travelling) -> pa.Table:
    """The rows of a piece, and RESULTS after their columns."""
    number, columns, piece = travelling.number, travelling.columns, piece.rename_columns(travelling.names)
    line = pl.Series(piece[number]) if number else pl.zeros(len(piece), dtype=pl.Int64, eager=True)
    chunk = chunk_of(piece.drop_columns(number) if number else piece, line.alias("line"))
    answers = answered(batch, columns.apply(chunk.rows) if columns else chunk.rows, chunk).to_arrow()
    for name in RESULTS:
        piece = piece.append_column(name, answers[name].cast(pa.string()))
    return piece
