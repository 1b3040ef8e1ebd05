"""Text columns become exact whole-number columns, through the very same readers as a single order.

Each column's distinct texts are read once (`records.py`) and joined back by index, so there is no second reader to
disagree with the first.  A row that the columns cannot hold exactly is marked `slow`: the one-order engine answers it.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from typing import Any, NamedTuple

import polars as pl

from dosecheck.body.age import age_from_parts
from dosecheck.errors import InputError
from dosecheck.formulary.measures import CEILINGS
from dosecheck.records import CHILD_FIELDS, ORDER_FIELDS, Order, read_field
from dosecheck.rules.facts import doses_in_a_day, is_once

FIELDS = tuple(name.rstrip("_") for name in (*ORDER_FIELDS, *CHILD_FIELDS))
FREQUENCY = ("every", "times_a_day", "once", "as_needed", "at_most")
ASKED = ("medicine", "route", "for", "step", "condition", "product")
_LIGHTEST = 10**10  # 10 g: a dose per kg of less might not fit a column
_LARGEST_KEY = 2**62  # combinations are told apart by one whole number, which must fit a column of Int64
_MOST_KNOWN = 200_000  # distinct texts remembered of one column; beyond it the memory starts afresh
_LONGEST_KNOWN = 200  # characters: no field is longer, and notes in a wrong column are no memory's business


class Distinct(NamedTuple):
    """A column as indexes into its distinct values; `values` is in the order of the indexes."""

    index: pl.Series
    values: Sequence[Any]


def distinct(column: pl.Series) -> Distinct:
    """Index and values; null is index null.  A column that is coded already keeps its codes, and may have values that no row has."""
    if isinstance(column.dtype, pl.Enum):
        return Distinct(column.to_physical().cast(pl.UInt32), column.dtype.categories.to_list())
    encoded = column.to_arrow().dictionary_encode()
    return Distinct(pl.Series(encoded.indices).cast(pl.UInt32), encoded.dictionary.to_pylist())


def hashed(column: pl.Series) -> pl.Series:
    """A number for each text, the same in every chunk; null stays null."""
    if isinstance(column.dtype, pl.Enum):
        return column.dtype.categories.hash().gather(column.to_physical().cast(pl.UInt32))
    return pl.select(pl.when(column.is_not_null()).then(column.hash())).to_series()


def combined(columns: Sequence[Distinct]) -> Distinct:
    """Which combination of values each row has; `values` are tuples."""
    first, *rest = columns
    key, sizes, whole = first.index.cast(pl.Int64), len(first.values), [first]
    for place, column in enumerate(rest, 1):
        if sizes * len(column.values) > _LARGEST_KEY:  # what there is so far is numbered anew, so that no key runs over
            before = combined(whole)
            again = combined([Distinct(before.index, before.values), *columns[place:]])
            return Distinct(again.index, [(*start, *others) for start, *others in again.values])
        if len(column.values) > 1 or column.index.null_count():  # else it tells no rows apart
            key = key * len(column.values) + column.index.cast(pl.Int64)
        sizes *= len(column.values)
        whole.append(column)
    index, keys = distinct(key)
    return Distinct(index, [_values(each, columns) for each in keys])


def _values(key: int, columns: Sequence[Distinct]) -> tuple[Any, ...]:
    values = []
    for column in reversed(columns[1:]):
        key, place = divmod(key, len(column.values))
        values.append(column.values[place])
    return (columns[0].values[key], *reversed(values))


class Reader:
    """Reads distinct texts of one field, and remembers them from chunk to chunk."""

    def __init__(self, field: str) -> None:
        self.name = "for_" if field == "for" else field
        self.known: dict[str, tuple[Any, str | None]] = {}

    def read_all(self, texts: list[str]) -> list[tuple[Any, str | None]]:
        """Of each text (value, None), or (None, the fault in words).  A place-holder such as "n/a" is not given."""
        known = self.known
        if len(known) >= _MOST_KNOWN:
            known.clear()
        known.update((text, self._read(text)) for text in texts if text not in known)
        found = [known[text] for text in texts]
        for text in texts:
            if len(text) > _LONGEST_KNOWN:
                del known[text]
        return found

    def _read(self, text: str) -> tuple[Any, str | None]:
        try:
            return read_field(self.name, text), None
        except InputError as error:
            return None, " ".join(map(str, error.faults))


class Columns:
    """The readers of every field, kept over the chunks of one file."""

    def __init__(self) -> None:
        self.readers = {field: Reader(field) for field in FIELDS}
        self._frequencies: dict[tuple, tuple] = {}

    def read(self, rows: pl.DataFrame) -> Read:
        """Reads every known column of `rows` (all text)."""
        given: dict[str, Distinct] = {}
        errors: list[pl.Series] = []
        for field in FIELDS:
            if field not in rows.columns or rows[field].null_count() == len(rows):
                continue
            index, texts = distinct(rows[field])
            read = self.readers[field].read_all(texts)
            given[field] = Distinct(index, [value for value, _ in read])
            if any(fault for _, fault in read):
                errors.append(pl.Series([fault for _, fault in read], dtype=pl.String).gather(index))
        return Read(len(rows), given, _joined(errors, len(rows)))

    def frequency(self, values: tuple) -> tuple:
        """(most, mean as numerator and denominator, gap as numerator and denominator, once) of one combination."""
        if values not in self._frequencies:
            if len(self._frequencies) >= _MOST_KNOWN:
                self._frequencies.clear()
            said = dict(zip(FREQUENCY, values, strict=True))
            self._frequencies[values] = _in_numbers(said)
        return self._frequencies[values]


def _in_numbers(said: dict[str, Any]) -> tuple:
    """What `frequency` gives; the last part is true where a row is left to the one-order engine."""
    slow = (None, None, None, None, None, False, True)
    try:
        order = Order(**{name: value for name, value in said.items() if value is not None})
    except InputError:
        return slow
    most, mean, gap = doses_in_a_day(order)
    ceilings = (*CEILINGS["average"], *CEILINGS["gap"])
    parts = [*_pair(mean), *_pair(gap)]
    too_large = any(part is not None and part > ceiling for part, ceiling in zip(parts, ceilings, strict=True))
    if too_large or (most or 0) > CEILINGS["doses"][0]:
        return slow
    return (most and int(most), *parts, is_once(order), False)


def _pair(value: Any) -> tuple[int | None, int | None]:
    return (None, None) if value is None else (value.numerator, value.denominator)


def _joined(errors: list[pl.Series], height: int) -> pl.Series:
    """All faults of each row in one text, or null."""
    if not errors:
        return pl.Series("error", [None], dtype=pl.String).new_from_index(0, height) if height else pl.Series("error", [], dtype=pl.String)
    frame = pl.DataFrame({str(i): column for i, column in enumerate(errors)})
    joined = frame.select(pl.concat_str(pl.all(), separator=" ", ignore_nulls=True).alias("error")).to_series()
    return joined.replace("", None)


class Read:
    """One chunk, read: distinct values by field, and the faults by row."""

    def __init__(self, height: int, given: dict[str, Distinct], error: pl.Series) -> None:
        self.height, self.given, self.error = height, given, error
        self.frequency = pl.DataFrame()
        self.weight_z = pl.Series(dtype=pl.Int64)

    def column(self, field: str, made: Callable[[Any], Any], dtype: Any) -> pl.Series:
        """A column made from each distinct value of `field`; null where it is not given."""
        if field not in self.given:
            return (
                pl.Series(field, [None], dtype=dtype).new_from_index(0, self.height) if self.height else pl.Series(field, [], dtype=dtype)
            )
        index, values = self.given[field]
        return pl.Series(field, [None if value is None else made(value) for value in values], dtype=dtype).gather(index)

    def dates(self, field: str) -> dict[str, pl.Series]:
        """Of each row's date the months since year 0, the day of the month, and the day of the calendar, counted from 1970."""
        index, values = self.given.get(field, Distinct(pl.Series([0], dtype=pl.UInt32).new_from_index(0, self.height), [None]))
        days = pl.Series(values, dtype=pl.Date)
        parts = {"month": days.dt.year().cast(pl.Int64) * 12 + days.dt.month(), "date": days.dt.day(), "day": days.to_physical()}
        return {name: part.cast(pl.Int64).gather(index) for name, part in parts.items()}

    def rows(self, numbers: list[int]) -> Iterator[dict[str, Any]]:
        """The fields of these rows; None is not given."""
        columns = [(index.gather(numbers).to_list(), values) for index, values in self.given.values()]
        for place in range(len(numbers)):
            told = (None if (code := codes[place]) is None else values[code] for codes, values in columns)
            yield dict(zip(self.given, told, strict=True))

    def is_given(self, field: str) -> pl.Series:
        return self.column(field, lambda value: True, pl.Boolean).fill_null(False)

    def codes(self, field: str) -> pl.Series:
        """UInt32: the index of each row's value, counted from 1; 0 for not given."""
        if field not in self.given:
            return pl.zeros(self.height, dtype=pl.UInt32, eager=True).alias(field)
        index, values = self.given[field]
        missing = [i + 1 for i, value in enumerate(values) if value is None or value == () or value is False]
        codes = (index + 1).fill_null(0)
        return codes.replace(missing, 0).alias(field) if missing else codes.alias(field)

    def combinations(self, fields: tuple[str, ...]) -> Distinct:
        """Which combination of values each row has; `values` are tuples, with None for what is not given."""
        return combined(
            [Distinct(self.codes(field), [None, *self.given[field].values] if field in self.given else [None]) for field in fields]
        )


def exact_int(value: Any) -> int | None:
    """The whole number in base units, or None where it is not whole (the row is then slow)."""
    return value.numerator if value.denominator == 1 else None


def child_columns(read: Read) -> pl.DataFrame:
    """weight (ng), age as an interval in months and days, age of the weight in days, and whether the row is slow."""
    weight = read.column("weight", lambda w: exact_int(w.value), pl.Int64).alias("weight")
    stated = {
        name: read.column("age", lambda parts, name=name: _stated(parts, name), pl.Int64)
        for name in ("months_lo", "months_hi", "days_lo", "days_hi")
    }
    dates = {f"{field}_{name}": part for field in ("born", "on", "weighed") for name, part in read.dates(field).items()}
    frame = pl.DataFrame({"weight": weight, **stated, **dates})
    born, on, weighed = (pl.col(f"{field}_day") for field in ("born", "on", "weighed"))
    months = pl.col("on_month") - pl.col("born_month") - (pl.col("on_date") < pl.col("born_date")).cast(pl.Int64)
    slow = (
        (pl.lit(read.is_given("weight")) & pl.col("weight").is_null())
        | (pl.col("weight") < _LIGHTEST)
        | (pl.lit(read.is_given("age")) & (pl.col("months_lo").is_null() | born.is_not_null()))
        | (born > on)
        | (months > 1440)
        | (weighed > on)
        | (weighed < born)
        | ((born.is_not_null() | weighed.is_not_null()) & on.is_null())
    )
    return frame.select(
        "weight",
        *(pl.coalesce(name, months if name.startswith("months") else on - born).alias(name) for name in stated),
        (on - weighed).alias("weight_days"),
        slow.fill_null(False).alias("slow"),
    )


def _stated(parts: Any, name: str) -> int | None:
    try:
        return getattr(age_from_parts(**parts._asdict()), name)
    except ValueError:  # no age in completed units: the one-order engine says so
        return None
