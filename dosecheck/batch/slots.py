"""Rows whose cell is known become classes: slot after slot of their cells is compared by columns, and each class judged once."""

from __future__ import annotations

from collections.abc import Hashable, Iterator

import polars as pl

from dosecheck.batch.alike import Alike, Shown
from dosecheck.batch.amounts import Amounts, Meant, dose_columns, plain_kind
from dosecheck.batch.bands import Cell
from dosecheck.batch.classes import Classed, Met, classed
from dosecheck.batch.columns import Distinct, Read, combined, distinct
from dosecheck.batch.compare import compared
from dosecheck.batch.figures import Figures
from dosecheck.formulary.medicine import Regimen


class Slots:
    """`classes`: all that were met so far; `figures`: those of the regimens met."""

    def __init__(self) -> None:
        self.classes: list[Classed] = []
        self.figures = Figures()
        self._class_ids: dict[Hashable, int] = {}
        self._amounts = Amounts()

    def compared(self, read: Read, rows: pl.DataFrame, known: list[Cell]) -> tuple[pl.DataFrame, pl.Series]:
        """`class`, `high`, `least` and `bound` of each row; and which rows the columns do not hold after all.

        Args:
            rows: `cell` (index into `known`), `flags`, `weight`, `course`, `often`, `dose`.
        """
        index, numbers = distinct(rows["cell"])
        cells = [known[number] for number in numbers]
        alike, shown = Alike(Distinct(index, numbers), distinct(rows["flags"])), Shown(len(rows))
        slow = pl.repeat(False, len(rows), eager=True)
        for slot, places, part in self._slots(read, rows.with_columns(cell=index), cells):
            alike.divide(places, slot, distinct(part["states"]), distinct(part["trouble"]))
            shown.add(places, part.select("high", "least", "bound"))
            slow = slow.scatter(places.filter(part["slow"]), True)
        fair = distinct(alike.number.filter(~slow)).values
        classes = {number: self._class(known, *alike.answers[number]) for number in fair}
        ids = pl.Series([classes.get(number) for number in range(len(alike.answers))], dtype=pl.Int64)
        return pl.DataFrame([ids.gather(alike.number).alias("class"), *shown.columns()]), slow

    def _slots(self, read: Read, rows: pl.DataFrame, cells: list[Cell]) -> Iterator[tuple[int, pl.Series, pl.DataFrame]]:
        """By slot, the places of the rows whose cell has something to compare in it, and what they come to.

        All slots are compared at once, the rows of each below those of the last; `held` is the place of cell and slot.
        """
        slots = max((len(cell.slots) for cell in cells), default=0)
        regimens = [cell.compared(slot) for slot in range(slots) for cell in cells]
        numbers = pl.Series([None if each is None else self.figures.number(each) for each in regimens], dtype=pl.UInt32)
        self.figures.settle()
        parts, told = [], []
        for slot in range(slots):
            held = rows["cell"] + slot * len(cells)
            places = numbers.gather(held).is_not_null().arg_true()
            part = rows.with_columns(held=held)
            parts.append(part if len(places) == len(rows) else part[places])
            told.append(places)
        if not parts:
            return
        part = pl.concat(parts, rechunk=True).with_columns(pl.lit(numbers).gather(pl.col("held")).alias("regimen"))
        part = pl.concat([part, read.frequency.drop("flags", "unclear")[part["often"]]], how="horizontal")
        part = part.with_columns(dose=self._doses(read, part, cells * slots, regimens))
        part = part.with_columns(dose_columns(part, self._amounts.table))
        part = part.with_columns(compared(part, self.figures))
        start = 0
        for slot, places in enumerate(told):
            if len(places):
                yield slot, places, part.slice(start, len(places))
            start += len(places)

    def _doses(self, read: Read, part: pl.DataFrame, cells: list[Cell], regimens: list[Regimen | None]) -> pl.Series:
        """Of each row's dose its place in the table of amounts; a plain amount is alike for all medicines."""
        meant = [
            None if r is None else Meant(c.way.medicine, c.way.product, r.ingredient, r.kind) for c, r in zip(cells, regimens, strict=True)
        ]
        any_of = {each.about: each for each in meant if each} | {each.plainly: each for each in meant if each and each.plainly}
        numbers = {about: number for number, about in enumerate(any_of)}
        values = read.given["dose"].values if "dose" in read.given else []
        of_dose = pl.Series([None, *(None if value is None else numbers.get(plain_kind(value)) for value in values)], dtype=pl.Int64)
        plainly, about = (
            pl.Series([None if each is None else numbers.get(getattr(each, name)) for each in meant], dtype=pl.Int64)
            for name in ("plainly", "about")
        )
        plain, by_dose = pl.lit(plainly).gather(pl.col("held")), pl.lit(of_dose).gather(pl.col("dose"))
        of = part.select(pl.when(plain == by_dose).then(plain).otherwise(pl.lit(about).gather(pl.col("held")))).to_series()
        index, found = combined([Distinct(of, list(any_of.items())), Distinct(part["dose"], [None, *values])])
        numbers = self._amounts.numbers((about, dose, each) for (about, each), dose in found)
        return pl.Series(numbers, dtype=pl.UInt32).gather(index)

    def _class(self, known: list[Cell], number: int, flags: int, *met: tuple[int, int, str]) -> int:
        key = (number, flags, *met)
        if key in self._class_ids:
            return self._class_ids[key]
        by_slot = {slot: Met(states, trouble) for slot, states, trouble in met}
        cell = known[number]
        return self.class_of(key, classed(cell, flags, tuple(by_slot.get(slot) for slot in range(len(cell.slots)))))

    def class_of(self, key: Hashable, made: Classed) -> int:
        """The number of a class, under a key of its own."""
        if key not in self._class_ids:
            self._class_ids[key] = len(self.classes)
            self.classes.append(made)
        return self._class_ids[key]
