"""The figures of the regimens met, as columns of numbers with one row a regimen: what the rows of orders are held against.

Comparisons of one sort (the same measure, at most or at least, of the same end of the dose) share a column, so that
orders of any number of regimens are answered by the same few operations.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from typing import NamedTuple

import polars as pl

from dosecheck.formulary.limits import Limit
from dosecheck.formulary.measures import AT_MOST, MEASURES
from dosecheck.formulary.medicine import Regimen

MOST_DIGITS = 39  # 3^39 still fits a column of Int64
SHOWN_MOST = 10**14  # in base units, beyond any dose that columns hold: a larger maximum is shown as this
_IN_COLUMNS = {"dose", "weight", "doses", "average", "gap", "course", "given"}
_OF_A_DOSE = {"dose", "weight", "doses", "average", "given"}


def comparisons_of(regimen: Regimen) -> int:
    return sum(len(limit.comparisons) for limit in regimen.limits)


class Sort(NamedTuple):
    """What comparisons of one column have in common; `nth` counts those of one regimen.  `upper`: of the top of the dose."""

    measure: str
    sense: str
    upper: bool
    nth: int

    @property
    def shows_bound(self) -> bool:
        """Whether what it allows for one dose can be reckoned."""
        over, under = MEASURES[self.measure].over, MEASURES[self.measure].under
        return self.upper and self.sense == AT_MOST and over[0] == "dose" and {*over, *under} <= _OF_A_DOSE


class Place(NamedTuple):
    """One comparison of one regimen: `digit` its place in the regimen's number of answers.

    `limit`: where it is the main one of an upper limit, the limit's place in the regimen, and `floor` the single dose
    that is allowed whatever else the limit says, if any; else None.
    """

    p: int
    q: int
    digit: int
    limit: int | None
    floor: int | None


class Column(NamedTuple):
    """One sort's figures, a row a regimen; a regimen without such a comparison has the digit 0.  `largest`: of p and of q."""

    p: pl.Series
    q: pl.Series
    digit: pl.Series
    limit: pl.Series
    floor: pl.Series
    largest: tuple[int, int]


class Figures:
    """Numbers the regimens as they are met."""

    def __init__(self) -> None:
        self.regimens: list[Regimen] = []
        self.texts: list[str] = []  # of every limit
        self._offsets: list[int] = []
        self._numbers: dict[int, int] = {}
        self._sorts: dict[Sort, dict[int, Place]] = {}
        self._columns: dict[Sort, Column] = {}
        self.offset = pl.Series([], dtype=pl.Int64)
        self.has_total = pl.Series([], dtype=pl.Boolean)

    def number(self, regimen: Regimen) -> int:
        """Its row; figures of new regimens are in the columns after `settle`."""
        if id(regimen) not in self._numbers:
            number = self._numbers[id(regimen)] = len(self.regimens)
            self.regimens.append(regimen)
            self._offsets.append(len(self.texts))
            self.texts += [f"{limit.name}, {limit.text}" for limit in regimen.limits]
            for sort, place in _places(regimen):
                self._sorts.setdefault(sort, {})[number] = place
        return self._numbers[id(regimen)]

    def settle(self) -> None:
        """Make the columns anew where regimens have come."""
        if len(self.offset) == len(self.regimens):
            return
        self.offset = pl.Series(self._offsets, dtype=pl.Int64)
        self.has_total = pl.Series([any(limit.code == "total-above-max" for limit in r.limits) for r in self.regimens], dtype=pl.Boolean)
        self._columns = {sort: _column(places, len(self.regimens)) for sort, places in self._sorts.items()}

    def columns(self, regimens: set[int]) -> dict[Sort, Column]:
        """Those in which any of these regimens has a figure."""
        return {sort: column for sort, column in self._columns.items() if not regimens.isdisjoint(self._sorts[sort])}


def _places(regimen: Regimen) -> Iterator[tuple[Sort, Place]]:
    """The comparisons that columns can answer; of the others a fact is always missing."""
    seen: Counter[tuple] = Counter()
    digit = -1
    for number, limit in enumerate(regimen.limits):
        upper = limit.main.sense == AT_MOST
        for each in limit.comparisons:
            digit += 1
            measure = MEASURES[each.measure]
            if not {*measure.over, *measure.under} <= _IN_COLUMNS:
                continue
            about = (each.measure, each.sense, upper)
            shown = number if each is limit.main and upper and not limit.beyond else None
            yield Sort(*about, seen[about]), Place(each.p, each.q, 3**digit, shown, _floor(limit))
            seen[about] += 1


def _floor(limit: Limit) -> int | None:
    """The largest single dose that one of the limit's exceptions allows."""
    floors = (min(c.p // c.q, SHOWN_MOST) for c in limit.comparisons[1:] if c.measure == "dose" and c.sense == AT_MOST)
    return max(floors, default=None)


def _column(places: dict[int, Place], regimens: int) -> Column:
    rows = [places.get(n, Place(0, 1, 0, None, None)) for n in range(regimens)]
    largest = max(place.p for place in rows), max(place.q for place in rows)
    number = pl.Int64 if max(largest) < 2**63 else pl.Int128
    kinds = (number, number, pl.Int64, pl.Int64, pl.Int64)
    return Column(*(pl.Series(values, dtype=kind) for values, kind in zip(zip(*rows, strict=True), kinds, strict=True)), largest)


def limit_states(regimen: Regimen, number: int) -> tuple[int, ...]:
    """Of each limit, from the regimen's number of answers: 1 met (any comparison holds), 2 broken, 0 a fact is missing."""
    states = []
    for limit in regimen.limits:
        digits = set()
        for _ in limit.comparisons:
            number, digit = divmod(number, 3)
            digits.add(digit)
        states.append(1 if 1 in digits else 0 if 0 in digits else 2)
    return tuple(states)
