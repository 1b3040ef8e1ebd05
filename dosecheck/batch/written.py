"""How an export writes its dates and decimals, where a map of columns says so: `date = "dd.mm.yyyy"`, `decimal = ","`.

Each text is brought to the one plain way, or left for the strict readers to refuse; nothing is guessed.  What may be a thousands
mark is refused too, since a dose out by a thousand must never pass in silence.
"""

from __future__ import annotations

import re
from functools import cache

import polars as pl

DATES = ("dd.mm.yyyy", "d.m.yyyy", "dd/mm/yyyy", "d/m/yyyy", "mm/dd/yyyy", "m/d/yyyy", "dd-mm-yyyy", "yyyymmdd")
COMMA = ","
FIELDS_OF = {
    "date": ("born", "weighed", "on", "given_at"),
    "decimal": ("weight", "dose", "height", "creatinine", "every", "over", "made_up_to", "course"),
}
_PARTS = {
    "yyyy": "(?P<year>[0-9]{4})",
    "mm": "(?P<month>[0-9]{2})",
    "m": "(?P<month>[0-9]{1,2})",
    "dd": "(?P<day>[0-9]{2})",
    "d": "(?P<day>[0-9]{1,2})",
}
_BETWEEN = r"[0-9],[0-9]"
# No thousands begin with a nought: "1,234" may be either, "0,125" is an eighth.
_DOUBTFUL = r"(?:[1-9]|[0-9]{2}),[0-9]{3}(?:[^0-9]|$)|[0-9],[0-9]+,[0-9]|[0-9]\.[0-9]"  # of a text with such a comma
_GROUPED = r"\b([1-9][0-9]{0,2})\.([0-9]{3})([^0-9]|$)"


def written_fault(field: str, key: str, spelling: str) -> str:
    """Why a field cannot have `date` or `decimal` with that spelling, or ""."""
    if field not in FIELDS_OF[key]:
        return f"It takes no {key}; these do: {', '.join(FIELDS_OF[key])}."
    if key == "decimal":
        return "" if spelling == COMMA else f'The decimal "{spelling}" is not known. Write decimal = ","; a point needs no key.'
    return "" if spelling in DATES else f'No date is written "{spelling}" here. Write one of {", ".join(DATES)}.'


def plainly(texts: pl.Series, spelling: str) -> pl.Series:
    """The texts as the strict readers want them.

    Args:
        spelling: one of DATES, or COMMA.
    """
    return with_points(texts) if spelling == COMMA else with_dashes(texts, spelling)


def with_dashes(texts: pl.Series, spelling: str) -> pl.Series:
    """Dates as year-month-day, real or not; a time of day after one stays as it is, and so does a text that is not exactly so."""
    found = texts.str.extract_groups(_pattern(spelling)).struct.unnest()
    date = pl.concat_str("year", pl.lit("-"), pl.col("month").str.zfill(2), pl.lit("-"), pl.col("day").str.zfill(2), "rest")
    return found.select(pl.coalesce(date, pl.lit(texts)).alias(texts.name)).to_series()


@cache
def _pattern(spelling: str) -> str:
    parts = re.findall("yyyy|mm?|dd?|.", spelling)
    return "^ *" + "".join(_PARTS.get(part, re.escape(part)) for part in parts) + "(?P<rest>(?:[ T].*)?)$"


def with_points(texts: pl.Series) -> pl.Series:
    """Decimal commas as points.  Three digits after a comma, but for a nought before it, or a point beside it, leave the text as it
    is, to be refused; a point that may be a thousands mark becomes both readings, which no reader takes."""
    text = pl.col("text")
    comma = text.str.contains(_BETWEEN)
    points = text.str.replace_all("([0-9]),([0-9])", "${1}.${2}")
    both = text.str.replace_all(_GROUPED, "(${1}.${2} or ${1}${2})${3}")
    changed = pl.when(comma & ~text.str.contains(_DOUBTFUL)).then(points).when(comma).then(text).otherwise(both)
    return texts.to_frame("text").select(changed.alias(texts.name)).to_series()
