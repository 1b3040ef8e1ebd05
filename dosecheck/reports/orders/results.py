"""A result of `dosecheck batch` read again, chunk after chunk, with the columns that a report needs and no other.

A frame that is handed on has `row` (Int64, the order's number from 1), the texts of TEXTS (null where the file has no such
column), `times` (Int64, thousandths of the most for one dose), and a text `by NAME` for each column that is counted by.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence

import polars as pl

from dosecheck.batch.colmap import ColumnMap
from dosecheck.batch.files import read_orders
from dosecheck.batch.texts import RESULTS
from dosecheck.errors import FileError
from dosecheck.records import OUTCOMES

_GIVEN = ("order_id", "child_id", "medicine", "dose", "weight")
_HOW = ("route", "every", "times_a_day", "once", "product")
TEXTS = (*_GIVEN, *_HOW, "outcome", "codes", "regimen", "one_dose", "dose_per_kg", "source", "sentence")
_USUAL = ("ward", "prescriber", "prescriber_code", "prescriber_id")
_SEVERAL = re.compile(r"[/|,;()\[\]]")
_NEEDED = ("outcome", "codes", "regimen", "one_dose", "dose_per_kg", "times_the_most", "source", "sentence")


def read_results(path: str, columns: ColumnMap | None = None, by: Sequence[str] = ()) -> Iterator[pl.DataFrame]:
    """The rows in file order; at least one frame.

    Args:
        columns: the map that the orders were checked with.
        by: columns of the file to count by, under their own names.

    Raises, while frames are asked for:
        FileError: it is no result of `dosecheck batch`, not whole, or has no such column.
    """
    row = 1
    for chunk in read_orders(path):
        if chunk.refused:
            first = chunk.refused[0]
            raise FileError(path, f"Line {first.line} of the result cannot be read: {first.why}", "Check the orders again.")
        names = chunk.rows.columns
        _refuse_others(path, names, by)
        rows = chunk.rows.with_columns(pl.col(name).alias(f"by {name}") for name in by)
        rows = columns.apply(rows) if _mapped(path, names, columns) else rows
        _refuse_unmapped(path, rows.columns)
        yield _frame(path, rows, by).with_row_index("row", row).cast({"row": pl.Int64})
        row += rows.height


def usual_columns(path: str) -> list[str]:
    """The columns named ward or prescriber ("Station / ward" too), in the file's order; what a report counts by when nobody says."""
    names = next(iter(read_orders(path))).rows.columns
    return [name for name in names if name not in RESULTS and any(_plain(part) in _USUAL for part in (name, *_SEVERAL.split(name)))]


def _plain(name: str) -> str:
    return "_".join(re.findall(r"[a-z0-9]+", name.lower()))


def thousandths(text: pl.Expr) -> pl.Expr:
    """ "1.25" as 1250, exactly; what is no such number is null."""
    whole = text.str.extract(r"^([0-9]{1,15})(?:\.[0-9]{1,3})?$").cast(pl.Int64)
    rest = text.str.extract(r"\.([0-9]{1,3})$").str.pad_end(3, "0").cast(pl.Int64).fill_null(0)
    return whole * 1000 + rest


def _refuse_others(path: str, names: list[str], by: Sequence[str]) -> None:
    missing = [name for name in _NEEDED if name not in names]
    if missing:
        write = f"Name a file that dosecheck batch wrote; it ends with the columns {', '.join(RESULTS)}."
        raise FileError(path, f'It has no column "{missing[0]}", so it is no result of dosecheck batch.', write)
    for name in by:
        if name not in names or name in RESULTS:
            given = ", ".join(n for n in names if n not in RESULTS)
            raise FileError(path, f'It has no column "{name}" to count by.', f"Its columns of orders are: {given}.")


def _refuse_unmapped(path: str, names: list[str]) -> None:
    """No orders are checked without these columns: they stand there under names of the file's own."""
    missing = [name for name in ("medicine", "dose") if name not in names]
    if missing:
        why = f'It has no column "{missing[0]}": the orders were checked with a map of their columns.'
        raise FileError(path, why, "Name that map here too, with --columns.")


def _mapped(path: str, names: list[str], columns: ColumnMap | None) -> bool:
    if columns is None:
        return False
    columns.mapped_names(names, path)
    return True


def _frame(path: str, rows: pl.DataFrame, by: Sequence[str]) -> pl.DataFrame:
    nothing = pl.lit(None, dtype=pl.String)
    texts = [pl.col(name) if name in rows.columns else nothing.alias(name) for name in TEXTS]
    frame = rows.select(*texts, "times_the_most", *(f"by {name}" for name in by)).with_columns(times=thousandths(pl.col("times_the_most")))
    odd = frame.filter(
        ~pl.col("outcome").is_in(OUTCOMES).fill_null(False) | (pl.col("times").is_null() & pl.col("times_the_most").is_not_null())
    )
    if odd.height:
        outcome, times = odd.row(0, named=True)["outcome"], odd.row(0, named=True)["times_the_most"]
        why = f'A row has the outcome "{outcome}" and times_the_most "{times}", which dosecheck batch does not write.'
        raise FileError(path, why, "Check the orders again; a result that was edited is no result.")
    return frame.drop("times_the_most")
