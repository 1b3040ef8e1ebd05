"""The parts of the sentences about charts: each is made by the functions that write it for a single order, once for each
combination of values that differs.
"""

from __future__ import annotations

from fractions import Fraction

import polars as pl

from dosecheck.batch.chart_limits import ChartLimits, Figure, bound_of
from dosecheck.batch.each import each
from dosecheck.quantity import Quantity
from dosecheck.rules.catalogue import CATALOGUE
from dosecheck.rules.codes import times_in_words
from dosecheck.showing import show, show_length

_OWN = {"not-whole": "It is no whole number of nanograms, or more than 1 kg.", "product-unknown": "The product is not in this formulary."}
_FIGURE = {
    "rule": pl.String,
    "figure": pl.Int8,
    "base": pl.String,
    "limit": pl.String,
    "name": pl.String,
    "gap": pl.Int64,
    "per_kg": pl.Boolean,
    "regimen": pl.String,
    "source": pl.String,
}


def parts(found: pl.DataFrame, limits: ChartLimits) -> pl.DataFrame:
    """`ingredient`, `value`, `limit`, `name`, `comes`, `times`, `why`, `regimen`, `source`: null where a finding has none.

    `gap` is the shortest gap that was broken, in seconds.

    Args:
        found: the columns of `charts.FOUND`.
    """
    writer = _Writer(limits)
    rows = found.select("line", "rule", "figure", "weight", "about", pl.col("value").cast(pl.Int64))
    rows = rows.join(_figures(rows, limits), on=["rule", "figure"], how="left", nulls_equal=True, maintain_order="left")
    rows = rows.with_columns(pl.when("per_kg").then("weight"))
    return rows.select(
        "limit",
        "gap",
        "regimen",
        "source",
        ingredient=each(rows.select("line"), writer.ingredient),
        value=each(rows.select("line", "base", "value"), writer.value),
        name=pl.coalesce("name", "about"),
        comes=each(rows.select("line", "rule", "figure", "weight"), writer.comes),
        times=each(rows.select("base", "rule", "figure", "weight", "value"), writer.times),
        why=each(rows.select("about"), _why),
    )


def _figures(rows: pl.DataFrame, limits: ChartLimits) -> pl.DataFrame:
    """Each figure that was broken."""
    broken = rows.select("rule", "figure").drop_nulls().unique()
    told = [(*key, *_figure(limits.figures(key[0])[key[1]])) for key in broken.iter_rows()]
    return pl.DataFrame(told, schema=_FIGURE, orient="row")


def _figure(figure: Figure) -> tuple:
    gap = int(bound_of(figure, None)) if figure.base == "gap" else None
    regimen, limit = figure.regimen, figure.limit
    return (figure.base, limit.text, limit.name, gap, figure.per_kg, regimen.full_id, regimen.source)


def _why(about: str | None) -> str | None:
    """Why a dose is not counted, by its code."""
    if about not in CATALOGUE:
        return _OWN.get(about)
    return CATALOGUE[about].brief.format_map({"limit": ""})


class _Writer:
    def __init__(self, limits: ChartLimits) -> None:
        self._limits = limits
        self._known: dict[tuple, str] = {}

    def ingredient(self, line: int | None) -> str | None:
        return None if line is None else self._limits.lines[line].ingredient

    def value(self, line: int | None, base: str | None, value: int | None) -> str | None:
        """The total, number or gap that broke a figure."""
        if base is None:
            return None
        if base == "gap":
            return show_length(value) if value else "no time"
        if base == "doses":
            return f"{value:,} doses in 24 hours"
        return f"{self._shown(line, Fraction(value))} in 24 hours"

    def comes(self, line: int, rule: str, number: int | None, weight: int | None) -> str:
        """What a figure per kg is for the child of this weight."""
        if weight is None:
            return ""
        bound = bound_of(self._limits.figures(rule)[number], weight)
        return f", which is {self._shown(line, bound, down=True)} for this child"

    def times(self, base: str | None, rule: str, number: int, weight: int | None, value: int) -> str | None:
        """How many times the figure a total is; ratios that round alike at every place are put into words once."""
        if base != "daily":
            return None
        p, q, _ = self._limits.figures(rule)[number].first
        over, under = value * q, p * (weight or 1)
        finest = 200 if over * 100 >= under * 101 else 20_000  # halves of the last place that the words round to
        whole, rest = divmod(over * finest, under)
        key = (finest, whole, rest == 0)
        if key not in self._known:
            self._known[key] = times_in_words(Fraction(over, under))
        return self._known[key]

    def _shown(self, line: int, value: Fraction, down: bool = False) -> str:
        return show(Quantity(value, self._limits.lines[line].kind, self._limits.lines[line].unit), down)
