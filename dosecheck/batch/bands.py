"""Cells: the children to whom the same regimens and age limits of one way of asking apply, and which row is in which.

Each way cuts each fact of a child (its age in months, its weight ...) at its own edges.  A row's place among them is
counted by columns; a cell, a way with one place for each fact, is then decided once, by the one-order engine's own bands.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import NamedTuple

import polars as pl

from dosecheck.batch.columns import Distinct, combined
from dosecheck.batch.ways import Way
from dosecheck.formulary.cells import AGE_FACTS, Band
from dosecheck.formulary.measures import Ratio
from dosecheck.formulary.medicine import Regimen
from dosecheck.rules.judge import answer_limit

FACTS = (*AGE_FACTS, "weight")
_CERTAIN_MONTHS = 36  # from here on an untold gestation no longer matters to any sensible band


class Slot(NamedTuple):
    """One reading of a cell: a regimen of an ingredient, or none; `unknown` when its band cannot be decided."""

    ingredient: str
    regimen: Regimen | None
    unknown: bool


class Cell(NamedTuple):
    """`held`: of each age limit of the shelf, 1 met, 2 broken, 0 a fact is missing."""

    way: Way
    slots: tuple[Slot, ...]
    held: tuple[int, ...]

    def compared(self, slot: int) -> Regimen | None:
        """The regimen that the rows' doses are held against in this slot, if there is one."""
        if slot >= len(self.slots) or self.slots[slot].unknown or self.way.asked.infusion is None:
            return None
        return self.slots[slot].regimen

    @property
    def slow(self) -> bool:
        """There is no one unit to write the numbers in."""
        return len({slot.regimen.kind for slot in self.slots if slot.regimen}) > 1


class Cells:
    """The cells met so far, over all chunks."""

    def __init__(self) -> None:
        self.known: list[Cell] = []
        self._numbers: dict[tuple, int] = {}

    def numbered(self, ways: list[Way], rows: pl.DataFrame) -> tuple[pl.Series, pl.Series]:
        """Which rows are cut off (an age across an edge, or a baby whose gestation matters), and the cell of each row.

        Args:
            ways: all that are known.
            rows: `way`, `weight`, and the ends of the age in months and in days.
        """
        cut, places = _placed(ways, rows)
        index, found = combined([Distinct(rows["way"], ways), *places.values()])
        numbers = [self._number(way, dict(zip(places, of_way, strict=True))) for way, *of_way in found]
        return cut, pl.Series(numbers, dtype=pl.UInt32).gather(index)

    def _number(self, way: Way, places: dict[str, int]) -> int:
        inside = {fact: point for fact, place in places.items() if (point := _point(way, fact, place)) is not None}
        about = (way.number, *inside.items())
        if about not in self._numbers:
            self._numbers[about] = len(self.known)
            self.known.append(_cell(way, inside))
        return self._numbers[about]


def _edges(ways: list[Way]) -> dict[str, list[pl.Series]]:
    """By fact, the ways' first edges, their second ones ...; null where a way has no more."""
    edges = {}
    for fact in FACTS:
        found = [way.edges.get(fact, []) for way in ways]
        deepest = max(map(len, found), default=0)
        if deepest:
            edges[fact] = [pl.Series([each[n] if n < len(each) else None for each in found], dtype=pl.Int64) for n in range(deepest)]
    return edges


def _placed(ways: list[Way], rows: pl.DataFrame) -> tuple[pl.Series, dict[str, Distinct]]:
    """`cut`; and by fact each row's place among the edges of its way: 0 not known, 1 below the first edge ..."""
    edges, way = _edges(ways), pl.col("way")
    points = rows.select(((pl.col("months_lo") == pl.col("months_hi")) & (pl.col("days_lo") == pl.col("days_hi"))).all()).item()
    babies = pl.Series([each.asks_birth for each in ways], dtype=pl.Boolean)
    cut = pl.lit(babies).gather(way) & (pl.col("months_lo") < _CERTAIN_MONTHS) if babies.any() else pl.lit(False)
    places = {}
    for fact in FACTS:
        low, high = _interval(fact)
        lists = edges.get(fact, [])
        if not lists and fact != "months":  # months also tell whether an age is known at all
            continue
        place = _above(low, lists, way)
        if lists and low is not high and not (points and fact in ("months", "days")):
            cut = cut | (_above(high, lists, way) != place)
        places[fact] = pl.when(low.is_null()).then(0).otherwise(place + 1)
    made = rows.select(cut.fill_null(False).alias("cut"), **places)
    return made["cut"], {fact: Distinct(made[fact], range(len(edges.get(fact, [])) + 2)) for fact in places}


def _above(value: pl.Expr, edges: list[pl.Series], way: pl.Expr) -> pl.Expr:
    """How many of its way's edges the value has come to."""
    return pl.sum_horizontal(pl.lit(0, dtype=pl.Int64), *((value >= pl.lit(edge).gather(way)).cast(pl.Int64) for edge in edges))


def _interval(fact: str) -> tuple[pl.Expr, pl.Expr]:
    """Lowest and highest value of a fact; with an untold gestation, anything possible."""
    months, days, weight = (pl.col("months_lo"), pl.col("months_hi")), (pl.col("days_lo"), pl.col("days_hi")), pl.col("weight")
    return {
        "months": months,
        "days": days,
        "weight": (weight, weight),
        "corrected months": (months[0] - 6, months[1]),
        "corrected days": (days[0] - 141, days[1]),
        "postmenstrual days": (days[0] + 140, days[1] + 321),
    }[fact]


def _point(way: Way, fact: str, place: int) -> int | None:
    """A value that stands for all of its place; None where the fact is not known."""
    edges = way.edges.get(fact, [])
    if not place:
        return None
    return edges[place - 2] if place > 1 else (edges[0] - 1 if edges else 0)


def _cell(way: Way, inside: dict[str, int]) -> Cell:
    facts: dict[str, Ratio] = {fact: (value, 1) for fact, value in inside.items()}
    answers = [answer_limit(entry.limit, facts) for entry in way.shelf.age_limits]
    held = tuple(1 if answer is True else 2 if answer is False else 0 for answer in answers)
    return Cell(way, tuple(_slots(way, inside)) if "months" in inside else (), held)


def _slots(way: Way, inside: dict[str, int]) -> Iterator[Slot]:
    """In the order of the shelf; an ingredient for which nothing fits has an empty one."""
    for ingredient, regimens in way.shelf.regimens.items():
        fits = [(regimen, _fits(regimen, inside)) for regimen in regimens]
        found = [Slot(ingredient, regimen, fit is None) for regimen, fit in fits if fit is not False]
        yield from found or [Slot(ingredient, None, False)]


def _fits(regimen: Regimen, inside: dict[str, int]) -> bool | None:
    """None where it cannot be told."""
    inside_all = [_holds(band, inside) for band in regimen.bands]
    return False if False in inside_all else None if None in inside_all else True


def _holds(band: Band, inside: dict[str, int]) -> bool | None:
    value = inside.get(band.fact)
    return band.holds(None if value is None else (value, value))
