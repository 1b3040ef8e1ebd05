"""Weights at a z-score for the slow oracle: plain floating-point arithmetic on the tables' own lines, every day tried.

Shares no code with dosecheck.  A weight is rounded to a whole gram, which hides what the last figures of a float miss.
"""

from __future__ import annotations

from collections.abc import Iterable
from functools import cache
from math import ceil, exp, inf
from pathlib import Path

TABLES = Path(__file__).parents[1] / "dosecheck" / "body" / "tables"
MONTH = 30.4375


@cache
def table(name: str, scale: float, scale_s: float) -> dict[tuple[str, int], tuple[float, float, float]]:
    """(letter of the sex, age as the file counts it) to L, M and S."""
    rows = [line.split() for line in (TABLES / f"{name}.txt").read_text("ascii").splitlines()[1:]]
    return {(sex, int(age)): (int(power) / scale, int(median) / scale, int(spread) / scale_s) for sex, age, power, median, spread in rows}


def lms(reference: str, sex: str, day: int) -> tuple[str, tuple[float, float, float]]:
    letter = sex[0].upper()
    if day <= 1826 and not (reference == "cdc" and day >= 731):
        return "WHO", table("who-2006-weight-by-day", 1e4, 1e5)[letter, day]
    if reference == "who" and day / MONTH <= 120:
        rows = table("who-2007-weight-by-month", 1e4, 1e5)
        return "WHO", between(rows, letter, day / MONTH)
    return "CDC", between(table("cdc-2000-weight-by-half-month", 1e9, 1e9), letter, 2 * day / MONTH)


def between(rows: dict, letter: str, age: float) -> tuple[float, ...]:
    ages = [each for sex, each in rows if sex == letter]
    low, high = max(each for each in ages if each <= age), min(each for each in ages if each >= age)
    part = (age - low) / (high - low) if high > low else 0
    return tuple(a + (b - a) * part for a, b in zip(rows[letter, low], rows[letter, high], strict=True))


def weight_at(z: float, source: str, power: float, median: float, spread: float) -> float:
    """In kg; infinite, or 0, where the curve does not reach so far."""
    if source == "WHO" and abs(z) > 3:
        edge, inner = (weight_at(end if z > 0 else -end, source, power, median, spread) for end in (3, 2))
        return edge + (abs(z) - 3) * (edge - inner)
    inside = 1 + power * spread * z
    if inside <= 0:
        return inf if z > 0 else 0.0
    return median * (inside ** (1 / power) if power else exp(spread * z))


def first_day(age: str) -> int:
    number, unit = age.split(" ")
    return ceil(int(number) * {"day": 1, "week": 7, "month": MONTH, "year": 12 * MONTH}[unit.rstrip("s")])


@cache
def ends(reference: str, bands: tuple[tuple[str, str, str], ...], sex: str, day: int) -> tuple[float, float]:
    low, high = max((first_day(age), float(low), float(high)) for age, low, high in bands if first_day(age) <= day)[1:]
    return tuple(weight_at(z, source, *figures) for source, figures in [lms(reference, sex, day)] for z in (low, high))


def widest(policy: dict, sexes: Iterable[str], days: set[int]) -> tuple[float, float] | None:
    """The least and the greatest believable weight in grams; None where nothing is compared."""
    if "weight_z" not in policy or min(days) < 0 or max(days) > 7305:
        return None
    bands = tuple((row["from"], row["low"], row["high"]) for row in policy["weight_z"]["bands"])
    if min(days) < first_day(bands[0][0]):
        return None
    each = [ends(policy.get("growth_reference", "who"), bands, sex, day) for sex in sexes for day in days]
    return round(min(low for low, _ in each) * 1000), round(min(max(high for _, high in each) * 1000, 1e9))


def heaviest(policy: dict, sexes: Iterable[str], days: set[int]) -> float:
    """The greatest weight in grams that is not far above the centiles; infinite where nothing is compared."""
    if "weight_far_above" not in policy or min(days) < 0 or max(days) > 7305:
        return inf
    bands, reference = (("0 days", "-3", policy["weight_far_above"]),), policy.get("growth_reference", "who")
    return round(min(max(ends(reference, bands, sex, day)[1] for sex in sexes for day in days) * 1000, 1e9))
