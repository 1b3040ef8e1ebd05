"""How the first rows of a file of orders are understood, column by column: by the very readers that answer the file."""

from __future__ import annotations

from typing import NamedTuple

import polars as pl

from dosecheck.batch.colmap import ColumnMap
from dosecheck.batch.columns import FIELDS
from dosecheck.errors import InputError
from dosecheck.formulary.load import Formulary
from dosecheck.reading import is_missing
from dosecheck.records import CHILD_FIELDS, Child, Order
from dosecheck.rules.facts import Body
from dosecheck.rules.present import understood

_ROWS = 100_000  # looked at
_TEXTS = 20_000  # distinct texts of one column that are read
_SHOWN, _NOT_READ = 4, 12  # of those that are understood, and of those that are not
_CODED = ("medicine", "route", "every", "step", "once", "as_needed", "weight_is", "sex")
_MOST_CODES = 60  # a column with more is no list of codes


class Seen(NamedTuple):
    """How one text of a field is understood; `fault`: why it is not."""

    text: str
    understood: str
    fault: str


class Column(NamedTuple):
    """What was seen of one field: `values` are its first distinct texts that are understood, then the first that are not, of `not_read` in all;
    of the rows looked at, `blank` tell nothing.  `codes` are the texts that a map could write out."""

    field: str
    column: str
    blank: int
    values: tuple[Seen, ...]
    not_read: int
    codes: tuple[str, ...]


def rows_of(rows: pl.DataFrame) -> pl.DataFrame:
    """Those that are looked at."""
    return rows.head(_ROWS)


def look(rows: pl.DataFrame, mapping: ColumnMap, formulary: Formulary) -> list[Column]:
    """How each field of the first rows is understood.

    Args:
        rows: text columns as the file has them.
    """
    mapped = mapping.apply(rows_of(rows))
    theirs = {ours: column for ours, (column, _) in mapping.columns.items()}
    routes = {regimen.route for medicine in formulary.medicines() for regimen in medicine.regimens}
    fields = [field for field in FIELDS if field in mapped.columns]
    return [_column(mapped[field], theirs.get(field, field), formulary, routes) for field in fields]


def _column(column: pl.Series, theirs: str, formulary: Formulary, routes: set[str]) -> Column:
    field, told = column.name, column.filter(~column.is_in(_missing(column)))
    texts = told.drop_nulls().unique(maintain_order=True).head(_TEXTS).to_list()
    seen = [_seen(field, text, formulary, routes) for text in texts]
    read, faulty = [each for each in seen if not each.fault], [each for each in seen if each.fault]
    coded = field in _CODED and len(faulty) <= _MOST_CODES
    codes = tuple(each.text for each in faulty) if coded else ()
    return Column(field, theirs, len(column) - len(told.drop_nulls()), (*read[:_SHOWN], *faulty[:_NOT_READ]), len(faulty), codes)


def _missing(column: pl.Series) -> list[str]:
    """The texts of a column that stand for nothing told, such as "n/a"."""
    return [text for text in column.drop_nulls().unique().to_list() if is_missing(text)]


def _seen(field: str, text: str, formulary: Formulary, routes: set[str]) -> Seen:
    name = "for_" if field == "for" else field
    try:
        if name in CHILD_FIELDS:
            order, child = Order(), Child(**{name: text, **({"on": "9999-01-01"} if name in ("born", "weighed") else {})})
        else:
            order, child = Order(**{name: text}), Child()
    except InputError as error:
        fault = error.faults[0]
        return Seen(text, "", f"{fault.why} {fault.write}".rstrip())
    if field == "medicine":
        medicine = formulary.medicine(text)
        return Seen(text, medicine.id, "") if medicine else Seen(text, "", "No medicine of this name is in the formulary.")
    if field == "route" and order.route not in routes:
        return Seen(text, "", "No medicine of the formulary has this route. A code is mapped under [codes.route].")
    told = understood(order, child, Body(None, {}), None, None, formulary)
    told.pop("on", None) if field != "on" else None
    return Seen(text, "; ".join(told.values()) or "as it stands", "")
