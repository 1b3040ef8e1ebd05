"""Whole charts on Spark: rows become doses where they stand, and all doses of each child are looked at together.

Spark parts the doses into shares of the children and sorts each by child, on its own disks; a worker is handed a share
piece after piece, and looks at some children at a time with the very functions that answer a file here (`charts.py`).
So a worker holds PIECE doses and what it finds in them, however many there are, and of one child at most as many as
`doses.MOST`: a reference with more is named, and the rest of its doses are passed by.
"""

from __future__ import annotations

import json
from collections import Counter
from collections.abc import Iterable, Iterator
from datetime import date, tzinfo
from functools import partial
from typing import TYPE_CHECKING, NamedTuple

import polars as pl
import pyarrow as pa

from dosecheck.batch.chart_file import check_chart_columns
from dosecheck.batch.chart_limits import ChartLimits
from dosecheck.batch.chart_words import CHART_COLUMNS, chart_texts
from dosecheck.batch.charts import Charted, charted
from dosecheck.batch.colmap import ColumnMap
from dosecheck.batch.doses import DOSES, MOST, Doses
from dosecheck.batch.spark import NAME, Travelling, over_pieces, packed, without_pandas_warning
from dosecheck.batch.texts import not_read
from dosecheck.formulary.load import Formulary
from dosecheck.records import NOT_CHECKED

if TYPE_CHECKING:
    from pyspark.sql import DataFrame

_SPARK_TYPES = {pl.Int64: "long", pl.Int32: "int", pl.String: "string"}
_DOSES = ", ".join(f"{name} {_SPARK_TYPES[kind]}" for name, kind in DOSES.items())
_TEXTS = (*CHART_COLUMNS, "counts")
_TOLD = "place long, " + ", ".join(f"`{name}` string" for name in _TEXTS)
_SHOWN = 20
PIECE = 250_000  # doses looked at together by one worker
_readers: dict[tuple, Doses] = {}  # of this Python worker


class _Reading(NamedTuple):
    """What a worker needs: as for orders, and the zone of times without an offset."""

    travelling: Travelling
    zone: tzinfo | None

    def doses(self) -> Doses:
        formulary = self.travelling.batch().formulary
        key = (formulary.fingerprint, formulary.as_of, str(self.zone))
        if key not in _readers:
            _readers[key] = Doses(ChartLimits(formulary), self.zone)
        return _readers[key]


def check_charts(
    doses: DataFrame,
    formulary: Formulary,
    *,
    number: str,
    today: date | None = None,
    zone: tzinfo | None = None,
    columns: ColumnMap | None = None,
    shares: int | None = None,
) -> DataFrame:
    """Looks at the doses of each child together, as `dosecheck batch charts` does a file.

    Args:
        doses: one row a dose given at the time in its column `given_at` to the child in `child_id`; others as `check_orders`.
        number: a column of whole numbers, one for each row, by which findings name rows.
        zone: of times without an offset, and of the times in the findings (None: UTC).
        shares: into how many the children are parted (None: as Spark parts any table).

    Returns:
        One row a finding, with the columns of CHART_COLUMNS, all text, in no order.  Rows that are on no chart, since no
        child is named or they cannot be read, are one finding without a child: none is passed over.

    Raises:
        FileError: the columns cannot be read as doses: which, and what to write instead.
    """
    return findings_of(told_of(doses, formulary, number, today or date.today(), zone, columns, shares)).select(*CHART_COLUMNS)


def told_of(
    doses: DataFrame,
    formulary: Formulary,
    number: str,
    today: date,
    zone: tzinfo | None,
    columns: ColumnMap | None,
    shares: int | None = None,
) -> DataFrame:
    """The findings of every share, with `place`, their order within it; and `counts` (JSON) in a row of its own for each share."""
    reading = _Reading(packed(doses, formulary, today, columns, number), zone)
    check_chart_columns(NAME, [name for name in doses.columns if name != number], columns)
    read = over_pieces(doses, partial(_as_doses, reading), _DOSES)
    with without_pandas_warning():
        shared = (read.repartition(shares, "child_id") if shares else read.repartition("child_id")).sortWithinPartitions("child_id", "row")
        return shared.mapInArrow(partial(_told, reading), _TOLD)


def findings_of(told: DataFrame) -> DataFrame:
    return told.where("counts IS NULL")


def _as_doses(reading: _Reading, piece: pa.Table) -> pa.Table:
    """The doses of a piece, each with its own row's number."""
    reader, batch = reading.doses(), reading.travelling.batch()
    chunk, mapped = reading.travelling.read(piece)
    dated = reader.dated(mapped)
    doses = reader.of(dated, batch.answer(dated.rows)["regimen"], first=0)
    return _plain(doses.with_columns(row=chunk.line.cast(pl.Int64).gather(doses["row"])))


def _told(reading: _Reading, batches: Iterable[pa.RecordBatch]) -> Iterator[pa.RecordBatch]:
    """What the charts of a share of the children show, and how many they are."""
    limits, counted = reading.doses().limits, _Counts()
    for part in _children(map(counted.on_charts, map(pl.DataFrame, batches))):
        done = charted(part, limits)
        yield from _as_told(chart_texts(done.found, limits, reading.zone), place=counted.findings)
        counted.add(done)
    if counted.lost:
        yield from _as_told(_on_no_chart(counted), place=-1)
    yield from _as_told(pl.DataFrame({"counts": counted.as_json()}), place=-1)


def _children(pieces: Iterable[pl.DataFrame]) -> Iterator[pl.DataFrame]:
    """All doses of some children at a time, of pieces that are sorted by child; of one with more than MOST, one more."""
    held, enough = pl.DataFrame(schema=DOSES), PIECE
    for doses in pieces:
        held = pl.concat([held, doses])
        if len(held) >= enough:
            last = held["child_id"] == held["child_id"][-1]
            if not last.all():
                yield held.filter(~last)
            held = held.filter(last).head(MOST + 1)
            enough = len(held) + PIECE
    if len(held):
        yield held


class _Counts:
    """What is counted of one share, whose doses come sorted by child and row."""

    def __init__(self) -> None:
        self.rows, self.lost, self.first = 0, 0, []
        self.children, self.findings, self.outcomes = 0, 0, Counter()
        self._last = -1

    def on_charts(self, doses: pl.DataFrame) -> pl.DataFrame:
        """The doses that have a child; each row is counted with the first of its doses, which stand together."""
        first = doses.filter(doses["row"] != doses["row"].shift(1, fill_value=self._last))
        lost = first.filter(pl.col("child_id").is_null())["row"]
        self.rows, self.lost, self.first = self.rows + len(first), self.lost + len(lost), [*self.first, *lost.head(_SHOWN)][:_SHOWN]
        self._last = doses["row"][-1] if len(doses) else self._last
        return doses.filter(pl.col("child_id").is_not_null())

    def add(self, done: Charted) -> None:
        self.children, self.findings = self.children + done.children, self.findings + len(done.found)
        self.outcomes.update(done.outcomes)

    def as_json(self) -> str:
        told = {"rows": self.rows, "on_no_chart": self.lost, "first": self.first, "children": self.children, "outcomes": self.outcomes}
        return json.dumps(told)


def _on_no_chart(counts: _Counts) -> pl.DataFrame:
    why = f"no child is named, or it holds what is no text. So for {counts.lost:,} rows."
    told = {"outcome": NOT_CHECKED, "code": "unreadable", "doses": str(counts.lost), "rows": ", ".join(map(str, counts.first))}
    return pl.DataFrame({**told, "sentence": not_read(why)})


def _as_told(rows: pl.DataFrame, place: int) -> list[pa.RecordBatch]:
    """Rows with the columns of _TOLD, numbered from `place`."""
    places = pl.int_range(place, place + len(rows), eager=True).alias("place")
    texts = [rows[name] if name in rows.columns else pl.repeat(None, len(rows), dtype=pl.String, eager=True).alias(name) for name in _TEXTS]
    return _plain(pl.DataFrame([places, *texts])).to_batches()


def _plain(rows: pl.DataFrame) -> pa.Table:
    """With the plain text columns that Spark knows."""
    table = rows.to_arrow()
    return table.cast(pa.schema((f.name, f.type if pa.types.is_integer(f.type) else pa.string()) for f in table.schema))
