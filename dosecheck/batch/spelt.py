"""Which way of writing its dates or decimals the first texts of a column show: one, where only one is possible, or what is left to decide."""

from __future__ import annotations

from typing import NamedTuple

import polars as pl

from dosecheck.batch.contents import distinct_texts
from dosecheck.batch.written import COMMA, DATES, FIELDS_OF, with_dashes, with_points
from dosecheck.reading import is_missing

_TEXTS = 2000  # distinct ones that are looked at
_PLAIN = "^ *[0-9]{4}-[0-9]{2}-[0-9]{2}"


class Spelt(NamedTuple):
    """`key`: date or decimal; `spellings`: those that fit; `sure`: there is one, and the texts have no other reading."""

    key: str
    spellings: tuple[str, ...]
    sure: bool


def spelt(column: pl.Series, field: str) -> Spelt | None:
    """How the dates or decimals of a column that fills `field` are written; None where it is the plain way."""
    if field in FIELDS_OF["date"]:
        return spelt_dates(column)
    return spelt_decimals(column) if field in FIELDS_OF["decimal"] else None


def told(column: pl.Series) -> pl.Series:
    """The first distinct texts that tell something."""
    return pl.Series(column.name, [text for text in distinct_texts(column, _TEXTS) if not is_missing(text)], dtype=pl.String)


def spelt_decimals(column: pl.Series) -> Spelt | None:
    """A comma that can only be a decimal one shows the way; one for thousands elsewhere makes it doubtful."""
    texts = told(column)
    commas = texts.filter(texts.str.contains(COMMA, literal=True))
    if not (with_points(commas) != commas).any():
        return None
    return Spelt("decimal", (COMMA,), not commas.str.contains(r",[0-9]{3}\.[0-9]").any())


def spelt_dates(column: pl.Series) -> Spelt | None:
    """The spellings by which half of the texts are real dates; those by which all of its shape are, if there are any."""
    texts = told(column)
    texts = texts.filter(~texts.str.contains(_PLAIN))
    fits = {spelling: _fit(texts, spelling) for spelling in DATES}
    likely = _narrowest({spelling: real for spelling, (real, _) in fits.items() if real and 2 * real >= len(texts)})
    whole = [spelling for spelling in likely if fits[spelling][0] == fits[spelling][1]]
    if not likely:
        return None
    return Spelt("date", tuple(whole or likely), len(whole) == 1 and not _other_way(texts, whole[0]))


def _fit(texts: pl.Series, spelling: str) -> tuple[int, int]:
    """How many texts are real dates by that spelling, and how many have its shape."""
    dashed = with_dashes(texts, spelling)
    shaped = dashed.filter(dashed != texts)
    return shaped.str.slice(0, 10).str.to_date("%Y-%m-%d", strict=False).count(), len(shaped)


def _narrowest(real: dict[str, int]) -> list[str]:
    """Of d.m.yyyy and dd.mm.yyyy the one that reads more texts, and the stricter of equals."""
    best: dict[str, str] = {}
    for spelling in sorted(real, key=lambda each: (real[each], len(each))):
        best[spelling.replace("dd", "d").replace("mm", "m")] = spelling
    return [spelling for spelling in DATES if spelling in best.values()]


def _other_way(texts: pl.Series, spelling: str) -> bool:
    """Whether every text is a real date with day and month changed about too; nobody writes year, day, month."""
    real, shaped = _fit(texts, spelling.translate(str.maketrans("dm", "md")))
    return not spelling.startswith("y") and real == shaped
