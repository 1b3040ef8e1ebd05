"""`check_frame`: a frame of orders checked where it is, in a notebook or a script; the same kind of frame comes back.

Whatever speaks the Arrow interface comes in as an Arrow table, is read as the Parquet reader reads, and is answered
by the very functions that answer a file.  Its own columns are not touched: the answers are set beside them.
"""

from __future__ import annotations

import sys
from datetime import date
from pathlib import Path
from typing import Any

import polars as pl
import pyarrow as pa

from dosecheck.batch.chunk import ENOUGH_ROWS, shown
from dosecheck.batch.colmap import ColumnMap, read_map
from dosecheck.batch.run import Batch, answered, check_columns
from dosecheck.batch.tables_in import check_schema, chunk_of, numbers
from dosecheck.batch.texts import RESULTS
from dosecheck.errors import FileError
from dosecheck.formulary.load import Formulary

_NAME = "the frame"


def check_frame(
    frame: Any, formulary: Formulary | None = None, *, today: date | None = None, columns: ColumnMap | str | Path | None = None
) -> Any:
    """Checks a frame of orders, one a row, as `dosecheck batch` checks a file.

    Args:
        frame: a polars or pandas DataFrame, an Arrow Table or RecordBatch, or anything with `__arrow_c_stream__`.
            Columns as in a file of orders: text with its unit ("210 mg"), dates or whole numbers; a column of
            another type is refused, whatever its name.  A pandas index is kept, and not read.
        formulary: what to check against; None finds it as the command line does.
        today: the date of rows that give none in the column `on`; None: the present day.
        columns: your own column names and codes: a map, or the path of one.

    Returns:
        The same kind of frame: every column as it was, rows in the same order, and after them the columns
        `outcome`, `codes`, ... `sentence`, all text.  A kind that is not named above is made by its own class's
        `from_arrow`; without one, an Arrow table comes back.

    Raises:
        FileError: the frame cannot be read as orders: what is wrong, and what to write instead.
        FormularyError: every fault of the formulary.
    """
    table = _as_table(frame)
    check_schema(table.schema, _NAME)
    mapping = read_map(columns) if isinstance(columns, str | Path) else columns
    check_columns(_NAME, table.schema.names, mapping)
    batch = Batch(formulary or Formulary(), today or date.today())
    starts = range(0, max(len(table), 1), ENOUGH_ROWS)
    answers = [_answers(batch, table.slice(start, ENOUGH_ROWS), start + 1, mapping) for start in starts]
    return _beside(frame, table, pl.concat(answers))


def _as_table(frame: Any) -> pa.Table:
    """The columns in Arrow; of pandas without the index, which is no column."""
    if not (hasattr(frame, "__arrow_c_stream__") or hasattr(frame, "__arrow_c_array__")):
        why = f"A {type(frame).__name__} does not speak the Arrow interface (__arrow_c_stream__)."
        raise FileError(_NAME, why, "Hand over a polars or pandas DataFrame, or an Arrow table; collect what is lazy.")
    try:
        return pa.table(frame.reset_index(drop=True) if _is_pandas(frame) else frame)
    except (pa.ArrowException, ValueError, TypeError) as error:  # two columns of one name; a column of mixed types
        raise FileError(_NAME, f"It cannot be made an Arrow table: {shown(str(error).strip())}", "Write every column as text.") from error


def _is_pandas(frame: Any) -> bool:
    """Without importing pandas: a frame of its exists only where somebody has."""
    pandas = sys.modules.get("pandas")
    return pandas is not None and isinstance(frame, pandas.DataFrame)


def _answers(batch: Batch, piece: pa.Table, first: int, columns: ColumnMap | None) -> pl.DataFrame:
    try:
        chunk = chunk_of(piece, numbers(first, len(piece)))
    except pa.ArrowException as error:
        raise FileError(_NAME, f"It holds what is no text: {shown(str(error).strip())}", "Write every column as text.") from error
    return answered(batch, columns.apply(chunk.rows) if columns else chunk.rows, chunk)


def _beside(frame: Any, table: pa.Table, answers: pl.DataFrame) -> Any:
    """The frame with the answers after its own columns."""
    if isinstance(frame, pl.DataFrame):
        return frame.hstack(answers)
    new = answers.to_arrow().cast(pa.schema((name, pa.string()) for name in RESULTS))
    if _is_pandas(frame):
        made = new.to_pandas()
        return frame.assign(**{name: made[name].array for name in RESULTS})
    if isinstance(frame, pa.RecordBatch):
        return _joined(frame, new.combine_chunks().to_batches()[0] if len(new) else pa.RecordBatch.from_pylist([], new.schema))
    whole = _joined(table, new)
    return type(frame).from_arrow(whole) if hasattr(type(frame), "from_arrow") else whole


def _joined(frame: pa.Table | pa.RecordBatch, new: pa.Table | pa.RecordBatch) -> pa.Table | pa.RecordBatch:
    for name in RESULTS:
        frame = frame.append_column(name, new.column(name))
    return frame
