"""Many orders at once: the same shelves, bands, measures and limits as one order, on columns of whole numbers.

Rows that ask alike form a part; in a part, rows to whom the same regimens apply form a group; every limit of the
group is then one comparison of columns (Int128, exact).  Rows whose comparisons all came out alike are one class,
and a class is judged once, by the functions that judge a single order (`answers.py`).  What columns cannot hold
exactly is marked slow, and the one-order engine answers it.
"""

from __future__ import annotations

from collections.abc import Iterator
from functools import reduce
from typing import Any, NamedTuple

import polars as pl

from dosecheck.batch import answers
from dosecheck.batch.amounts import Scaled, dose_columns, is_slow, scaled
from dosecheck.batch.answers import Answered, Part, RowFlags
from dosecheck.batch.columns import ASKED, FREQUENCY, Columns, Read, child_columns
from dosecheck.formulary.cells import Band
from dosecheck.formulary.limits import Limit
from dosecheck.formulary.load import Formulary
from dosecheck.formulary.measures import AT_MOST, MEASURES, Comparison, holds
from dosecheck.formulary.medicine import Medicine, Product, Regimen
from dosecheck.formulary.shelf import Asked, Shelf, version_of
from dosecheck.quantity import factor
from dosecheck.reading import Dose
from dosecheck.rules.concerns import oldest_weight

_SHOWN_MOST = pl.lit(10**15, dtype=pl.Int128)  # a maximum beyond any dose that columns hold
_SLOW_FIELDS = ("gestation", "over", "made_up_to")
_MOST_STATES = 38  # 3 states a limit; 3^38 still fits a column of Int64
_BABY = ("corrected months", "corrected days", "postmenstrual days", "gestation")
_CERTAIN_MONTHS = 36  # from here on an untold gestation no longer matters to any sensible band
_NULLS = {"weight": 16, "most": 32, "gap_n": 64, "course": 128}
_FACT_OF = {"weight": ("weight",), "most": ("doses", "average"), "gap_n": ("gap",), "course": ("course",)}


class Screened(NamedTuple):
    """`rows`: one row for each that the columns answered: `row`, `class`, `high`, `weight`, `least`, `bound`;
    `classes`: what each class is answered; `slow`: rows for the one-order engine."""

    rows: pl.DataFrame
    classes: list[Classed]
    slow: list[int]


class Classed(NamedTuple):
    """One class: its texts, the unit of its amounts, and the texts of the limits that may bind."""

    answered: Answered
    unit: str
    scale: int
    bounds: tuple[str, ...]


class Screen:
    """Screens chunk after chunk against one formulary; what it learns of a chunk is kept for the next."""

    def __init__(self, formulary: Formulary) -> None:
        self.formulary = formulary
        self.columns = Columns()
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
            done, slow = self._part(read, asked.values[index], no_dose, part)
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
        return frame.select(
            "row", "weight", "months_lo", "months_hi", "days_lo", "days_hi", "course", self._flags(),
            asked=asked.index, often=often.index, dose=read.codes("dose").cast(pl.UInt32),
            on=read.column("on", lambda day: day, pl.Date), unread=read.error.is_not_null(),
            slow=reduce(lambda a, b: a | b, odd) | frame["slow"],
        ).with_columns(no_dose=pl.col("dose") == 0)  # fmt: skip

    def _frequency(self, values: list[tuple]) -> pl.DataFrame:
        """Each combination of how often, as numbers and as flags."""
        known = [self.columns.frequency(each) for each in values]
        names = ("most", "mean_n", "mean_d", "gap_n", "gap_d", "once", "unclear")
        table = pl.DataFrame(known, schema=dict(zip(names, (pl.Int64,) * 5 + (pl.Boolean,) * 2, strict=True)), orient="row")
        flags = pl.col("once").cast(pl.Int64) + pl.sum_horizontal(pl.col(name).is_null().cast(pl.Int64) * _NULLS[name] for name in ("most", "gap_n"))
        return table.with_columns(flags=flags)

    def _flags(self) -> pl.Expr:
        infant, child = (oldest_weight(self.formulary.policy, infant=young) for young in (True, False))
        oldest = pl.when(pl.col("months_lo").fill_null(0) < 12).then(infant).otherwise(child)
        bits = {
            2: pl.col("months_lo") < 3, 4: pl.col("not_measured") & pl.col("weight").is_not_null(),
            8: (pl.col("weight_days") > oldest) & pl.col("weight").is_not_null(),
            **{_NULLS[name]: pl.col(name).is_null() for name in ("weight", "course")}, 256: pl.col("months_lo").is_null(),
        }  # fmt: skip
        return (pl.col("often_flags") + pl.sum_horizontal(expr.fill_null(False).cast(pl.Int64) * bit for bit, expr in bits.items())).alias("flags")

    def _part(self, read: Read, asked: tuple, no_dose: bool, part: pl.DataFrame) -> tuple[list[pl.DataFrame], list[int]]:
        """All rows that ask alike."""
        name, route, purpose, step, condition, product = asked
        medicine = self.formulary.medicine(name)
        if medicine is None:
            return [self._constant(part, self._unknown(name))], []
        found, slow = [], []
        for version, rows in _versions(medicine, part):
            key = Asked(route, purpose, step, condition or (), product, version, None if no_dose else False)
            shelf = self.formulary.shelf(medicine, key)
            if _shelf_is_slow(shelf):
                slow += rows["row"].to_list()
                continue
            done, left = self._shelf(read, medicine, shelf, key, rows)
            found += done
            slow += left
        return found, slow

    def _unknown(self, name: str | None) -> int:
        from dosecheck.records import Child, Order
        from dosecheck.rules.check import check_order

        verdict = check_order(Order(medicine=name), Child(), self.formulary)
        sentence = f"NOT CHECKED. {verdict.findings[0].message}"
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
        cut = part.select(_cut(shelf)).to_series()
        slow = part.filter(cut)["row"].to_list()
        part = (part.filter(~cut) if slow else part).select("row", "flags", "weight", "course", "often", "dose", _fits(shelf), _ruled(shelf))
        found: list[pl.DataFrame] = []
        for (fit, ruled), group in part.partition_by("fit", "ruled", as_dict=True, include_key=False).items():
            done, left = self._group(read, medicine, shelf, key, fit, ruled, group)
            found.append(done)
            slow += left
        return found, slow

    def _group(self, read: Read, medicine: Medicine, shelf: Shelf, key: Asked, fit: int, ruled: int, group: pl.DataFrame) -> tuple[pl.DataFrame, list[int]]:
        """Rows to whom the same regimens apply: every limit of each is one comparison of columns."""
        slots = _slots(shelf, fit)
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
            columns += _compared(group, amounts[kind], slot.regimen, number)
            if any(limit.code == "total-above-max" for limit in slot.regimen.limits):
                slow = slow | group["course"].is_not_null() | group["once"]
        wide = group.select("row", "flags", "weight").with_columns(columns)
        left = wide.filter(slow)["row"].to_list()
        wide = wide.filter(~slow) if left else wide
        return self._classify(medicine, shelf, key, fit, ruled, slots, wide), left

    def _doses(self, read: Read, medicine: Medicine, product: Product | None, group: pl.DataFrame, ingredient: str, kind: str) -> dict[int, Scaled]:
        values = read.given["dose"].values
        about = (medicine.id, product and product.id, ingredient, kind)
        return {index: self._once((*about, id(values[index - 1])), values[index - 1], medicine, product) for index in group["dose"].unique().to_list()}

    def _once(self, key: tuple, dose: Dose, medicine: Medicine, product: Product | None) -> Scaled:
        """Each dose object is converted once; it is kept beside the answer, so that its identity stays its own."""
        if key not in self._scaled:
            self._scaled[key] = (dose, scaled(dose, medicine, product, *key[2:4]))
        return self._scaled[key][1]

    def _classify(self, medicine: Medicine, shelf: Shelf, key: Asked, fit: int, ruled: int, slots: list[Slot], wide: pl.DataFrame) -> pl.DataFrame:
        """Numbers the classes of a group; the bounds that bind are shown, and do not divide classes."""
        names = [name for name in wide.columns if name.startswith(("flags", "states", "trouble"))]
        unique = wide.select(names).unique(maintain_order=True)
        about = (medicine.id, key, fit, ruled)
        numbers = [self._number(about, medicine, shelf, slots, dict(zip(names, values, strict=True))) for values in unique.iter_rows()]
        numbered = wide.join(unique.with_columns(pl.Series("class", numbers, dtype=pl.Int64)), on=names, how="left", nulls_equal=True, maintain_order="left")
        return _binding(numbered, len(slots)).select(list(_ROW_SCHEMA))

    def _number(self, about: tuple, medicine: Medicine, shelf: Shelf, slots: list[Slot], values: dict[str, Any]) -> int:
        key = (*about, *values.values())
        known = self._class_ids.get(key)
        return self._class(key, _classed(about, medicine, shelf, slots, values)) if known is None else known


_ROW_SCHEMA = {"row": pl.UInt32, "class": pl.Int64, "high": pl.Int64, "weight": pl.Int64, "least": pl.Int64, "bound": pl.Int64}


class Slot(NamedTuple):
    """One reading of a group: a regimen of an ingredient, or none; `unknown` when its band cannot be decided."""

    ingredient: str
    regimen: Regimen | None
    unknown: bool


def _versions(medicine: Medicine, part: pl.DataFrame) -> Iterator[tuple[int, pl.DataFrame]]:
    """The part by which regimens were in force on the order's date."""
    dates = sorted({r.valid_from for r in medicine.regimens})
    first = part["on"].min()
    if not dates or first is None or first >= dates[-1]:
        yield version_of(medicine, None), part
        return
    version = pl.sum_horizontal((pl.col("on") >= day).cast(pl.Int64) for day in dates)
    version = pl.when(pl.col("on").is_null()).then(len(dates)).otherwise(version)
    for (number,), rows in part.with_columns(version.alias("version")).partition_by("version", as_dict=True, include_key=False).items():
        yield number, rows


def _shelf_is_slow(shelf: Shelf) -> bool:
    regimens = [r for each in shelf.regimens.values() for r in each]
    surface = any("surface" in c.measure for r in regimens for limit in r.limits for c in limit.comparisons)
    return surface or len(regimens) > _MOST_STATES or any(len(r.limits) > _MOST_STATES for r in regimens) or len(shelf.age_limits) > _MOST_STATES


def _interval(fact: str) -> tuple[pl.Expr, pl.Expr]:
    """Lowest and highest value of an age fact; with an untold gestation, anything possible."""
    months, days = (pl.col("months_lo"), pl.col("months_hi")), (pl.col("days_lo"), pl.col("days_hi"))
    return {
        "months": months, "days": days, "weight": (pl.col("weight"), pl.col("weight")),
        "corrected months": (months[0] - 6, months[1]), "corrected days": (days[0] - 141, days[1]),
        "postmenstrual days": (days[0] + 140, days[1] + 321),
    }[fact]  # fmt: skip


def _cut(shelf: Shelf) -> pl.Expr:
    """Rows whose age straddles an edge, or that are young enough for gestation to matter where a band asks for it."""
    cut = pl.lit(False)
    for fact, edges in shelf.edges.items():
        low, high = _interval(fact)
        for edge in edges:
            cut = cut | ((low < edge) & (high >= edge)).fill_null(False)
    baby = {band.fact for each in shelf.regimens.values() for r in each for band in r.bands} & set(_BABY) or set(shelf.edges) & set(_BABY)
    if baby:
        cut = cut | (pl.col("months_lo") < _CERTAIN_MONTHS).fill_null(False)
    return cut.alias("cut")


def _inside(band: Band) -> pl.Expr:
    """True, False, or null where the fact is not known."""
    if band.fact == "gestation":
        return pl.lit(None, dtype=pl.Boolean)
    low, high = _interval(band.fact)
    inside = pl.lit(True)
    if band.low is not None:
        inside = inside & (low >= int(band.low))
    return inside & (high < int(band.high)) if band.high is not None else inside


def _fits(shelf: Shelf) -> pl.Expr:
    """Base 3: 0 the regimen does not fit, 1 it fits, 2 it cannot be told."""
    key: pl.Expr = pl.lit(0, dtype=pl.Int64)
    for place, regimen in enumerate(r for each in shelf.regimens.values() for r in each):
        fits = reduce(lambda a, b: a & b, map(_inside, regimen.bands), pl.lit(True))
        key = key + fits.cast(pl.Int64).fill_null(2) * 3**place
    return key.alias("fit")


def _ruled(shelf: Shelf) -> pl.Expr:
    """Base 3 for each age limit: 1 met, 2 broken, 0 a fact is missing."""
    facts = {fact: (_interval(fact)[0].cast(pl.Int128), 1) for fact in ("months", "days", "weight", *_BABY[:3])}
    return _states([entry.limit for entry in shelf.age_limits], facts, facts).alias("ruled")


def _states(limits: list[Limit] | tuple[Limit, ...], upper: dict[str, Any], lower: dict[str, Any]) -> pl.Expr:
    """Base 3 for each limit: 1 met (any comparison holds), 2 broken, 0 a fact is missing."""
    key: pl.Expr = pl.lit(0, dtype=pl.Int64)
    for place, limit in enumerate(limits):
        facts = upper if limit.main.sense == AT_MOST else lower
        answered = [holds(comparison, facts) for comparison in limit.comparisons]
        columns = [pl.lit(None, dtype=pl.Boolean) if isinstance(a, str) else a for a in answered]
        met = reduce(lambda a, b: a | b, columns)
        key = key + (2 - met.cast(pl.Int64)).fill_null(0) * 3**place
    return key


def _slots(shelf: Shelf, fit: int) -> list[Slot]:
    """The readings of a group, in the order of the shelf; an ingredient for which nothing fits has an empty one."""
    slots, place = [], 0
    for ingredient, regimens in shelf.regimens.items():
        mine = []
        for regimen in regimens:
            state = fit // 3**place % 3
            place += 1
            if state:
                mine.append(Slot(ingredient, regimen, state == 2))
        slots += mine or [Slot(ingredient, None, False)]
    return slots


def _compared(group: pl.DataFrame, amount: pl.DataFrame, regimen: Regimen, number: int) -> list[pl.Series]:
    """The states of the regimen's limits, and what each upper limit comes to as a single dose."""
    wide = group.with_columns(amount)
    wide128 = {name: pl.col(name).cast(pl.Int128) for name in ("low", "high", "weight", "most", "mean_n", "mean_d", "gap_n", "gap_d", "course")}
    facts = {
        "weight": (wide128["weight"], 1), "doses": (wide128["most"], 1), "average": (wide128["mean_n"], wide128["mean_d"]),
        "gap": (wide128["gap_n"], wide128["gap_d"]), "course": (wide128["course"], 1),
    }  # fmt: skip
    upper, lower = {**facts, "dose": (wide128["high"], 1)}, {**facts, "dose": (wide128["low"], 1)}
    bounds = [_bound(limit, upper) for limit in regimen.limits]
    least = [pl.min_horizontal(b, _SHOWN_MOST).cast(pl.Int64) if b is not None else pl.lit(None, dtype=pl.Int64) for b in bounds]
    made = wide.select(
        _states(regimen.limits, upper, lower).alias(f"states {number}"),
        pl.col("trouble").alias(f"trouble {number}"),
        pl.col("high").alias(f"high {number}"),
        pl.min_horizontal(least).alias(f"least {number}") if least else pl.lit(None, dtype=pl.Int64).alias(f"least {number}"),
        _first_least(least).alias(f"bound {number}"),
    )
    return made.get_columns()


def _first_least(bounds: list[pl.Expr]) -> pl.Expr:
    least = pl.min_horizontal(bounds)
    chain = pl.when(bounds[0] == least).then(0)
    for index, bound in enumerate(bounds[1:], 1):
        chain = chain.when(bound == least).then(index)
    return chain.otherwise(None).cast(pl.Int64)


def _bound(limit: Limit, facts: dict[str, Any]) -> pl.Expr | None:
    """The single dose, rounded down to a base unit, at which an upper limit just holds; shown, never compared."""
    if limit.main.sense != AT_MOST or limit.beyond:
        return None
    values = [_dose_at(c, facts) for c in limit.comparisons if c.sense == AT_MOST]
    return None if values[0] is None else reduce(lambda a, b: pl.max_horizontal(a, b), values)


def _dose_at(comparison: Comparison, facts: dict[str, Any]) -> pl.Expr | None:
    measure = MEASURES[comparison.measure]
    if measure.over[:1] != ("dose",) or not {*measure.over[1:], *measure.under} <= {"doses", "average", "weight"}:
        return None
    over: Any = pl.lit(comparison.p, dtype=pl.Int128)
    under: Any = pl.lit(comparison.q, dtype=pl.Int128)
    for name in measure.under:
        over, under = over * facts[name][0], under * facts[name][1]
    for name in measure.over[1:]:
        over, under = over * facts[name][1], under * facts[name][0]
    return over // under


def _binding(numbered: pl.DataFrame, slots: int) -> pl.DataFrame:
    """One dose and one bound a row: those of the reading with the least bound (limits are numbered through)."""
    numbers = [n for n in range(slots) if f"least {n}" in numbered.columns]
    if not numbers:
        return numbered.with_columns(pl.lit(None, dtype=pl.Int64).alias(name) for name in ("high", "least", "bound"))
    least = pl.min_horizontal(f"least {n}" for n in numbers)
    high, bound = pl.coalesce(f"high {n}" for n in numbers), pl.lit(None, dtype=pl.Int64)
    for n in reversed(numbers):
        here = pl.col(f"least {n}") == least
        high = pl.when(here).then(pl.col(f"high {n}")).otherwise(high)
        bound = pl.when(here).then(pl.col(f"bound {n}") + n * _MOST_STATES).otherwise(bound)
    return numbered.with_columns(high=high, least=least, bound=bound)


def _classed(about: tuple, medicine: Medicine, shelf: Shelf, slots: list[Slot], values: dict[str, Any]) -> Classed:
    """Judges one class and gathers its texts."""
    _, key, _, ruled = about
    bits = values["flags"]
    missing = {fact for name, bit in _NULLS.items() if bits & bit for fact in _FACT_OF[name]} | {"over", "volume", "given", "surface", "gestation"}
    flags = RowFlags(key.infusion is None, bool(bits & 256), bool(bits & 1), bool(bits & 2), bool(bits & 4), bool(bits & 8), frozenset(missing))
    limits = [(entry, ruled // 3**place % 3) for place, entry in enumerate(shelf.age_limits)]
    parts = [] if flags.no_age else [_part_of(shelf, slot, n, values, missing) for n, slot in enumerate(slots)]
    answered = answers.answer(medicine, shelf, flags, [pair for pair in limits if pair[1] != answers.MET_STATE], parts)
    regimens = [slot.regimen for slot in slots if slot.regimen]
    unit = (regimens[0].span.high or regimens[0].span.low).unit.split("/")[0] if regimens else ""
    bounds = [""] * (_MOST_STATES * len(slots))
    for n, slot in enumerate(slots):
        for place, limit in enumerate(slot.regimen.limits if slot.regimen else ()):
            bounds[n * _MOST_STATES + place] = f"{limit.name}, {limit.text}"
    return Classed(answered, unit, int(factor(unit, regimens[0].kind)) if regimens else 1, tuple(bounds))


def _part_of(shelf: Shelf, slot: Slot, number: int, values: dict[str, Any], missing: set[str]) -> Part:
    if slot.regimen is None:
        return Part(slot.ingredient, None, (), _nothing_fits(shelf, slot.ingredient))
    if slot.unknown:
        fact = next(band.fact for band in slot.regimen.bands if band.fact in missing)
        return Part(slot.ingredient, slot.regimen, (), "weight-missing" if fact == "weight" else "gestation-missing")
    if f"states {number}" not in values:
        return Part(slot.ingredient, slot.regimen, (), "")
    states = tuple(values[f"states {number}"] // 3**place % 3 for place in range(len(slot.regimen.limits)))
    return Part(slot.ingredient, slot.regimen, states, values[f"trouble {number}"] or "")


def _nothing_fits(shelf: Shelf, ingredient: str) -> str:
    """The same codes, in the same order, as `rules/check.py` gives where no regimen is read."""
    if shelf.regimens[ingredient]:
        return "no-regimen-for-child"
    if shelf.problems:
        return ""
    covered = any(ingredient in r.covers for each in shelf.regimens.values() for r in each)
    return "ingredient-amount-unknown" if covered else "ingredient-without-regimen"
