"""What charts in bulk show, as text: one row a finding, in the catalogue's sentences; times in a zone, amounts with units."""

from __future__ import annotations

from datetime import UTC, tzinfo
from fractions import Fraction
from typing import Any

import polars as pl

from dosecheck.batch.chart_limits import ChartLimits, bound_of
from dosecheck.quantity import Quantity
from dosecheck.reading.clock import at_instant
from dosecheck.records import NOT_CHECKED, QUERY, STOP, WITHIN
from dosecheck.rules.catalogue import CATALOGUE
from dosecheck.rules.codes import Finding
from dosecheck.rules.windows import DAY
from dosecheck.showing import show, show_length

CHART_COLUMNS = (
    "child_id",
    "ingredient",
    "outcome",
    "code",
    "at",
    "window_start",
    "value",
    "limit",
    "doses",
    "first_at",
    "last_at",
    "rows",
    "regimen",
    "source",
    "sentence",
)
_OUTCOMES = (WITHIN, QUERY, NOT_CHECKED, STOP)
_OWN = {"not-whole": "It is no whole number of nanograms, or more than 1 kg.", "product-unknown": "The product is not in this formulary."}


def chart_texts(found: pl.DataFrame, limits: ChartLimits, zone: tzinfo | None = None) -> pl.DataFrame:
    """The columns of CHART_COLUMNS, all text, for each row of `found` (`charts.FOUND`), in its order.

    `window_start` is outside its window: a dose given exactly then is not counted.
    """
    words = _Words(limits, zone or UTC)
    return pl.DataFrame(
        [words.of(row) for row in found.iter_rows(named=True)], schema=dict.fromkeys(CHART_COLUMNS, pl.String), orient="row"
    )


class _Words:
    def __init__(self, limits: ChartLimits, zone: tzinfo) -> None:
        self.limits, self.zone = limits, zone

    def of(self, row: dict[str, Any]) -> tuple[str | None, ...]:
        line = None if row["line"] is None else self.limits.lines[row["line"]]
        figure = None if row["figure"] is None else self.limits.figures(row["rule"])[row["figure"]]
        told = self._told(row, line, figure)
        code, outcome = row["code"], _OUTCOMES[row["rank"]]
        windowed = code in ("too-many-with-earlier", "day-above-with-earlier")
        message = Finding(code, outcome, told).message
        return (
            row["child_id"],
            line and line.ingredient,
            outcome,
            code,
            self._time(row["at"]),
            self._time(row["at"] - DAY) if windowed else None,
            told.get("value"),
            told.get("limit"),
            None if row["doses"] is None else str(row["doses"]),
            self._time(row["since"]),
            self._time(row["until"]),
            ", ".join(map(str, row["rows"])),
            figure and figure.regimen.full_id,
            figure and figure.regimen.source,
            f"{self._lead(row)}{message}",
        )

    def _lead(self, row: dict[str, Any]) -> str:
        """Which dose the sentence is about, where it is about one."""
        if row["since"] is None:
            return ""
        more = f", the worst of {row['doses']:,} doses one after another" if row["doses"] > 1 else ""
        return f"At {self._said(row['at'])}{more}: "

    def _said(self, instant: int) -> str:
        return f"{at_instant(instant, self.zone):%Y-%m-%d %H:%M}" + (" UTC" if self.zone is UTC else "")

    def _time(self, instant: int | None) -> str | None:
        return (
            None if instant is None else at_instant(instant, self.zone).isoformat().replace("+00:00", "Z" if self.zone is UTC else "+00:00")
        )

    def _told(self, row: dict[str, Any], line: Any, figure: Any) -> dict[str, Any]:
        """The data of the finding's sentence."""
        told: dict[str, Any] = {"ingredient": line.ingredient if line else "", "which": _rows(row)}
        if row["code"] == "children-disagree":
            told["name"] = row["about"]
        elif row["about"]:
            told["why"] = _OWN.get(row["about"]) or CATALOGUE[row["about"]].brief.format_map({"limit": ""})
        if figure is None:
            return told
        value, bound = int(row["value"]), bound_of(figure, row["weight"])
        told |= {"limit": figure.limit.text, "name": figure.limit.name, "comes": ""}
        if figure.base == "gap":
            return {**told, "value": show_length(value) if value else "no time", "next": self._said(row["at"] - value + int(bound))}
        if figure.base == "doses":
            return {**told, "value": f"{value:,} doses in 24 hours"}
        if figure.per_kg:
            told["comes"] = f", which is {show(Quantity(bound, line.kind, line.unit), down=True)} for this child"
        return {**told, "value": f"{show(Quantity(value, line.kind, line.unit))} in 24 hours", "times": Fraction(value) / bound}


def _rows(row: dict[str, Any]) -> str:
    """ "row 3", "rows 3 and 9", "rows 1, 2, 3 and 40 more"."""
    rows, count = row["rows"], row["doses"] if row["since"] is None and row["doses"] else len(row["rows"])
    if len(rows) == 1:
        return f"row {rows[0]:,}"
    if count > len(rows):
        return f"rows {', '.join(f'{n:,}' for n in rows)} and {count - len(rows):,} more"
    return f"rows {', '.join(f'{n:,}' for n in rows[:-1])} and {rows[-1]:,}"
