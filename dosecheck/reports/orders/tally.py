"""A result counted chunk after chunk: what is kept does not grow with the number of rows, apart from the values that are
counted by (each medicine, ward or prescriber once).
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence

import polars as pl

from dosecheck.records import NOT_CHECKED, QUERY, STOP
from dosecheck.reports.orders.ranges import STEPS, Scales
from dosecheck.reports.orders.reasons import Reason, Reasons
from dosecheck.reports.orders.results import TEXTS

MEDICINE = "medicine"
_NOT_GIVEN = "(not given)"
MOST_VALUES = 50_000  # of one column that is counted by
_WORST_FIRST = {STOP: 0, QUERY: 1}
_FIRST = {"row": pl.Int64, **dict.fromkeys(TEXTS, pl.String), "times": pl.Int64}


class Tally:
    """Everything that a report says of one result.

    Args:
        by: columns of the file to count by, besides the medicine.
        first: how many orders to keep as those to look at first.
    """

    def __init__(self, scales: Scales, by: Sequence[str], first: int) -> None:
        self.scales, self.rows = scales, 0
        self.outcomes: Counter[str] = Counter()
        self._most = first
        self.first = pl.DataFrame(schema=_FIRST)
        self._groups: dict[str, list[pl.DataFrame]] = {name: [] for name in (MEDICINE, *by)}
        self._codes: list[pl.DataFrame] = []
        self._unchecked = Reasons()
        self._bars: list[pl.DataFrame] = []

    def add(self, frame: pl.DataFrame) -> None:
        """One frame of `read_results`."""
        self.rows += frame.height
        self.outcomes.update(dict(frame["outcome"].value_counts().iter_rows()))
        self._look_first(frame)
        for name, kept in self._groups.items():
            kept[:] = [_summed([*kept, self._by(frame, name)], "value", "outcome")]
        self._codes = [_summed([*self._codes, self._by_codes(frame)], "value", "codes", "outcome")]
        self._unchecked.add(frame)
        self._bars = [_drawn([*self._bars, self._bar(frame)])]

    @property
    def too_many(self) -> str:
        """The column with more values than anybody counts by, such as an id; "" where there is none."""
        sums = ((name, kept[0]["value"]) for name, kept in self._groups.items() if kept)
        return next((name for name, values in sums if len(values) > MOST_VALUES and values.n_unique() > MOST_VALUES), "")

    def _look_first(self, frame: pl.DataFrame) -> None:
        """Stops before queries; among either, those furthest over the most for one dose, compared in whole thousandths."""
        flagged = frame.filter(pl.col("outcome").is_in(list(_WORST_FIRST))).select(list(_FIRST))
        both = pl.concat([self.first, flagged]).with_columns(rank=pl.col("outcome").replace_strict(_WORST_FIRST, return_dtype=pl.Int8))
        ordered = both.sort("rank", "times", "row", descending=[False, True, False], nulls_last=True)
        self.first = ordered.head(self._most).drop("rank")

    def _by(self, frame: pl.DataFrame, name: str) -> pl.DataFrame:
        column = MEDICINE if name == MEDICINE else f"by {name}"
        counted = frame.group_by(pl.col(column).alias("value"), "outcome").len()
        return self._named(counted) if name == MEDICINE else counted.with_columns(pl.col("value").fill_null(_NOT_GIVEN))

    def _by_codes(self, frame: pl.DataFrame) -> pl.DataFrame:
        return self._named(frame.drop_nulls("codes").group_by(pl.col(MEDICINE).alias("value"), "codes", "outcome").len())

    def _named(self, counted: pl.DataFrame) -> pl.DataFrame:
        ordered = counted.sort(counted.columns)  # which names come too late to be kept does not hang on chance
        return ordered.with_columns(pl.Series("value", [self.scales.name(each) for each in ordered["value"]], dtype=pl.String))

    def _bar(self, frame: pl.DataFrame) -> pl.DataFrame:
        """How many rows lie in each bar of each scale; `zone` is -1 below the range, 0 in it, 1 above."""
        placed = self.scales.place(frame)
        known = self.scales.known
        ends = pl.DataFrame(
            [(n, s.low or 0, s.high) for n, s in enumerate(known)],
            schema={"scale": pl.Int64, "low": pl.Int64, "high": pl.Int64},
            orient="row",
        )
        wide = placed.join(ends, on="scale", how="left").with_columns(
            zone=(pl.col("value") > pl.col("high")).cast(pl.Int8) - (pl.col("value") < pl.col("low")).cast(pl.Int8),
            bar=pl.min_horizontal((pl.col("value") * STEPS - 1).clip(0) // pl.col("high"), pl.lit(2 * STEPS)),
        )
        return wide.group_by("scale", "zone", "bar", "outcome").agg(pl.len(), pl.col("value").max())

    # ---- asked when all rows are in ----

    def groups(self, name: str) -> list[tuple[str, Counter[str]]]:
        """Each value with its outcomes, the one with most rows first."""
        found: dict[str, Counter[str]] = {}
        for value, outcome, count in pl.concat(self._groups[name]).iter_rows() if self._groups[name] else ():
            found.setdefault(value, Counter())[outcome] += count
        return sorted(found.items(), key=lambda item: (-item[1].total(), item[0]))

    def codes(self) -> list[tuple[str, Counter[str]]]:
        """Each finding code with the outcomes of the rows that have it, the most frequent first."""
        found: dict[str, Counter[str]] = {}
        for _, code, outcome, count in self._each_code():
            found.setdefault(code, Counter())[outcome] += count
        return sorted(found.items(), key=lambda item: (-item[1].total(), item[0]))

    def pairs(self) -> list[tuple[str, str, int]]:
        """Each medicine and finding code with the number of stops and queries that have it, the most frequent first."""
        found: Counter[tuple[str, str]] = Counter()
        for medicine, code, outcome, count in self._each_code():
            found[medicine, code] += count * (outcome in _WORST_FIRST)
        return sorted(((*pair, count) for pair, count in found.items() if count), key=lambda each: (-each[2], each[:2]))

    def _each_code(self) -> Iterator[tuple[str, str, str, int]]:
        for medicine, codes, outcome, count in self._codes[0].iter_rows() if self._codes else ():
            yield from ((medicine, code, outcome, count) for code in codes.split(";") if code)

    def unchecked(self) -> list[Reason]:
        """The most frequent first."""
        medicines: dict[str, Counter[str]] = {}
        for medicine, codes, outcome, count in self._codes[0].iter_rows() if self._codes else ():
            if outcome == NOT_CHECKED:
                medicines.setdefault(codes, Counter())[medicine] += count
        return self._unchecked.all(medicines)

    def bars(self) -> dict[int, pl.DataFrame]:
        """The bars of each scale by its number."""
        return {number: rows for (number,), rows in self._bars[0].partition_by("scale", as_dict=True).items()} if self._bars else {}


def _summed(frames: list[pl.DataFrame], *keys: str) -> pl.DataFrame:
    return pl.concat([f.select(*keys, pl.col("len").cast(pl.Int64)) for f in frames]).group_by(keys).agg(pl.col("len").sum()).sort(keys)


def _drawn(frames: list[pl.DataFrame]) -> pl.DataFrame:
    keys = ("scale", "zone", "bar", "outcome")
    return pl.concat(f.cast({"len": pl.Int64}) for f in frames).group_by(keys).agg(pl.col("len").sum(), pl.col("value").max()).sort(keys)
