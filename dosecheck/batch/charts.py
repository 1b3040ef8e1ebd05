"""Charts in bulk: the doses of many children, held against the limits that look back over 24 hours.

Every dose is looked at as a single order given at its time is, with the child's other doses up to then as told before
it (`rules/with_earlier.py`): the same windows, figures, codes and outcomes.  Rows may come in any order; all of a child's
must come together.  Totals over a course or an episode are not held: a file does not say where one begins.
"""

from __future__ import annotations

from typing import NamedTuple

import polars as pl

from dosecheck.batch.chart_limits import GOES_ALONG, UNREAD, ChartLimits, Figure
from dosecheck.batch.columns import distinct
from dosecheck.batch.doses import MOST, NO_LINE
from dosecheck.batch.windows_columns import rolled
from dosecheck.records import NOT_CHECKED, QUERY, STOP, WITHIN
from dosecheck.rules.windows import DAY

CODES = {"gap": "too-soon", "doses": "too-many-with-earlier", "daily": "day-above-with-earlier"}
SHOWN = 20  # row numbers in one finding
_RANKS = (WITHIN, QUERY, NOT_CHECKED, STOP)
FOUND = {
    "child_id": pl.String,
    "line": pl.Int32,
    "code": pl.String,
    "rank": pl.Int8,
    "at": pl.Int64,
    "since": pl.Int64,
    "until": pl.Int64,
    "doses": pl.Int64,
    "value": pl.Int128,
    "weight": pl.Int64,
    "rule": pl.String,
    "figure": pl.Int8,
    "rows": pl.List(pl.Int64),
    "about": pl.String,
}


class Charted(NamedTuple):
    """`found`: one row a finding, with the columns of FOUND; `outcomes`: charts (one ingredient of one child) by outcome."""

    found: pl.DataFrame
    children: int
    outcomes: dict[str, int]


def chart_rows(doses: pl.DataFrame, limits: ChartLimits) -> pl.DataFrame:
    """What the charts of some children show; nothing else is looked at, so children can be parted as one likes.

    Args:
        doses: the columns of `doses.DOSES`, all rows of each child that is in it, in any order.

    Returns:
        One row a finding, the columns of FOUND.  Doses that broke one limit one after another are one finding, told of the
        worst of them: `at` its time, `since` and `until` the first and the last dose of the stretch, `doses` how many,
        `value` the total, number or gap, `weight` that row's, `rule` and `figure` which figure, `rows` those in its window.
        `rank`: 3 stop, 2 not-checked, 1 query.  `about`: what is told of a dose that could not be counted.
    """
    return charted(doses, limits).found


def charted(doses: pl.DataFrame, limits: ChartLimits) -> Charted:
    """As `chart_rows`, with how many charts came to which outcome; a child with more doses than MOST has one."""
    known = doses.filter(pl.col("child_id").is_not_null())
    crowded = _crowded(known)
    known = known.join(crowded, on="child_id", how="anti") if len(crowded) else known
    known = known.with_columns(child=distinct(known["child_id"]).index)  # numbers are grouped faster than names
    mixed = _disagreeing(known)
    fair = known.join(mixed, on="child_id", how="anti") if len(mixed) else known
    parts = [crowded, mixed, _apart(fair)]
    timed = fair.filter(pl.col("at").is_not_null() & (pl.col("line") != NO_LINE))
    if len(timed):
        parts += _held(timed, limits)
    found = pl.concat([pl.DataFrame(schema=FOUND), *(_shaped(part) for part in parts)]).sort(*_ORDER, pl.col("rows").list.first())
    outcomes = _outcomes(known, found, limits)
    outcomes[NOT_CHECKED] += len(crowded)
    return Charted(found, known["child"].n_unique() + len(crowded), outcomes)


_ORDER = ("child_id", "at", "line", "code", "figure", "about", "value")  # and the first row: no two findings are alike in all


def _shaped(found: pl.DataFrame) -> pl.DataFrame:
    return found.select(
        pl.col(name).cast(kind) if name in found.columns else pl.lit(None, dtype=kind).alias(name) for name, kind in FOUND.items()
    )


def _rank(outcome: str) -> int:
    return _RANKS.index(outcome)


def _outcomes(doses: pl.DataFrame, found: pl.DataFrame, limits: ChartLimits) -> dict[str, int]:
    """A finding about a child as a whole is one about each of the child's charts; a chart without a figure or a finding is none."""
    due = [rule for rule in doses["rule"].unique() if limits.figures(rule)]
    charts = doses.group_by("child", "line").agg(pl.first("child_id"), pl.col("rule").is_in(due).any().alias("due"))
    own = found.filter(pl.col("line").is_not_null()).group_by("child_id", "line").agg(pl.col("rank").max())
    whole = found.filter(pl.col("line").is_null()).group_by("child_id").agg(pl.col("rank").max().alias("whole"))
    ranks = charts.join(own, on=["child_id", "line"], how="left").join(whole, on="child_id", how="left")
    ranks = ranks.with_columns(most=pl.max_horizontal("rank", "whole"))
    counted = ranks.filter(pl.col("due") | pl.col("most").is_not_null())["most"].fill_null(0)
    return {outcome: int((counted == rank).sum()) for rank, outcome in enumerate(_RANKS)}


# ---- what keeps a chart from being checked ----


def _crowded(doses: pl.DataFrame) -> pl.DataFrame:
    """References with more doses than any child is given: nothing under them is looked at."""
    counts = doses.group_by("child_id").len() if len(doses) > MOST else pl.DataFrame(schema={"child_id": pl.String, "len": pl.Int64})
    rows = doses.join(counts.filter(pl.col("len") > MOST), on="child_id", how="semi").group_by("child_id").agg(_rows())
    return rows.with_columns(code=pl.lit("given-to-too-many"), rank=_rank(NOT_CHECKED))


def _disagreeing(doses: pl.DataFrame) -> pl.DataFrame:
    """Children whose rows disagree: their doses are never added up."""
    found = []
    for name, about in (("born", "date of birth"), ("sex", "sex")):
        told = doses.filter(pl.col(name).is_not_null()).select("child", "child_id", name, "row")
        odd = told.group_by("child").agg(least=pl.col(name).min(), most=pl.col(name).max()).filter(pl.col("least") != pl.col("most"))
        rows = told.join(odd, on="child", how="semi").group_by("child_id").agg(_rows())
        found.append(rows.with_columns(about=pl.lit(about)))
    both = pl.concat(found).group_by("child_id").agg(pl.col("rows").list.explode().unique().sort().head(SHOWN), pl.col("about").sort())
    return both.with_columns(pl.col("about").list.join(" and the "), code=pl.lit("children-disagree"), rank=_rank(NOT_CHECKED))


def _rows() -> pl.Expr:
    return pl.col("row").unique().sort().head(SHOWN).alias("rows")


def _named(doses: pl.DataFrame, by: tuple[str, ...], code: str) -> pl.DataFrame:
    """One finding for all doses alike."""
    found = doses.group_by(by).agg(_rows(), pl.col("row").n_unique().alias("doses"))
    return found.with_columns(code=pl.lit(code), rank=pl.lit(_rank(NOT_CHECKED)))


def _apart(doses: pl.DataFrame) -> pl.DataFrame:
    """Doses of an unknown medicine, which may hold any ingredient; and those that have no time."""
    unknown = doses.filter(pl.col("line") == NO_LINE)
    untimed = doses.filter(pl.col("at").is_null() & (pl.col("line") != NO_LINE))
    return pl.concat(
        [
            _shaped(_named(unknown, ("child_id",), "given-medicine-unknown")),
            _shaped(_named(untimed, ("child_id", "line"), "given-time-unknown")),
        ]
    )


# ---- the doses that have a time ----


def _held(doses: pl.DataFrame, limits: ChartLimits) -> list[pl.DataFrame]:
    """Every dose against every figure of its rule."""
    rules = sorted(doses["rule"].unique())
    ruled = doses["rule"].cast(pl.Enum(rules)).to_physical().alias("ruled")
    charts = doses.select(pl.col("child").cast(pl.Int64) * len(limits.lines) + pl.col("line")).to_series()
    wide = rolled(doses.drop("born", "sex", "child").with_columns(ruled, group=distinct(charts).index)).with_row_index("place")
    held = {base: _broken(wide, base, [limits.figures(rule) for rule in rules]) for base in CODES}
    parts = [_stretches(wide, broken, base) for base, broken in held.items()]
    return [*parts, _twice(wide), *_not_held(wide, rules, limits)]


def _broken(wide: pl.DataFrame, base: str, figures: list[list[Figure]]) -> pl.DataFrame:
    """For each dose that breaks a figure of this base, the worst: its rank and its place among the rule's figures."""
    chosen = [[(n, figure) for n, figure in enumerate(each) if figure.base == base] for each in figures]
    best = pl.DataFrame(
        {"rank": pl.repeat(0, len(wide), dtype=pl.Int8, eager=True), "figure": pl.repeat(-1, len(wide), dtype=pl.Int8, eager=True)}
    )
    rows = wide.select("ruled", "weight", "total", "count", "gap", "earlier")
    for slot in range(max(map(len, chosen), default=0)):
        slots = _slots([each[slot] if slot < len(each) else None for each in chosen])
        beside = pl.concat([rows, slots[rows["ruled"]], best.rename({"rank": "was", "figure": "whose"})], how="horizontal")
        worse = (pl.col("now") > pl.col("was")).fill_null(False)
        best = beside.with_columns(now=_rank_of(base)).select(
            rank=pl.when(worse).then("now").otherwise("was").cast(pl.Int8),
            figure=pl.when(worse).then("number").otherwise("whose").cast(pl.Int8),
        )
    return pl.concat([wide.select("place"), best], how="horizontal").filter(pl.col("rank") > 0)


_SLOT = {
    "number": pl.Int8,
    "per_kg": pl.Boolean,
    "p": pl.Int128,
    "q": pl.Int128,
    "one": pl.Int8,
    "p2": pl.Int128,
    "q2": pl.Int128,
    "two": pl.Int8,
}


def _slots(figures: list[tuple[int, Figure] | None]) -> pl.DataFrame:
    """One figure of each rule as columns; nulls where a rule has no more."""
    rows = []
    for each in figures:
        if each is None:
            rows.append((None,) * len(_SLOT))
            continue
        number, figure = each
        p, q, outcome = figure.first
        p2, q2, further = figure.further or (None, None, outcome)
        rows.append((number, figure.per_kg, p, q, _rank(outcome), p2, q2, _rank(further)))
    return pl.DataFrame(rows, schema=_SLOT, orient="row")


def _rank_of(base: str) -> pl.Expr:
    """The rank of what a dose breaks, 0 where it keeps the figure; where there is no dose before it, its own row's answer tells."""
    times = pl.when("per_kg").then(pl.col("weight")).otherwise(1).cast(pl.Int128)
    value = pl.col({"daily": "total", "doses": "count", "gap": "gap"}[base]).cast(pl.Int128)

    def beyond(p: str, q: str) -> pl.Expr:
        ends = value * pl.col(q), pl.col(p) * times
        return ((ends[0] < ends[1]) if base == "gap" else (ends[0] > ends[1])).fill_null(False)

    rank = pl.when(beyond("p2", "q2")).then("two").when(beyond("p", "q")).then("one").otherwise(0)
    return pl.when(pl.col("earlier") > 0).then(rank).otherwise(0)


def _stretches(wide: pl.DataFrame, broken: pl.DataFrame, base: str) -> pl.DataFrame:
    """Doses that broke figures one after another are one finding: the worst dose, and how long it lasted."""
    value = {"daily": "total", "doses": "count", "gap": "gap"}[base]
    rows = broken.join(wide, on="place", how="left", maintain_order="left")
    rows = rows.with_columns(value=pl.col(value).cast(pl.Int128))
    starts = (pl.col("place") != pl.col("place").shift(1) + 1) | (pl.col("group") != pl.col("group").shift(1))
    rows = rows.with_columns(stretch=starts.fill_null(True).cum_sum())
    spans = rows.group_by("stretch").agg(since=pl.col("at").min(), until=pl.col("at").max(), doses=pl.len())
    worst = rows.sort("rank", "value", "at", "place", descending=[True, base != "gap", False, False]).unique("stretch", keep="first")
    found = worst.join(spans, on="stretch").with_columns(code=pl.lit(CODES[base]))
    return found.with_columns(rows=_in_window(wide, found, base)) if len(found) else found


def _in_window(wide: pl.DataFrame, found: pl.DataFrame, base: str) -> pl.Series:
    """The rows of the window that ends with each dose, the last of them; for a gap the dose itself and the one before it."""
    slack = 0 if (wide["at"] == wide["at_last"]).all() else SHOWN
    back = pl.lit(1) if base == "gap" else pl.col("count").clip(upper_bound=SHOWN)
    reach = pl.col("gap") + 1 if base == "gap" else pl.lit(DAY)
    first = (pl.min_horizontal("place", pl.col("upto") - 1).cast(pl.Int64) if base == "gap" else pl.col("upto")) - back - slack
    near = found.select(
        "group",
        pl.int_ranges(first.clip(0), pl.min_horizontal("upto", pl.col("place").cast(pl.Int64) + SHOWN)).alias("near"),
        since=pl.col("at") - reach,
    )
    near = near.with_row_index("finding").explode("near")
    other = wide.select("row", "at_last", whose="group")[near["near"]]
    inside = pl.concat([near, other], how="horizontal").filter((pl.col("group") == pl.col("whose")) & (pl.col("at_last") > pl.col("since")))
    return inside.group_by("finding", maintain_order=True).agg(pl.col("row").unique().sort().head(SHOWN))["row"]


def _twice(wide: pl.DataFrame) -> pl.DataFrame:
    """The same amount at the same time: counted as often as it is told, and named."""
    key = ["group", "at", "at_last", "amount"]
    repeated = wide.filter(pl.col("amount").is_not_null() & (pl.col("gap") == 0))
    found = repeated.group_by(key).agg(pl.first("child_id", "line"), _rows(), pl.col("row").n_unique().alias("doses"))
    return found.filter(pl.col("doses") > 1).with_columns(code=pl.lit("given-twice"), rank=pl.lit(_rank(QUERY)), value=pl.col("amount"))


def _not_held(wide: pl.DataFrame, rules: list[str], limits: ChartLimits) -> list[pl.DataFrame]:
    """Doses that could not be counted where a total needs them, or held against nothing."""
    figures = [limits.figures(rule) for rule in rules]
    flags = pl.DataFrame(
        {
            "per_kg": [any(f.per_kg for f in each) for each in figures],
            "unread": [rule == UNREAD or limits.one_by_one(rule) for rule in rules],
            "boundless": [limits.boundless(rule) for rule in rules],
        },
        schema=dict.fromkeys(("per_kg", "unread", "boundless"), pl.Boolean),
    )[wide["ruled"]]
    rows = pl.concat([wide, flags], how="horizontal")
    by = ("child_id", "line")
    blind = rows.filter(~pl.col("rule").is_in([UNREAD, GOES_ALONG]) & (pl.col("unknown") > 0)).select("group").unique()
    uncounted = rows.filter(pl.col("amount").is_null()).join(blind, on="group", how="semi").with_columns(about="trouble")
    return [
        _named(uncounted, (*by, "about"), "given-amount-unknown"),
        _named(rows.filter("unread"), by, "given-not-held"),
        _named(rows.filter(pl.col("boundless") & (pl.col("count") > 1)), by, "repeats-not-bounded"),
        _named(rows.filter(pl.col("per_kg") & pl.col("weight").is_null()), by, "weight-missing"),
    ]
