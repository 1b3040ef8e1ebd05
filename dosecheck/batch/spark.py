"""The same checks on Spark: each piece of a table goes through Arrow to the very functions that answer a file here.

For people who have a session; `spark_run.py` takes files.  The formulary travels once, as a broadcast, and each
Python worker keeps one `Batch` of it, so that what it learns of one piece serves the next.  The workers need the
same version of dosecheck.  pyspark itself is not imported: a DataFrame of it is handed in.
"""

from __future__ import annotations

import warnings
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager
from datetime import date
from functools import partial
from typing import TYPE_CHECKING, NamedTuple

import polars as pl
import pyarrow as pa

from dosecheck.batch.chunk import Chunk
from dosecheck.batch.colmap import ColumnMap
from dosecheck.batch.run import Batch, answered, check_columns
from dosecheck.batch.tables_in import check_schema, chunk_of, together
from dosecheck.batch.texts import RESULTS
from dosecheck.errors import DosecheckError
from dosecheck.formulary.folder import VERSION
from dosecheck.formulary.load import Formulary

if TYPE_CHECKING:
    from pyspark import Broadcast
    from pyspark.sql import DataFrame
    from pyspark.sql.types import StructType

PIECE_ROWS = 100_000  # as many at a time, whatever the session's own size of an Arrow batch
NAME = "the table"
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

    def read(self, piece: pa.Table) -> tuple[Chunk, pl.DataFrame]:
        """The rows of a piece as text, and the same under our own names and codes."""
        piece = piece.rename_columns(self.names)
        line = pl.Series(piece[self.number]) if self.number else pl.zeros(len(piece), dtype=pl.Int64, eager=True)
        chunk = chunk_of(piece.drop_columns(self.number) if self.number else piece, line.alias("line"))
        return chunk, self.columns.apply(chunk.rows) if self.columns else chunk.rows


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
    from pyspark.sql.types import StringType, StructField, StructType

    travelling = packed(orders, formulary, today, columns, number)
    check_columns(NAME, [name for name in travelling.names if name != number], columns)
    wide = StructType([*orders.schema.fields, *(StructField(name, StringType()) for name in RESULTS)])
    return over_pieces(orders, partial(with_answers, travelling), wide)


def packed(orders: DataFrame, formulary: Formulary, today: date | None, columns: ColumnMap | None, number: str) -> Travelling:
    """What goes to the workers, once the types of the columns are found to be such as can be read."""
    from pyspark.sql.pandas.types import to_arrow_schema

    schema = to_arrow_schema(orders.schema)
    check_schema(schema, NAME)
    shared = orders.sparkSession.sparkContext.broadcast(formulary)
    return Travelling(shared, today or date.today(), columns, schema.names, number)


def over_pieces(orders: DataFrame, answer: Callable[[pa.Table], pa.Table], schema: StructType | str) -> DataFrame:
    """What `answer` makes of each piece of each partition."""
    with without_pandas_warning():
        return orders.toDF(*map(str, range(len(orders.columns)))).mapInArrow(partial(_answered, answer), schema)


@contextmanager
def without_pandas_warning() -> Iterator[None]:
    """pyspark warns of a new pandas wherever Arrow is used; no row goes through pandas here."""
    with warnings.catch_warnings():
        warnings.filterwarnings("ignore", "PySpark does not yet fully support pandas", FutureWarning)
        yield


def _answered(answer: Callable[[pa.Table], pa.Table], batches: Iterable[pa.RecordBatch]) -> Iterator[pa.RecordBatch]:
    for piece in together(batches, PIECE_ROWS):  # rows that ask alike are answered together
        yield from answer(piece).to_batches()


def with_answers(travelling: Travelling, piece: pa.Table) -> pa.Table:
    """The rows of a piece, and RESULTS after their columns."""
    chunk, mapped = travelling.read(piece)
    answers = answered(travelling.batch(), mapped, chunk).to_arrow()
    for name in RESULTS:
        piece = piece.append_column(name, answers[name].cast(pa.string()))
    return piece.rename_columns([*travelling.names, *RESULTS])
