"""Cells of a workbook or a database as text: exact, or refused; never guessed.

A number stays as it is written: whole, or decimal with every figure.  A binary float is let pass only from a workbook, which
has no other numbers, and only where the 15 figures that a workbook keeps are all of it.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, datetime, time
from decimal import Decimal
from typing import Any, NamedTuple

import polars as pl

from dosecheck.batch.chunk import Chunk, Refused, refuse_fields, shown, without_unfit


class NoText(ValueError):
    """Why a cell is no text that could be checked, and what to do."""


class Unfit(NamedTuple):
    """A cell that is no value: what it is."""

    what: str

    def __str__(self) -> str:
        return self.what


def text_of(value: Any, fifteen: bool = False) -> str | None:
    """The text of a cell; None for an empty one.

    Args:
        fifteen: floats keep 15 figures, as in a workbook.

    Raises:
        NoText: it is a float, an object, or bytes.
    """
    if value is None or value == "":
        return None
    if isinstance(value, str):
        return value
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, int):
        return str(value)
    if isinstance(value, Decimal) and value.is_finite():
        return f"{value:f}"
    if isinstance(value, float) and fifteen:
        return _fifteen(value)
    if isinstance(value, datetime):
        return value.isoformat() if value.timetz() != time() or value.tzinfo else value.date().isoformat()
    if isinstance(value, date):
        return value.isoformat()
    if isinstance(value, Unfit):
        raise NoText(f"It holds {value.what}. Store the value itself.")
    what = "a binary float, which is not what was written" if isinstance(value, float) else f"of the type {type(value).__name__}"
    raise NoText(f"A cell is {what}. Store amounts as text with their unit, or as decimals.")


def _fifteen(value: float) -> str:
    text = f"{value:.15g}"
    if float(text) != value or "e" in text or "n" in text:
        raise NoText("A number has more than the 15 figures that a workbook keeps, or is none. Store it as text.")
    return text


def chunk_of_cells(rows: Sequence[Sequence[Any]], names: list[str], first: int, fifteen: bool = False) -> Chunk:
    """Rows of cells as text, those that hold what is no text refused in their places.

    Args:
        first: number of the first row where the user finds it.
    """
    texts: list[list[str | None]] = []
    refused: list[Refused] = []
    for place, row in enumerate(rows):
        try:
            texts.append([text_of(value, fifteen) for value in row])
        except NoText as error:
            texts.append([None] * len(names))
            refused.append(Refused(place, first + place, str(error), shown("; ".join(str(value) for value in row if value is not None))))
    schema = {name: pl.String for name in names}
    made = pl.DataFrame(texts, schema=schema, orient="row") if texts else pl.DataFrame(schema=schema)
    line = pl.int_range(first, first + len(texts), eager=True).alias("line")
    chunk = without_unfit(Chunk(made, line, refused))
    return refuse_fields(chunk, pl.all().str.contains("\0", literal=True), "A field holds a NUL character. Type it again.")
