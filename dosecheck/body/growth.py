"""The growth references: which table speaks for a child of so many days, and its L, M and S on that day.

Days are completed days since birth (or since the due date, where the age is corrected); a month is 30.4375 days, as WHO
counts.  Between two rows of a table L, M and S are taken in proportion.  The arithmetic is in `lms.py`; the tables, with
their sources, terms and checks, are in `tables/`.
"""

from __future__ import annotations

import os
from collections.abc import Callable
from decimal import Decimal, localcontext
from functools import cache
from typing import NamedTuple

from dosecheck.body.lms import FIGURES, Lms

SEXES = ("female", "male")
REFERENCES = ("who", "cdc")
LAST_DAY = 7305  # 20 years, the end of every reference here
MONTH = (487, 16)  # 30.4375 days, as a ratio
_FOLDER = os.path.join(os.path.dirname(__file__), "tables")


class Place(NamedTuple):
    """Where a day falls in a table: row `index` of a sex, and `part` of `whole` of the way to the next row."""

    index: int
    part: int
    whole: int


def _by_day(day: int) -> Place:
    return Place(day, 0, 1)


def _by_month(day: int) -> Place:
    """Rows of completed months from 60 on."""
    index, part = divmod(day * MONTH[1] - 60 * MONTH[0], MONTH[0])
    return Place(index, part, MONTH[0])


def _by_half_month(day: int) -> Place:
    """Rows of 48, 49, 51, 53 ... 479, 480 half months: the first and the last are half a step from their neighbours."""
    days, per = day * 2 * MONTH[1], MONTH[0]
    if days < 49 * per:
        return Place(0, days - 48 * per, per)
    index, part = divmod(days - 49 * per, 2 * per)
    return Place(index + 1, part, per if index == (479 - 49) // 2 else 2 * per)


class Table(NamedTuple):
    """One source's tables: the last day it has for each measure, how days fall on rows, and the decimals of its figures."""

    name: str
    file: str
    first: int
    last: dict[str, int]
    place: Callable[[int], Place]
    decimals: tuple[int, int, int]
    outer: bool


_WHO_2006 = Table("WHO", "who-2006-{}-by-day.txt", 0, dict.fromkeys(("weight", "height", "bmi"), 1826), _by_day, (4, 4, 5), True)
_WHO_2007 = Table("WHO", "who-2007-{}-by-month.txt", 1827, {"weight": 3652, "height": 6939, "bmi": 6939}, _by_month, (4, 4, 5), True)
_CDC = Table(
    "CDC", "cdc-2000-{}-by-half-month.txt", 731, dict.fromkeys(("weight", "height", "bmi"), LAST_DAY), _by_half_month, (9, 9, 9), False
)
_ORDER = {"who": (_WHO_2006, _WHO_2007, _CDC), "cdc": (_CDC, _WHO_2006)}


def table_for(reference: str, day: int, measure: str = "weight") -> Table | None:
    """The table that speaks for a child of `day` days: the first of the reference's that has the day; None where none has."""
    return next((table for table in _ORDER[reference] if table.first <= day <= table.last[measure]), None)


@cache
def lms_at(reference: str, sex: str, day: int, measure: str = "weight") -> Lms | None:
    """L, M and S of one sex on one day; None where the reference has nothing to say (before birth or term, above 20 years).

    Args:
        reference: "who" (WHO as far as it goes, then CDC) or "cdc" (WHO below 2 years, then CDC).
        sex: "female" or "male".
        measure: "weight" (kg), "height" (cm; lying below 2 years, standing from then on) or "bmi" (kg/m2).
    """
    table = table_for(reference, day, measure)
    if table is None:
        return None
    index, part, whole = table.place(day)
    here = _row(table, measure, sex, index)
    after = _row(table, measure, sex, index + 1) if part else here
    with localcontext(FIGURES):
        power, median, spread = (
            Decimal(a * (whole - part) + b * part).scaleb(-places) / whole for a, b, places in zip(here, after, table.decimals, strict=True)
        )
    return Lms(power, median, spread, table.outer and measure != "height")


@cache
def joints(reference: str, measure: str = "weight") -> tuple[int, ...]:
    """The days on either side of each change of table: there the curves jump."""
    tables = _ORDER[reference]
    edges = {day for table in tables for day in (table.first, table.last[measure] + 1) if 0 < day <= LAST_DAY}
    changes = (day for day in sorted(edges) if table_for(reference, day - 1, measure) is not table_for(reference, day, measure))
    return tuple(side for day in changes for side in (day - 1, day))


def _row(table: Table, measure: str, sex: str, index: int) -> tuple[int, int, int]:
    """L, M and S as the file has them, in whole units of its last decimal.

    The lines of a file are equally long: a heading, then the rows of girls, then as many of boys.
    """
    whole, length = _file(table.file.format(measure))
    start = (1 + index + (len(whole) // length - 1) // 2 * SEXES.index(sex)) * length
    _, _, power, median, spread = whole[start : start + length].split()
    return int(power), int(median), int(spread)


@cache
def _file(name: str) -> tuple[bytes, int]:
    """A table as it is on disk, and the length of its lines."""
    with open(os.path.join(_FOLDER, name), "rb") as opened:
        whole = opened.read()
    return whole, whole.index(b"\n") + 1
