"""A file of doses given, as charts: each row read and dated by its own time, then all doses of each child together.

Memory holds a few chunks of some 300,000 rows, as for a file of orders, and then up to a million doses (`partitions.HELD`)
with what is found in them: it does not grow with the file.  The findings are written as they are found.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from datetime import date, tzinfo
from itertools import chain
from pathlib import Path
from typing import NamedTuple

import polars as pl

from dosecheck.batch.chart_limits import ChartLimits
from dosecheck.batch.chart_words import CHART_COLUMNS, chart_texts
from dosecheck.batch.charts import charted
from dosecheck.batch.colmap import ColumnMap
from dosecheck.batch.columns import FIELDS
from dosecheck.batch.doses import GIVEN_AT, Doses
from dosecheck.batch.files import ResultWriter, read_orders
from dosecheck.batch.forms import NOTHING, Asked
from dosecheck.batch.partitions import Partitions
from dosecheck.batch.pipeline import Behind, ahead, joined
from dosecheck.batch.run import Batch, check_columns
from dosecheck.errors import FileError
from dosecheck.formulary.load import Formulary
from dosecheck.records import OUTCOMES

_WRITTEN = 100_000  # findings at a time
_OWN = ("order_id", "child_id", GIVEN_AT)


class ChartSummary(NamedTuple):
    """`outcomes`: charts (one ingredient of one child, or its unknown medicines) by outcome; `findings` by code.

    `on_no_chart`: rows without a child, or refused by the file's reader; `first` of them, by number.
    """

    rows: int
    on_no_chart: int
    first: tuple[int, ...]
    children: int
    outcomes: dict[str, int]
    findings: dict[str, int]
    fingerprint: str


def run_charts(
    orders: str | Path,
    findings: str | Path,
    formulary: Formulary,
    today: date,
    zone: tzinfo | None = None,
    columns: ColumnMap | None = None,
    asked: Asked = NOTHING,
) -> ChartSummary:
    """Looks at the doses of each child together, and writes one row a finding, sorted by child and time.

    Args:
        orders: a file of orders, each row a dose given at the time in its column "given_at".
        findings: a file of a form that `forms.py` knows, with the columns of CHART_COLUMNS; whole or not at all.
        today: the date for rows without a time and without a date.
        asked: what the user said of the file's form, such as its delimiter.
        zone: of times without an offset, and of the times in the findings (None: UTC).

    Raises:
        FileError: the file cannot be read, has no column "given_at" or "child_id", or the findings cannot be written.
    """
    limits = ChartLimits(formulary)
    with ResultWriter(findings, CHART_COLUMNS, source=orders, own=CHART_COLUMNS, form=asked.form) as writer, Partitions(findings) as kept:
        placed = _put_aside(kept, _doses(orders, asked, limits, today, zone, columns))
        told = _tell(kept, writer, limits, zone)
    return ChartSummary(*placed, *told, formulary.fingerprint)


def _put_aside(kept: Partitions, read: Iterator[tuple[pl.DataFrame, int]]) -> tuple[int, int, tuple[int, ...]]:
    """How many rows there were, how many on no chart, and the first of those."""
    rows, lost, first = 0, 0, ()
    with Behind(kept.add) as aside:
        for doses, count in read:
            without = doses.filter(pl.col("child_id").is_null())["row"].unique().sort()
            rows, lost, first = rows + count, lost + len(without), (*first, *without.head(20))[:20]
            aside.put(doses.filter(pl.col("child_id").is_not_null()))
    return rows, lost, first


def _tell(kept: Partitions, writer: ResultWriter, limits: ChartLimits, zone: tzinfo | None) -> tuple[int, dict[str, int], dict[str, int]]:
    """Writes the findings, while the next children are being looked at; children, outcomes and codes are counted."""
    children, outcomes, codes = 0, Counter(), Counter()
    with Behind(lambda found: writer.write(chart_texts(found, limits, zone))) as written:
        for part in kept.parts():
            done = charted(part, limits)
            children, outcomes = children + done.children, outcomes + Counter(done.outcomes)
            codes += Counter(dict(done.found["code"].value_counts().iter_rows()))
            for found in done.found.iter_slices(_WRITTEN):
                written.put(found)
    return children, {name: outcomes[name] for name in OUTCOMES}, dict(sorted(codes.items()))


def _doses(
    orders: str | Path, asked: Asked, limits: ChartLimits, today: date, zone: tzinfo | None, columns: ColumnMap | None
) -> Iterator[tuple[pl.DataFrame, int]]:
    """The doses of each chunk, and how many rows it had."""
    batch, reader, rows = Batch(limits.formulary, today), Doses(limits, zone), 0
    known = (*FIELDS, *_OWN)
    chunks = ahead(joined(read_orders(orders, columns.to_read(known) if columns else known, asked)))
    first = next(chunks)
    check_chart_columns(orders, first.named, columns)
    for chunk in chain([first], chunks):
        dated = reader.dated(columns.apply(chunk.rows) if columns else chunk.rows)
        yield reader.of(dated, batch.answer(dated.rows)["regimen"], rows + 1), len(chunk.rows)
        rows += len(chunk.rows)


def check_chart_columns(orders: str | Path, names: list[str], columns: ColumnMap | None) -> None:
    """That of a file of orders, and that there are a time and a child."""
    check_columns(orders, names, columns)
    mapped = columns.mapped_names(names, str(orders)) if columns else names
    for needed, what in ((GIVEN_AT, "When each dose was given"), ("child_id", "Which child each dose is for")):
        if needed not in mapped:
            raise FileError(str(orders), f'{what} is missing: there is no column "{needed}".', "Name it so, or map it with --columns.")
