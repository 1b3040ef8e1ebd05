"""A column of instants as local times: the zone is asked once for each hour, minutes and seconds are reckoned by columns.

Where the clocks change within an hour, it is asked for each instant.
"""

from __future__ import annotations

from datetime import UTC, datetime, timedelta, timezone, tzinfo

import polars as pl

from dosecheck.batch.each import each
from dosecheck.reading.clock import at_instant

_HOUR = 3600


def local_times(instants: pl.Series, zone: tzinfo) -> pl.DataFrame:
    """`iso` ("2026-05-04T08:10:00+01:00") and `said` ("2026-05-04 08:10", which names UTC); null where there is none.

    Args:
        instants: Int64, seconds since 1970-01-01 00:00 UTC.
    """
    offset = _offsets(instants.alias("at"), zone).alias("east")
    mark = each(offset.to_frame(), lambda east: None if east is None else _mark(east, zone))
    local = pl.DataFrame({"local": pl.from_epoch(instants + offset), "mark": mark})
    return local.select(
        iso=pl.col("local").dt.strftime("%Y-%m-%dT%H:%M:%S") + pl.col("mark"),
        said=pl.col("local").dt.strftime("%Y-%m-%d %H:%M" + " UTC" * (zone is UTC)),
    )


def _offsets(instants: pl.Series, zone: tzinfo) -> pl.Series:
    """Seconds east of UTC at each instant."""

    def of_hour(hour: int | None) -> int | None:
        ends = None if hour is None else {_offset(hour * _HOUR, zone), _offset(hour * _HOUR + _HOUR - 1, zone)}
        return ends.pop() if ends and len(ends) == 1 else None

    even = each((instants // _HOUR).to_frame(), of_hour, pl.Int64)
    uneven = even.is_null() & instants.is_not_null()
    if not uneven.any():
        return even
    alone = each(instants.to_frame().select(pl.when(uneven).then("at")), lambda at: None if at is None else _offset(at, zone), pl.Int64)
    return pl.select(pl.coalesce(even, alone)).to_series()


def _offset(instant: int, zone: tzinfo) -> int:
    return at_instant(instant, zone).utcoffset() // timedelta(seconds=1)


def _mark(east: int, zone: tzinfo) -> str:
    """ "+01:00", "Z"."""
    if zone is UTC:
        return "Z"
    return datetime(1970, 1, 1, tzinfo=timezone(timedelta(seconds=east))).isoformat()[19:]
