"""Rows of a file as doses given: when, of which ingredients, how much of each, and which limits they are held against.

The table that it makes is all that `charts.py` looks at, so parts of a file can be read apart, in other processes, and
put together by child.  Amounts are the one-order engine's own (`rules/amounts.py`), in whole base units or not counted.
"""

from __future__ import annotations

from datetime import tzinfo
from fractions import Fraction
from typing import NamedTuple

import polars as pl

from dosecheck.batch.amounts import CEILING, Scaled, dose_columns, is_slow, scaled, table_of
from dosecheck.batch.chart_limits import ChartLimits
from dosecheck.batch.columns import FREQUENCY, Columns, Read, distinct, exact_int
from dosecheck.batch.moments import Moments
from dosecheck.errors import InputError
from dosecheck.formulary.medicine import Medicine, Product
from dosecheck.reading import Dose
from dosecheck.reading.numbers import MISSING
from dosecheck.records import Child, read_field
from dosecheck.rules.amounts import Amount, Given, amount_of

GIVEN_AT = "given_at"
_FIELDS = ("medicine", "product", "dose", "weight", "height", "born", "sex", *FREQUENCY)
NO_LINE = -1  # a medicine that the formulary does not have, or none that can be read
_MOST_KNOWN = 200_000  # distinct doses remembered; beyond it the memory starts afresh
MOST = 1_000_000  # doses under one reference: one every ten minutes for 18 years is fewer
DOSES = {
    "row": pl.Int64,
    "child_id": pl.String,
    "born": pl.Int32,
    "sex": pl.String,
    "at": pl.Int64,
    "at_last": pl.Int64,
    "line": pl.Int32,
    "amount": pl.Int64,
    "weight": pl.Int64,
    "rule": pl.String,
    "trouble": pl.String,
}


class Dated(NamedTuple):
    """Rows with the date of each dose, and what `Moments.read` found."""

    rows: pl.DataFrame
    moments: pl.DataFrame


class Doses:
    """Reads chunk after chunk of text columns; what it learns of a chunk is kept for the next."""

    def __init__(self, limits: ChartLimits, zone: tzinfo | None = None) -> None:
        self.limits, self.formulary = limits, limits.formulary
        self._columns, self._moments = Columns(), Moments(zone)
        self._scaled: dict[tuple, tuple[object, Scaled]] = {}

    def dated(self, rows: pl.DataFrame) -> Dated:
        """The rows with the date of the dose, where they give no date of their own, so that age and figures go by it.

        Args:
            rows: text columns named as the options of `dosecheck order`, with "child_id" and "given_at".
        """
        moments = self._moments.read(rows[GIVEN_AT])
        dates = pl.select((moments["day"] - _EPOCH).cast(pl.Date).cast(pl.String)).to_series()
        return Dated(rows.with_columns(pl.col("on").fill_null(dates) if "on" in rows.columns else dates.alias("on")), moments)

    def of(self, dated: Dated, regimen: pl.Series, first: int) -> pl.DataFrame:
        """The doses of a chunk.

        Args:
            regimen: the column of that name of the rows' results.
            first: the number of the first row, from 1.

        Returns:
            One row for each ingredient of each row, with the columns of DOSES: `amount` in base units, `weight` in
            nanograms, `born` as a number of days, `at` and `at_last` in seconds; `trouble` is a code where the amount is not known.
        """
        rows, moments = dated
        read = self._columns.read(rows.select(name for name in rows.columns if name in _FIELDS))
        about = pl.DataFrame(
            {
                "place": pl.int_range(len(rows), dtype=pl.UInt32, eager=True),
                "child_id": _references(rows["child_id"]),
                "born": read.column("born", lambda day: day.toordinal(), pl.Int32),
                "sex": read.column("sex", str, pl.String),
                **{name: moments[name] for name in ("at", "at_last")},
                "weight": read.column("weight", lambda w: exact_int(w.value), pl.Int64),
                "named": self._named(read, regimen),
                "dose": read.codes("dose"),
            }
        ).with_columns(row=pl.col("place").cast(pl.Int64) + first)
        doses = about.join(self._lines, on="named", how="left", maintain_order="left")
        return self._with_amounts(read, rows, doses).select(pl.col(name).cast(kind) for name, kind in DOSES.items())

    def _named(self, read: Read, regimen: pl.Series) -> pl.Series:
        """Which medicine, product and regimens each row has; `_lines` and `_parts` say what is in them."""
        asked, regimens = read.combinations(("medicine", "product")), distinct(regimen)
        key = asked.index.cast(pl.Int64) * (len(regimens.values) + 1) + regimens.index.cast(pl.Int64).fill_null(len(regimens.values))
        index, keys = distinct(key)
        self._parts: list[tuple[Medicine, Product | None, str, str]] = []
        rows = []
        for number, each in enumerate(keys):
            place, told = divmod(each, len(regimens.values) + 1)
            rows += self._inside(number, *asked.values[place], (*regimens.values, None)[told])
        schema = {"named": pl.UInt32, "line": pl.Int32, "rule": pl.String, "part": pl.Int64, "lacks": pl.String}
        self._lines = pl.DataFrame(rows, schema=schema, orient="row")
        return index

    def _inside(self, number: int, name: str | None, product: str | None, regimens: str | None) -> list[tuple]:
        medicine = self.formulary.medicine(name)
        if medicine is None:
            return [(number, NO_LINE, "", None, "medicine-unknown")]
        used = medicine.product(product) if product else None
        lacks = "product-unknown" if product and used is None else None
        found = []
        for line, ingredient, rule in self.limits.of(medicine, used, regimens):
            found.append((number, line, rule, len(self._parts), lacks))
            self._parts.append((medicine, used, ingredient.id, self.limits.lines[line].kind))
        return found

    def _with_amounts(self, read: Read, rows: pl.DataFrame, doses: pl.DataFrame) -> pl.DataFrame:
        """Each distinct dose of each part is converted once; times the weight, or shared out, by columns."""
        texts = read.given["dose"].values if "dose" in read.given else []
        pair = doses.select((pl.col("part").fill_null(0) * (len(texts) + 1) + pl.col("dose")).cast(pl.Int64)).to_series()
        index, pairs = distinct(pair)
        table = table_of([self._once(*divmod(each, len(texts) + 1), texts) for each in pairs])
        often = read.combinations(FREQUENCY)
        often_of = pl.DataFrame(
            [self._columns.frequency(each)[:3] for each in often.values],
            schema=dict.fromkeys(("most", "mean_n", "mean_d"), pl.Int64),
            orient="row",
        )[often.index.gather(doses["place"])]
        wide = pl.concat([doses.select("weight", dose=index), often_of], how="horizontal")
        amounts = dose_columns(wide, table)
        lacks = pl.coalesce(doses["lacks"], pl.when(amounts["trouble"] != "").then(amounts["trouble"].cast(pl.String)))
        doses = doses.with_columns(lacks.alias("trouble"), amount=pl.when(lacks.is_null()).then(amounts["high"]))
        alone = doses.select((pl.lit(amounts["slow"]) & pl.col("trouble").is_null()).arg_true()).to_series()
        return self._one_by_one(rows, doses, alone, texts) if len(alone) else doses

    def _once(self, part: int, dose: int, texts: list) -> Scaled:
        """`dose` is 0 where none is given, else one more than its place in `texts`."""
        value = texts[dose - 1] if dose else None
        if value is None or part >= len(self._parts):
            return Scaled(None, None, False, False, "dose-missing")
        if value.per == "time":
            return Scaled(None, None, False, False, "earlier-beside-infusion")
        if is_slow(value):
            return Scaled(None, None, False, False, "", slow=True)
        medicine, product, ingredient, kind = self._parts[part]
        key = (medicine.id, product and product.id, ingredient, kind, id(value))
        if key not in self._scaled:
            if len(self._scaled) >= _MOST_KNOWN:
                self._scaled.clear()
            self._scaled[key] = (value, scaled(value, medicine, product, ingredient, kind))
        return self._scaled[key][1]

    def _one_by_one(self, rows: pl.DataFrame, doses: pl.DataFrame, alone: pl.Series, texts: list) -> pl.DataFrame:
        """Doses per m2, and those that columns cannot hold; what is no whole number of base units is not counted."""
        amounts, troubles = [], []
        for part, dose, place in doses.select("part", "dose", "place")[alone].iter_rows():
            found = self._alone(rows.row(place, named=True), self._parts[part], texts[dose - 1])
            amounts.append(None if isinstance(found, str) else found)
            troubles.append(found if isinstance(found, str) else None)
        return doses.with_columns(
            doses["amount"].scatter(alone, pl.Series(amounts, dtype=pl.Int64)),
            doses["trouble"].scatter(alone, pl.Series(troubles, dtype=pl.String)),
        )

    def _alone(self, row: dict[str, str | None], part: tuple, dose: Dose) -> int | str:
        medicine, product, ingredient, kind = part
        try:
            child = Child(**{field: row[field] for field in ("weight", "height") if row.get(field) is not None})
            often = tuple(read_field(field, row[field]) if row.get(field) is not None else None for field in FREQUENCY)
            most, over, under = self._columns.frequency(often)[:3]
            doses = Fraction(most) if most is not None and (over, under) == (most, 1) else None
            found = amount_of(dose, medicine.ingredient(ingredient), kind, Given(medicine, product, child, doses))
        except InputError:
            return "unreadable"
        if not isinstance(found, Amount):
            return found[0]
        value = found.high.value
        return value.numerator if value.denominator == 1 and value <= CEILING else "not-whole"


def _references(column: pl.Series) -> pl.Series:
    """Without outer spaces; a place-holder such as "unknown" is no reference, or strangers would share a chart."""
    bare = column.str.strip_chars()
    return pl.select(pl.when(~bare.str.to_lowercase().is_in(list(MISSING))).then(bare)).to_series()


_EPOCH = 719_163  # 1970-01-01 as a number of days from 0001-01-01, which is 1
