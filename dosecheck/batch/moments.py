"""A column of dates with a time of day as instants: each distinct hour is read by the one strict reader of times.

Minutes and seconds are added where the hour runs on evenly; where the clocks change within it, each text is read alone.
"""

from __future__ import annotations

from datetime import tzinfo

import polars as pl

from dosecheck.batch.columns import distinct
from dosecheck.errors import TextError
from dosecheck.reading.clock import Instants, at_instant, read_instant

_SHAPE = r"^([0-9]{4}-[0-9]{2}-[0-9]{2}[ T][0-9]{2}):([0-5][0-9])(?::([0-5][0-9]))?( ?(?:Z|[+-][0-9]{2}:[0-9]{2}))?$"
_MOST_KNOWN = 200_000
_EMPTY = {"at": pl.Int64, "at_last": pl.Int64, "fault": pl.String, "day": pl.Int32}


class Moments:
    """Reads times given, and remembers them from chunk to chunk.

    Args:
        zone: the zone of local times; None: each must have its offset.
    """

    def __init__(self, zone: tzinfo | None) -> None:
        self.zone = zone
        self._known: dict[str, tuple] = {}

    def read(self, column: pl.Series) -> pl.DataFrame:
        """`at`, `at_last` (Int64, seconds since 1970 UTC: the same, but for an hour that came twice), `fault` (why it
        cannot be read) and `day` (Int32, the local date as a number); all null where no time is given."""
        encoded = column.to_arrow().dictionary_encode()
        index, texts = pl.Series(encoded.indices).cast(pl.UInt32), pl.Series("text", encoded.dictionary, dtype=pl.String)
        parts = texts.to_frame().select(
            hour=pl.col("text").str.extract(_SHAPE, 1) + "|" + pl.col("text").str.extract(_SHAPE, 4).fill_null(""),
            seconds=pl.col("text").str.extract(_SHAPE, 2).cast(pl.Int64) * 60
            + pl.col("text").str.extract(_SHAPE, 3).cast(pl.Int64).fill_null(0),
        )
        hours = self._table(parts["hour"], self._hour)
        even = hours.with_columns(pl.col("at", "at_last") + parts["seconds"])
        alone = even["at"].is_null()
        if alone.any():
            read = self._table(pl.select(pl.when(alone).then(texts)).to_series(), self._text)
            even = even.with_columns(pl.when(alone).then(read[name]).otherwise(name).alias(name) for name in _EMPTY)
        return even[index]

    def _table(self, texts: pl.Series, read) -> pl.DataFrame:
        index, values = distinct(texts)
        return (
            pl.DataFrame([self._remembered(value, read) for value in values], schema=_EMPTY, orient="row")[index]
            if values
            else (pl.DataFrame(schema=_EMPTY).clear(len(texts)))
        )

    def _remembered(self, text: str, read) -> tuple:
        if text not in self._known:
            if len(self._known) >= _MOST_KNOWN:
                self._known.clear()
            self._known[text] = read(text)
        return self._known[text]

    def _hour(self, text: str) -> tuple:
        """The start of an hour through which the clocks run evenly; nulls where they do not."""
        hour, _, offset = text.partition("|")
        ends = [self._instants(f"{hour}:{rest}{offset}") for rest in ("00:00", "59:59")]
        if any(isinstance(end, str) or end.first != end.last for end in ends) or ends[1].first - ends[0].first != 3599:
            return (None, None, None, None)
        return (ends[0].first, ends[0].last, None, self._day(ends[0]))

    def _text(self, text: str) -> tuple:
        read = self._instants(text)
        return (None, None, read, None) if isinstance(read, str) else (read.first, read.last, None, self._day(read))

    def _instants(self, text: str) -> Instants | str:
        try:
            return read_instant(text, self.zone, "time of the dose")
        except TextError as error:
            return str(error)

    def _day(self, read: Instants) -> int:
        return at_instant(read.first, read.zone).date().toordinal()
