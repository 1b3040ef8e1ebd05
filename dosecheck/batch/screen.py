"""Many orders at once: the same shelves, bands, measures and limits as one order, on columns of whole numbers.

Rows that ask alike form a part; in a part, rows to whom the same regimens apply form a group; every limit of the
group is then one comparison of columns (`compare.py`; Int128, exact).  Rows whose comparisons all came out alike are
one class, and a class is judged once (`classes.py`).  What columns cannot hold exactly is marked slow, and the
one-order engine answers it.
"""

from __future__ import annotations

from collections.abc import Iterator
from functools import reduce
from typing import Any, NamedTuple

import polars as pl

from dosecheck.batch.amounts import Scaled, dose_columns, is_slow, scaled
from dosecheck.batch.answers import Answered, sentence_of, told_of
from dosecheck.batch.classes import (
    FAR_ABOVE,
    NO_AGE,
    NOT_MEASURED,
    NULLS,
    UNBELIEVABLE,
    WEIGHT_OLD,
    YOUNG,
    Classed,
    Slot,
    classed,
    slots_of,
)
from dosecheck.batch.columns import ASKED, FREQUENCY, Columns, Read, child_columns
from dosecheck.batch.compare import binding, compared
from dosecheck.batch.growth import Growth
from dosecheck.batch.shelves import cut_off, fits, ruled, shelf_is_slow
from dosecheck.body.growth import SEXES
from dosecheck.formulary.load import Formulary
from dosecheck.formulary.medicine import Medicine, Product
from dosecheck.formulary.shelf import Asked, Shelf
from dosecheck.reading import Dose
from dosecheck.records import Child, Order
from dosecheck.rules.check import check_order
from dosecheck.rules.concerns import oldest_weight

LEAST_PART = 24  # rows that ask alike; below it one by one is faster, so that free text in a column cannot make a file slow
_SLOW_FIELDS = ("gestation", "over", "made_up_to", "creatinine")
_ROW_SCHEMA = {"row": pl.UInt32, "class": pl.Int64, "high": pl.Int64, "weight": pl.Int64, "least": pl.Int64, "bound": pl.Int64}


class Screened(NamedTuple):
    """`rows`: one row for each that the columns answered: `row`, `class`, `high`, `weight`, `least`, `bound`;
    `classes`: what each class is answered; `slow`: rows for the one-order engine."""

    rows: pl.DataFrame
    classes: list[Classed]
    slow: list[int]


class Screen:
    """Screens chunk after chunk against one formulary; what it learns of a chunk is kept for the next."""

    def __init__(self, formulary: Formulary) -> None:
        self.formulary = formulary
        self.least_part = LEAST_PART
        self.columns = Columns()
        self.growth, self.far = Growth(formulary, formulary.z_bands), Growth(formulary, formulary.far_above)
        self.classes: list[Classed] = []
        self._class_ids: dict[tuple, int] = {}
        self._scaled: dict[tuple, tuple[Dose, Scaled]] = {}

    def screen(self, rows: pl.DataFrame) -> tuple[Screened, Read]:
        """One chunk of text columns (codes already mapped)."""
        read = self.columns.read(rows)
        frame = self._frame(read)
        dull = frame.filter(pl.col("slow") & ~pl.col("unread"))["row"].to_list()
        found: list[pl.DataFrame] = []
        fair = frame.filter(~pl.col("slow") & ~pl.col("unread"))
        asked = read.combinations(ASKED)
        for (index, no_dose), part in fair.partition_by("asked", "no_dose", as_dict=True).items():
            done, slow = (
                self._part(read, asked.values[index], no_dose, part) if len(part) >= self.least_part else ([], part["row"].to_list())
            )
            found += done
            dull += slow
        empty = pl.DataFrame(schema=_ROW_SCHEMA)
        return Screened(pl.concat([empty, *found]), self.classes, sorted(dull)), read

    def _frame(self, read: Read) -> pl.DataFrame:
        """Everything about a row that does not depend on its medicine; `often` is the row of `read.frequency`."""
        asked, often = read.combinations(ASKED), read.combinations(FREQUENCY)
        read.frequency = frequency = self._frequency(often.values)
        course = read.column("course", lambda q: q.value.numerator if q.value.denominator == 1 else -1, pl.Int64)
        odd = [read.column("dose", is_slow, pl.Boolean).fill_null(False), *(read.is_given(field) for field in _SLOW_FIELDS)]
        odd += [frequency["unclear"].gather(often.index), course.eq(-1).fill_null(False)]
        child = child_columns(read)
        measured = read.column("weight_is", lambda kind: kind != "measured", pl.Boolean).fill_null(False)
        told = pl.DataFrame({"course": course, "not_measured": measured, "often_flags": frequency["flags"].gather(often.index)})
        frame = pl.concat([told, child], how="horizontal").with_row_index("row")
        frame = frame.with_columns(sex=read.column("sex", ("", *SEXES).index, pl.Int64).fill_null(0))
        read.weight_z = self.growth.hundredths(frame)
        frame = frame.with_columns(unbelievable=self.growth.unbelievable(frame), far_above=self.far.far_above(frame))
        return frame.select(
            "row",
            "weight",
            "months_lo",
            "months_hi",
            "days_lo",
            "days_hi",
            "course",
            self._flags(),
            asked=asked.index,
            often=often.index,
            dose=read.codes("dose").cast(pl.UInt32),
            on=read.column("on", lambda day: day, pl.Date),
            unread=read.error.is_not_null(),
            slow=reduce(lambda a, b: a | b, odd) | frame["slow"],
        ).with_columns(no_dose=pl.col("dose") == 0)

    def _frequency(self, values: list[tuple]) -> pl.DataFrame:
        """Each combination of how often, as numbers and as flags."""
        known = [self.columns.frequency(each) for each in values]
        names = ("most", "mean_n", "mean_d", "gap_n", "gap_d", "once", "unclear")
        table = pl.DataFrame(known, schema=dict(zip(names, (pl.Int64,) * 5 + (pl.Boolean,) * 2, strict=True)), orient="row")
        flags = pl.col("once").cast(pl.Int64) + pl.sum_horizontal(
            pl.col(name).is_null().cast(pl.Int64) * NULLS[name] for name in ("most", "gap_n")
        )
        return table.with_columns(flags=flags)

    def _flags(self) -> pl.Expr:
        infant, child = (oldest_weight(self.formulary.policy, infant=young) for young in (True, False))
        oldest = pl.when(pl.col("months_lo").fill_null(0) < 12).then(infant).otherwise(child)
        bits = {
            YOUNG: pl.col("months_lo") < 3,
            NOT_MEASURED: pl.col("not_measured") & pl.col("weight").is_not_null(),
            WEIGHT_OLD: (pl.col("weight_days") > oldest) & pl.col("weight").is_not_null(),
            UNBELIEVABLE: pl.col("unbelievable"),
            FAR_ABOVE: pl.col("far_above"),
            **{NULLS[name]: pl.col(name).is_null() for name in ("weight", "course")},
            NO_AGE: pl.col("months_lo").is_null(),
        }
        return (pl.col("often_flags") + pl.sum_horizontal(expr.fill_null(False).cast(pl.Int64) * bit for bit, expr in bits.items())).alias(
            "flags"
        )

    def _part(self, read: Read, asked: tuple, no_dose: bool, part: pl.DataFrame) -> tuple[list[pl.DataFrame], list[int]]:
        """All rows that ask alike."""
        name, route, purpose, step, condition, product = asked
        medicine = self.formulary.medicine(name)
        if medicine is None:
            return [self._constant(part, self._unknown(name))], []
        found, slow = [], []
        for version, rows in _versions(self.formulary, medicine, part):
            key = Asked(route, purpose, step, condition or (), product, version, None if no_dose else False)
            shelf = self.formulary.shelf(medicine, key)
            if shelf_is_slow(shelf):
                slow += rows["row"].to_list()
                continue
            done, left = self._shelf(read, medicine, shelf, key, rows)
            found += done
            slow += left
        return found, slow

    def _unknown(self, name: str | None) -> int:
        verdict = check_order(Order(medicine=name), Child(), self.formulary)
        sentence = sentence_of(verdict.outcome, [told_of(f) for f in verdict.findings])
        return self._class((name,), Classed(Answered(verdict.outcome, ";".join(verdict.codes), "", "", sentence), "", 1, ()))

    def _class(self, key: tuple, made: Classed) -> int:
        if key not in self._class_ids:
            self._class_ids[key] = len(self.classes)
            self.classes.append(made)
        return self._class_ids[key]

    def _constant(self, part: pl.DataFrame, number: int) -> pl.DataFrame:
        nothing = {name: pl.lit(None, dtype=_ROW_SCHEMA[name]) for name in ("high", "least", "bound")}
        return part.select("row", pl.lit(number, dtype=pl.Int64).alias("class"), "weight", **nothing).select(list(_ROW_SCHEMA))

    def _shelf(self, read: Read, medicine: Medicine, shelf: Shelf, key: Asked, part: pl.DataFrame) -> tuple[list[pl.DataFrame], list[int]]:
        """All rows of one shelf: cut ages aside, group by the regimens that fit, compare."""
        cut = part.select(cut_off(shelf)).to_series()
        slow = part.filter(cut)["row"].to_list()
        part = (part.filter(~cut) if slow else part).select("row", "flags", "weight", "course", "often", "dose", fits(shelf), ruled(shelf))
        found: list[pl.DataFrame] = []
        for (fit, held), group in part.partition_by("fit", "ruled", as_dict=True, include_key=False).items():
            done, left = self._group(read, medicine, shelf, key, fit, held, group)
            found.append(done)
            slow += left
        return found, slow

    def _group(
        self, read: Read, medicine: Medicine, shelf: Shelf, key: Asked, fit: int, held: int, group: pl.DataFrame
    ) -> tuple[pl.DataFrame, list[int]]:
        """Rows to whom the same regimens apply: every limit of each is one comparison of columns."""
        slots = slots_of(shelf, fit)
        if len({slot.regimen.kind for slot in slots if slot.regimen}) > 1:  # no one unit to write the numbers in
            return pl.DataFrame(schema=_ROW_SCHEMA), group["row"].to_list()
        slow = pl.Series([False]).new_from_index(0, len(group))
        columns: list[pl.Series] = []
        product = medicine.product(key.product) if key.product else None
        amounts: dict[tuple[str, str], pl.DataFrame] = {}
        often = read.frequency[group["often"]]
        group = pl.concat([group, often.select("most", "mean_n", "mean_d", "gap_n", "gap_d", "once")], how="horizontal")
        for number, slot in enumerate(slots):
            if slot.regimen is None or slot.unknown or key.infusion is None:
                continue
            kind = (slot.ingredient, slot.regimen.kind)
            if kind not in amounts:
                amounts[kind] = dose_columns(group, self._doses(read, medicine, product, group, *kind))
                slow = slow | amounts[kind]["slow"]
            columns += compared(group, amounts[kind], slot.regimen, number)
            if any(limit.code == "total-above-max" for limit in slot.regimen.limits):
                slow = slow | group["course"].is_not_null() | group["once"]
        wide = group.select("row", "flags", "weight").with_columns(columns)
        left = wide.filter(slow)["row"].to_list()
        wide = wide.filter(~slow) if left else wide
        return self._classify(medicine, shelf, key, fit, held, slots, wide), left

    def _doses(
        self, read: Read, medicine: Medicine, product: Product | None, group: pl.DataFrame, ingredient: str, kind: str
    ) -> dict[int, Scaled]:
        values = read.given["dose"].values
        about = (medicine.id, product and product.id, ingredient, kind)
        return {
            index: self._once((*about, id(values[index - 1])), values[index - 1], medicine, product)
            for index in group["dose"].unique().to_list()
        }

    def _once(self, key: tuple, dose: Dose, medicine: Medicine, product: Product | None) -> Scaled:
        """Each dose object is converted once; it is kept beside the answer, so that its identity stays its own."""
        if key not in self._scaled:
            self._scaled[key] = (dose, scaled(dose, medicine, product, *key[2:4]))
        return self._scaled[key][1]

    def _classify(
        self, medicine: Medicine, shelf: Shelf, key: Asked, fit: int, held: int, slots: list[Slot], wide: pl.DataFrame
    ) -> pl.DataFrame:
        """Numbers the classes of a group; the bounds that bind are shown, and do not divide classes."""
        names = [name for name in wide.columns if name.startswith(("flags", "states", "trouble"))]
        unique = wide.select(names).unique(maintain_order=True)
        about = (medicine.id, key, fit, held)
        numbers = [self._number(about, medicine, shelf, slots, dict(zip(names, values, strict=True))) for values in unique.iter_rows()]
        numbered = wide.join(
            unique.with_columns(pl.Series("class", numbers, dtype=pl.Int64)), on=names, how="left", nulls_equal=True, maintain_order="left"
        )
        return binding(numbered, len(slots)).select(list(_ROW_SCHEMA))

    def _number(self, about: tuple, medicine: Medicine, shelf: Shelf, slots: list[Slot], values: dict[str, Any]) -> int:
        key = (*about, *values.values())
        known = self._class_ids.get(key)
        return self._class(key, classed(about, medicine, shelf, slots, values)) if known is None else known


def _versions(formulary: Formulary, medicine: Medicine, part: pl.DataFrame) -> Iterator[tuple[int, pl.DataFrame]]:
    """The part by which regimens were in force on the order's date, or on the one day that the formulary is asked for."""
    dates = sorted({r.valid_from for r in medicine.regimens})
    first = part["on"].min()
    if formulary.as_of or not dates or first is None or first >= dates[-1]:
        yield formulary.version(medicine, None), part
        return
    version = pl.sum_horizontal((pl.col("on") >= day).cast(pl.Int64) for day in dates)
    version = pl.when(pl.col("on").is_null()).then(len(dates)).otherwise(version)
    for (number,), rows in part.with_columns(version.alias("version")).partition_by("version", as_dict=True, include_key=False).items():
        yield number, rows
