"""Many orders at once: the same shelves, bands, measures and limits as one order, on columns of whole numbers.

What rows ask for is their way (`ways.py`), with the child's place among its bands their cell (`bands.py`); each
regimen of a cell is a slot, and every sort of comparison is one pass over a column (`compare.py`; exact).  Rows that
came to the same are one class, and a class is judged once (`classes.py`).  What columns cannot hold exactly is marked
slow, and the one-order engine answers it.
"""

from __future__ import annotations

from functools import reduce
from typing import NamedTuple

import polars as pl

from dosecheck.batch.amounts import is_slow
from dosecheck.batch.answers import Answered, sentence_of, told_of
from dosecheck.batch.bands import Cells
from dosecheck.batch.classes import FAR_ABOVE, NO_AGE, NOT_MEASURED, NULLS, UNBELIEVABLE, WEIGHT_OLD, YOUNG, Classed
from dosecheck.batch.columns import ASKED, FREQUENCY, Columns, Read, child_columns, distinct, exact_int
from dosecheck.batch.growth import Growth
from dosecheck.batch.slots import Slots
from dosecheck.batch.ways import Ways
from dosecheck.body.growth import SEXES
from dosecheck.formulary.load import Formulary
from dosecheck.formulary.measures import CEILINGS
from dosecheck.records import Child, Order
from dosecheck.rules.check import check_order
from dosecheck.rules.concerns import oldest_weight

LEAST_PART = 24  # rows that ask alike; below it one by one is faster, so that free text in a column cannot make a file slow
_MOST_KNOWN = 50_000  # ways, or classes, remembered; beyond it the memory starts afresh
_SLOW_FIELDS = ("gestation", "over", "made_up_to", "creatinine")
_ROW_SCHEMA = {"row": pl.UInt32, "class": pl.Int64, "high": pl.Int64, "weight": pl.Int64, "least": pl.Int64, "bound": pl.Int64}


class Screened(NamedTuple):
    """`rows`: one row for each that the columns answered, in order: `row`, `class`, `high`, `weight`, `least`, `bound`;
    `classes`: what each class is answered; `bounds`: the texts of the limits that may bind; `slow`: rows for the one-order engine."""

    rows: pl.DataFrame
    classes: list[Classed]
    bounds: list[str]
    slow: list[int]


class Facts(NamedTuple):
    """A chunk before its medicines are looked at: the fields read, the combinations of ASKED, and `frame`, a row for each that was read."""

    read: Read
    asked: list[tuple]
    frame: pl.DataFrame


class Screen:
    """Screens chunk after chunk against one formulary; what it learns of a chunk is kept for the next."""

    def __init__(self, formulary: Formulary) -> None:
        self.formulary = formulary
        self.least_part = LEAST_PART
        self.columns = Columns()
        self.growth, self.far = Growth(formulary, formulary.z_bands), Growth(formulary, formulary.far_above)
        self._forget()

    def _forget(self) -> None:
        self.ways, self.cells, self.slots = Ways(self.formulary), Cells(), Slots()

    def facts(self, rows: pl.DataFrame) -> Facts:
        """One chunk of text columns (codes already mapped); may be asked in another thread than `screen`."""
        read = self.columns.read(rows)
        asked = read.combinations(ASKED)
        frame = self._frame(read, asked.index)
        return Facts(read, asked.values, _without(frame, frame["unread"]))

    def screen(self, facts: Facts) -> Screened:
        """The chunk's rows answered."""
        if max(len(self.ways.known), len(self.slots.classes)) >= _MOST_KNOWN:
            self._forget()
        read, asked, frame = facts
        slow = frame["row"].filter(frame["slow"])
        rows, unknown, aside = self._apart(asked, _without(frame, frame["slow"]))
        told, dull = self.slots.compared(read, rows, self.cells.known)
        answered = pl.concat([rows.select("row", "weight"), told], how="horizontal").select(list(_ROW_SCHEMA))
        slow = pl.concat([slow, *aside, rows["row"].filter(dull)]).sort().to_list()
        answered = _without(answered, dull)
        answered = pl.concat([answered, unknown]).sort("row") if len(unknown) else answered
        return Screened(answered, self.slots.classes, self.slots.figures.texts, slow)

    def _frame(self, read: Read, asked: pl.Series) -> pl.DataFrame:
        """Everything about a row that does not depend on its medicine; `often` is the row of `read.frequency`."""
        often = read.combinations(FREQUENCY)
        read.frequency = frequency = self._frequency(often.values)
        course = read.column("course", lambda q: exact_int(q.value), pl.Int64)
        odd = [read.column("dose", is_slow, pl.Boolean).fill_null(False), *(read.is_given(field) for field in _SLOW_FIELDS)]
        odd += [frequency["unclear"].gather(often.index), read.is_given("course") & (course <= CEILINGS["course"][0]).ne_missing(True)]
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
            asked=asked,
            often=often.index,
            dose=read.codes("dose"),
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

    def _apart(self, asked: list[tuple], fair: pl.DataFrame) -> tuple[pl.DataFrame, pl.DataFrame, list[pl.Series]]:
        """The rows that are compared, with their `cell`; those whose medicine is unknown, answered; and the numbers of slow ones."""
        few = fair.select(pl.len().over("asked", "no_dose") < self.least_part).to_series()
        rare, fair = fair["row"].filter(few), _without(fair, few)
        fair = fair.with_columns(way=self.ways.numbered(asked, fair))
        ways = self.ways.known
        slow = pl.Series([way.slow for way in ways], dtype=pl.Boolean).gather(fair["way"]).fill_null(False)
        unknown = fair["way"].is_null()
        left = _without(fair, slow | unknown)
        cut, cells = self.cells.numbered(ways, left)
        odd = pl.Series([cell.slow for cell in self.cells.known], dtype=pl.Boolean).gather(cells) | cut
        aside = [rare, fair["row"].filter(slow), left["row"].filter(odd)]
        return _without(left.with_columns(cell=cells), odd), self._unknown_medicines(asked, fair.filter(unknown)), aside

    def _unknown_medicines(self, asked: list[tuple], rows: pl.DataFrame) -> pl.DataFrame:
        index, places = distinct(rows["asked"])
        numbers = [self._unknown(asked[place][0]) for place in places]
        nothing = {name: pl.lit(None, dtype=_ROW_SCHEMA[name]) for name in ("high", "least", "bound")}
        return rows.select("row", "weight", pl.Series("class", numbers, dtype=pl.Int64).gather(index), **nothing).select(list(_ROW_SCHEMA))

    def _unknown(self, name: str | None) -> int:
        """The class of orders for a medicine that the formulary does not have."""
        verdict = check_order(Order(medicine=name), Child(), self.formulary)
        sentence = sentence_of(verdict.outcome, [told_of(f) for f in verdict.findings])
        return self.slots.class_of(name, Classed(Answered(verdict.outcome, ";".join(verdict.codes), "", "", sentence), "", 1))


def _without(rows: pl.DataFrame, others: pl.Series) -> pl.DataFrame:
    """Without the rows for which `others` is true; nothing is copied where there are none."""
    return rows if others.any(ignore_nulls=False) is False else rows.filter(~others)
