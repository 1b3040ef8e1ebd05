"""Whole charts on Spark: rows become doses where they stand, and all doses of each child are looked at together.

The doses are grouped by shares of the children, not child by child, so that a worker is called some hundred times and
not once for each child; a share is looked at by the very functions that answer a file here (`charts.py`).
"""

from __future__ import annotations

from datetime import date, tzinfo
from functools import partial
from typing import TYPE_CHECKING, NamedTuple

import polars as pl
import pyarrow as pa

from dosecheck.batch.chart_file import check_chart_columns
from dosecheck.batch.chart_limits import ChartLimits
from dosecheck.batch.chart_words import CHART_COLUMNS, chart_texts
from dosecheck.batch.charts import chart_rows
from dosecheck.batch.colmap import ColumnMap
from dosecheck.batch.doses import DOSES, Doses
from dosecheck.batch.spark import NAME, Travelling, over_pieces, packed, without_pandas_warning
from dosecheck.batch.texts import not_read
from dosecheck.formulary.load import Formulary
from dosecheck.records import NOT_CHECKED

if TYPE_CHECKING:
    from pyspark.sql import DataFrame

_SPARK_TYPES = {pl.Int64: "long", pl.Int32: "int", pl.String: "string"}
_DOSES = ", ".join(f"{name} {_SPARK_TYPES[kind]}" for name, kind in DOSES.items())
_FINDINGS = ", ".join(f"`{name}` string" for name in CHART_COLUMNS)
_SHOWN = 20
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
    shares: int = 200,
) -> DataFrame:
    """Looks at the doses of each child together, as `dosecheck batch charts` does a file.

    Args:
        doses: one row a dose given at the time in its column `given_at` to the child in `child_id`; others as `check_orders`.
        number: a column of whole numbers, one for each row, by which findings name rows.
        zone: of times without an offset, and of the times in the findings (None: UTC).
        shares: into how many the children are parted; each has to fit a worker's memory.

    Returns:
        One row a finding, with the columns of CHART_COLUMNS, all text, in no order.  Rows that are on no chart, since no
        child is named or they cannot be read, are one finding without a child: none is passed over.

    Raises:
        FileError: the columns cannot be read as doses: which, and what to write instead.
    """
    from pyspark.sql import functions as F

    reading = _Reading(packed(doses, formulary, today, columns, number), zone)
    check_chart_columns(NAME, [name for name in doses.columns if name != number], columns)
    read = over_pieces(doses, partial(_as_doses, reading), _DOSES)

    def of_share(share: pa.Table) -> pa.Table:  # Spark asks its hints for what it is
        return _findings(reading, share)

    with without_pandas_warning():
        return read.groupBy(F.pmod(F.hash("child_id"), F.lit(shares))).applyInArrow(of_share, _FINDINGS)


def _as_doses(reading: _Reading, piece: pa.Table) -> pa.Table:
    """The doses of a piece, each with its own row's number."""
    reader, batch = reading.doses(), reading.travelling.batch()
    chunk, mapped = reading.travelling.read(piece)
    dated = reader.dated(mapped)
    doses = reader.of(dated, batch.answer(dated.rows)["regimen"], first=0)
    return _plain(doses.with_columns(row=chunk.line.cast(pl.Int64).gather(doses["row"])))


def _findings(reading: _Reading, share: pa.Table) -> pa.Table:
    """What the charts of a share of the children show."""
    doses, limits = pl.DataFrame(share).select(list(DOSES)), reading.doses().limits
    told = chart_texts(chart_rows(doses, limits), limits, reading.zone)
    lost = doses.filter(pl.col("child_id").is_null())["row"].unique().sort()
    return _plain(pl.concat([told, _on_no_chart(lost)]) if len(lost) else told)


def _on_no_chart(rows: pl.Series) -> pl.DataFrame:
    shown = ", ".join(map(str, rows.head(_SHOWN)))
    why = f"no child is named, or it holds what is no text. So for {len(rows):,} rows."
    told = {"outcome": NOT_CHECKED, "code": "unreadable", "doses": str(len(rows)), "rows": shown, "sentence": not_read(why)}
    return pl.DataFrame([[told.get(name) for name in CHART_COLUMNS]], schema=dict.fromkeys(CHART_COLUMNS, pl.String), orient="row")


def _plain(rows: pl.DataFrame) -> pa.Table:
    """With the plain text columns that Spark knows."""
    table = rows.to_arrow()
    return table.cast(pa.schema((f.name, f.type if pa.types.is_integer(f.type) else pa.string()) for f in table.schema))
