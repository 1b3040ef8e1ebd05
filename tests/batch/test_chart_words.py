"""Words put together by columns = the words of each finding alone, by the functions that write them for a single order."""

from __future__ import annotations

import random
from datetime import UTC, tzinfo
from fractions import Fraction
from typing import Any
from zoneinfo import ZoneInfo

import polars as pl
import pytest
from batch.test_charts import LIMITS, LONDON, chart, rows_of, some_rows

from dosecheck.batch.chart_limits import bound_of
from dosecheck.batch.chart_parts import parts
from dosecheck.batch.chart_words import chart_texts
from dosecheck.batch.local_times import local_times
from dosecheck.quantity import Quantity
from dosecheck.reading.clock import at_instant
from dosecheck.records import NOT_CHECKED, QUERY, STOP, WITHIN
from dosecheck.rules.catalogue import CATALOGUE
from dosecheck.rules.codes import Finding, times_in_words
from dosecheck.showing import show, show_length

ZONES = [UTC, *map(ZoneInfo, ("UTC", "Europe/London", "Australia/Lord_Howe", "Asia/Kathmandu", "America/St_Johns"))]


@pytest.mark.parametrize("zone", ZONES, ids=str)
def test_local_times_are_those_of_each_instant_alone(zone: tzinfo) -> None:
    """Clocks of these zones change on the hour, by half an hour (Lord Howe), and at one minute past midnight (St John's, until 2011)."""
    rng = random.Random(7)
    changes = (1_792_890_000, 1_774_746_000, 1_775_314_800, 1_301_800_000, 1_289_097_000)
    instants = [None, 0, *(rng.randrange(2**32) for _ in range(300)), *(at + step for at in changes for step in range(-9000, 9000, 250))]
    alone = [None if at is None else at_instant(at, zone) for at in instants]
    mark = "Z" if zone is UTC else "+00:00"
    found = local_times(pl.Series(instants, dtype=pl.Int64), zone)
    assert found["iso"].to_list() == [at and at.isoformat().replace("+00:00", mark) for at in alone]
    assert found["said"].to_list() == [at and f"{at:%Y-%m-%d %H:%M}" + " UTC" * (zone is UTC) for at in alone]


def alone(row: dict[str, Any]) -> str:
    """The sentence of one finding of doses that broke a figure, or that are named all alike."""
    line = None if row["line"] is None else LIMITS.lines[row["line"]]
    told: dict[str, Any] = {"ingredient": line and line.ingredient, "which": which(row["rows"], row["doses"]), "name": row["about"]}
    if row["about"] in CATALOGUE:
        told["why"] = CATALOGUE[row["about"]].brief
    if row["figure"] is None:
        return Finding(row["code"], "", told).message
    figure = LIMITS.figures(row["rule"])[row["figure"]]
    bound, value = bound_of(figure, row["weight"]), row["value"]
    told |= {"limit": figure.limit.text, "name": figure.limit.name, "comes": "", "times": Fraction(value) / bound}
    if figure.base == "gap":
        told["value"] = show_length(value) if value else "no time"
        told["next"] = f"{at_instant(row['at'] - value + bound, LONDON):%Y-%m-%d %H:%M}"
    elif figure.base == "doses":
        told["value"] = f"{value:,} doses in 24 hours"
    else:
        told["value"] = show(Quantity(value, line.kind, line.unit)) + " in 24 hours"
        comes = show(Quantity(bound, line.kind, line.unit), down=True)
        told["comes"] = f", which is {comes} for this child" * figure.per_kg
    more = f", the worst of {row['doses']:,} doses one after another" * (row["doses"] > 1)
    return f"At {at_instant(row['at'], LONDON):%Y-%m-%d %H:%M}{more}: {Finding(row['code'], '', told).message}"


def which(rows: list[int], count: int | None) -> str:
    if len(rows) == 1:
        return f"row {rows[0]:,}"
    *first, last = (f"{row:,}" for row in rows)
    if (count or 0) > len(rows):
        return f"rows {', '.join([*first, last])} and {count - len(rows):,} more"
    return f"rows {', '.join(first)} and {last}"


@pytest.mark.parametrize("seed", range(12))
def test_each_sentence_is_that_of_the_finding_alone(seed: int) -> None:
    more = [
        *rows_of("04 08:00", "04 08:00", "04 09:00", None, child_id="SM-003"),
        *rows_of("04 08:00", dose="5 mL", child_id="SM-003"),
        *rows_of(*["04 08:00"] * 30, medicine="nonsense", child_id="SM-004"),
        *rows_of("04 08:00", sex="male", child_id="SM-005"),
        *rows_of("04 08:00", sex="female", child_id="SM-005"),
    ]
    found = chart([*some_rows(seed), *more]).found.with_columns(pl.col("rows").list.eval(pl.element() * (10 ** (seed % 7))))
    texts = chart_texts(found, LIMITS, LONDON)
    assert texts["sentence"].to_list() == [alone(row) for row in found.iter_rows(named=True)]
    assert texts["outcome"].to_list() == [(WITHIN, QUERY, NOT_CHECKED, STOP)[rank] for rank in found["rank"]]
    assert {"children-disagree", "given-medicine-unknown", "given-amount-unknown"} <= set(texts["code"])


def test_ratios_that_share_their_words_round_alike() -> None:
    """Every ratio of a daily total to its figure is told as `times_in_words` tells it, whichever was put into words first."""
    rules = {rule: n for n, rule in enumerate(map(str, range(len(LIMITS.regimens)))) for f in LIMITS.figures(rule) if f.base == "daily"}
    rule = min(rules)
    number, figure = next((n, f) for n, f in enumerate(LIMITS.figures(rule)) if f.base == "daily")
    bound = bound_of(figure, 14_200_000_000_000)
    ratios = [Fraction(n, d) for d in (1, 3, 1000, 20_000, 400_000) for n in range(d, 3 * d, max(1, d // 500))] + [
        Fraction(n, 8) for n in range(8, 400)
    ]
    values = sorted({int(ratio * bound) + odd for ratio in ratios for odd in (0, 1)} - {int(bound)})
    kept = {"line": 0, "rule": rule, "figure": number, "weight": 14_200_000_000_000, "about": None}
    found = pl.DataFrame({"value": values}).with_columns(pl.lit(value).alias(name) for name, value in kept.items())
    random.Random(7).shuffle(values)
    assert parts(found, LIMITS)["times"].to_list() == [times_in_words(value / bound) for value in found["value"]]
