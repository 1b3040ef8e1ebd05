"""What charts in bulk show, as text: one row a finding, in the catalogue's sentences; times in a zone, amounts with units.

Whole columns are put together.  What stands in them is written by the functions that write it for a single order, once
for each value that differs (`chart_parts.py`).
"""

from __future__ import annotations

from datetime import UTC, tzinfo
from string import Formatter

import polars as pl

from dosecheck.batch.chart_limits import ChartLimits
from dosecheck.batch.chart_parts import parts
from dosecheck.batch.local_times import local_times
from dosecheck.records import NOT_CHECKED, QUERY, STOP, WITHIN
from dosecheck.rules.catalogue import CATALOGUE
from dosecheck.rules.windows import DAY

CHART_COLUMNS = (
    "child_id",
    "ingredient",
    "outcome",
    "code",
    "at",
    "window_start",
    "value",
    "limit",
    "doses",
    "first_at",
    "last_at",
    "rows",
    "regimen",
    "source",
    "sentence",
)
_OUTCOMES = (WITHIN, QUERY, NOT_CHECKED, STOP)
_WINDOWED = ("too-many-with-earlier", "day-above-with-earlier")


def chart_texts(found: pl.DataFrame, limits: ChartLimits, zone: tzinfo | None = None) -> pl.DataFrame:
    """The columns of CHART_COLUMNS, all text, for each row of `found` (`charts.FOUND`), in its order.

    `window_start` is outside its window: a dose given exactly then is not counted.
    """
    zone = zone or UTC
    told = parts(found, limits)
    at = local_times(found["at"], zone)
    earliest = found.select(pl.col("at") - pl.col("value").cast(pl.Int64) + told["gap"]).to_series()
    told = told.with_columns(found["code"], next=local_times(earliest, zone)["said"], which=_which(found), lead=_lead(found, at["said"]))
    return found.select(
        "child_id",
        told["ingredient"],
        pl.col("rank").replace_strict(dict(enumerate(_OUTCOMES)), return_dtype=pl.String).alias("outcome"),
        "code",
        at["iso"].alias("at"),
        pl.when(pl.col("code").is_in(_WINDOWED)).then(local_times(found["at"] - DAY, zone)["iso"]).alias("window_start"),
        told["value"],
        told["limit"],
        pl.col("doses").cast(pl.String),
        local_times(found["since"], zone)["iso"].alias("first_at"),
        local_times(found["until"], zone)["iso"].alias("last_at"),
        pl.col("rows").cast(pl.List(pl.String)).list.join(", "),
        told["regimen"],
        told["source"],
        _sentences(told),
    )


def _sentences(told: pl.DataFrame) -> pl.Series:
    """The catalogue's sentence for each finding, with its parts in their places."""
    told = told.with_row_index("place")
    parts = [
        rows.select("place", pl.concat_str("lead", *_pieces(code)).alias("sentence"))
        for (code,), rows in told.partition_by("code", as_dict=True).items()
    ]
    return pl.concat(parts).sort("place")["sentence"] if parts else pl.Series("sentence", [], dtype=pl.String)


def _pieces(code: str) -> list[pl.Expr]:
    return [
        each
        for text, field, *_ in Formatter().parse(CATALOGUE[code].sentence)
        for each in (pl.lit(text), *([pl.col(field)] if field else []))
    ]


def _lead(found: pl.DataFrame, said: pl.Series) -> pl.Series:
    """Which dose the sentence is about, where it is about one."""
    several = pl.concat_str(pl.lit(", the worst of "), _with_commas(pl.col("doses")), pl.lit(" doses one after another"))
    lead = pl.concat_str(pl.lit("At "), said, pl.when(pl.col("doses") > 1).then(several).otherwise(pl.lit("")), pl.lit(": "))
    return found.select(pl.when(pl.col("since").is_not_null()).then(lead).otherwise(pl.lit(""))).to_series()


def _which(found: pl.DataFrame) -> pl.Series:
    """ "row 3", "rows 3 and 9", "rows 1, 2, 3 and 40 more"; null where the sentence is about one dose of a stretch."""
    alike = found.select("doses", pl.when(pl.col("since").is_null()).then("rows").list.eval(_with_commas(pl.element())).alias("rows"))
    rows, shown = pl.col("rows"), pl.col("rows").list.len().cast(pl.Int64)
    several = pl.concat_str(pl.lit("rows "), rows.list.join(", "), pl.lit(" and "), _with_commas(pl.col("doses") - shown), pl.lit(" more"))
    all_of_them = pl.concat_str(pl.lit("rows "), rows.list.head(shown - 1).list.join(", "), pl.lit(" and "), rows.list.last())
    words = pl.when(shown == 1).then("row " + rows.list.first()).when(pl.col("doses") > shown).then(several).otherwise(all_of_them)
    return alike.select(words).to_series()


def _with_commas(number: pl.Expr) -> pl.Expr:
    """A whole number below 10^15 with its thousands separated."""
    text = number.cast(pl.String)
    for _ in range(4):
        text = text.str.replace("^([0-9]+)([0-9]{3})(,|$)", "${1},${2}${3}")
    return text
