"""Words of the slow oracle: amounts, times, dates and ages, read in the plainest way.

Shares no code with dosecheck and reads well-formed text only: a strange text is an exception, never a finding.
An amount is (number, what, below): mass in mg, activity in units, substance in mmol, volume in mL, child in kg,
surface in m2, time in seconds; `below` is a set of what stands under the stroke.
"""

from __future__ import annotations

import re
from datetime import date, timedelta
from fractions import Fraction
from functools import cache
from typing import NamedTuple

HOUR, DAY = 3600, 86400
TIMES = {"second": 1, "minute": 60, "min": 60, "hour": HOUR, "h": HOUR, "day": DAY, "week": 7 * DAY}
DRUGS = {
    "nanograms": ("mass", Fraction(1, 10**6)),
    "micrograms": ("mass", Fraction(1, 1000)),
    "mg": ("mass", Fraction(1)),
    "g": ("mass", Fraction(1000)),
    "milliunits": ("activity", Fraction(1, 1000)),
    "unit": ("activity", Fraction(1)),
    "units": ("activity", Fraction(1)),
    "mmol": ("substance", Fraction(1)),
    "mL": ("volume", Fraction(1)),
    "L": ("volume", Fraction(1000)),
    **{thing + end: (thing, Fraction(1)) for thing in ("puff", "tablet", "capsule", "dose", "drop", "sachet") for end in ("", "s")},
    "suppository": ("suppository", Fraction(1)),
    "suppositories": ("suppository", Fraction(1)),
}
BELOW = {"kg": ("kg", Fraction(1)), "m2": ("m2", Fraction(1)), "min": ("time", Fraction(60)), "h": ("time", Fraction(HOUR))}
POUND = Fraction("0.45359237")


class Amount(NamedTuple):
    number: Fraction
    what: str
    below: frozenset[str] = frozenset()


def amount(text: str) -> Amount:
    """ "15 mg/kg", "5 micrograms/kg/min", "10 mg/mL"."""
    number, unit = text.split(" ", 1)
    top, *under = unit.split("/")
    what, factor = DRUGS[top]
    value, below = Fraction(number) * factor, set()
    for part in under:
        name, size = BELOW[part] if part in BELOW else DRUGS[part]
        value, below = value / size, below | {name}
    return Amount(value, what, frozenset(below))


def strength(text: str) -> Amount:
    """ "120 mg in 5 mL", "100 micrograms per puff", "10 mg/mL", "1 in 1000" (g in mL), "0.9 %" (g in 100 mL)."""
    if text.startswith("1 in "):
        return Amount(Fraction(1000, int(text[5:])), "mass", frozenset({"volume"}))
    if text.endswith(" %"):
        return Amount(Fraction(text[:-2]) * 10, "mass", frozenset({"volume"}))
    for between in (" in ", " per "):
        if between in text:
            top, bottom = text.split(between)
            under = amount(bottom if bottom[0].isdigit() else "1 " + bottom)
            return Amount(amount(top).number / under.number, amount(top).what, frozenset({under.what}))
    return amount(text)


def percent(text: str) -> Fraction:
    return Fraction(text.removesuffix(" %")) / 100


def seconds(text: str) -> Fraction:
    """ "30 minutes", "5 days"."""
    number, unit = text.split(" ")
    return Fraction(number) * TIMES[unit if unit in TIMES else unit.removesuffix("s")]


def ends_of_time(text: str) -> tuple[Fraction, Fraction]:
    """The shortest and the longest of "6 hours" or "4 to 6 hours"."""
    *first, last = text.split(" to ")
    return seconds(f"{first[0]} {last.split(' ')[1]}" if first else last), seconds(last)


def kilograms(text: str) -> Fraction:
    number, unit = text.split(" ")
    return Fraction(number) * {"kg": Fraction(1), "g": Fraction(1, 1000), "lb": POUND}[unit]


def centimetres(text: str) -> Fraction:
    number, unit = text.split(" ")
    return Fraction(number) * {"cm": 1, "m": 100}[unit]


class Dose(NamedTuple):
    """`low` and `high` are Amounts; `per` is "dose", "day" or "time"."""

    low: Amount
    high: Amount
    per: str
    of: str | None


def dose(text: str) -> Dose:
    """ "240 mg", "2 to 10 puffs", "15 mg/kg", "600 mg a day", "80 mg of trimethoprim a day"."""
    per = "day" if text.endswith(" a day") else "dose"
    body, _, of = text.removesuffix(" a day").partition(" of ")
    ends = body.split(" to ")
    high = amount(ends[-1])
    low = amount(ends[0] if " " in ends[0] else ends[0] + " " + ends[-1].split(" ", 1)[1])
    return Dose(low, high, "time" if "time" in high.below else per, of or None)


# ---- the calendar, by loops ----


def later(born: date, months: int) -> date:
    """The day on which so many months are complete; a date that does not exist becomes the next that does."""
    year, month = born.year + (born.month - 1 + months) // 12, (born.month - 1 + months) % 12 + 1
    if born.day > 28 and not _exists(year, month, born.day):
        return date(year, month + 1, 1)
    return date(year, month, born.day)


def _exists(year: int, month: int, day: int) -> bool:
    try:
        date(year, month, day)
    except ValueError:
        return False
    return True


def months_between(born: date, on: date) -> int:
    """How many months are complete, counted up one by one from a start that is surely too early."""
    months = max(0, (on.year - born.year) * 12 + on.month - born.month - 2)
    while later(born, months + 1) <= on:
        months += 1
    return months


# Children of many birthdays, round leap years and round 2100, which is none.
_BIRTHDAYS = [
    date(year, month, day)
    for year in (1903, 1904, 2000, 2003, 2096, 2097, 2099)
    for month in range(1, 13)
    for day in (1, 2, 15, 28, 29, 30, 31)
    if _exists(year, month, day)
]


@cache
def days_of_months(months: int) -> tuple[int, int]:
    """The fewest and most days that a child of exactly so many completed months can be old."""
    first = min((later(born, months) - born).days for born in _BIRTHDAYS)
    last = max((later(born, months + 1) - born).days - 1 for born in _BIRTHDAYS)
    return first, last


@cache
def months_of_days(days: int) -> tuple[int, ...]:
    """Every number of completed months that a child so many days old can have."""
    near = range(max(0, days // 31 - 2), days // 28 + 2)
    return tuple(m for m in near if days_of_months(m)[0] <= days <= days_of_months(m)[1])


class Age(NamedTuple):
    """Every (completed months, days) that the child may have; the dates when they are told."""

    points: tuple[tuple[int, int], ...]
    born: date | None = None
    on: date | None = None

    @property
    def youngest(self) -> int:
        return min(months for months, _ in self.points)

    @property
    def oldest(self) -> int:
        return max(months for months, _ in self.points)


@cache
def stated_age(text: str) -> Age:
    """ "2 years" is any child before the third birthday; "3 years 2 months", "18 months", "5 weeks", "12 days"."""
    told = {unit.rstrip("s"): int(number) for number, unit in re.findall(r"(\d+) (years?|months?|weeks?|days?)", text)}
    if "week" in told or "day" in told:
        assert len(told) == 1, "the oracle knows weeks and days alone"
        first = told.get("day", 7 * told.get("week", 0))
        span = range(first, first + (7 if "week" in told else 1))
        return Age(tuple((m, d) for d in span for m in months_of_days(d)))
    first = 12 * told.get("year", 0) + told.get("month", 0)
    span = range(first, first + (1 if "month" in told else 12))
    return Age(tuple((m, d) for m in span for d in range(days_of_months(m)[0], days_of_months(m)[1] + 1)))


def age_of(texts: dict[str, str], on: date | None) -> Age | None:
    """As stated, or by the dates."""
    if "age" in texts:
        return stated_age(texts["age"])
    if "born" not in texts:
        return None
    born = date.fromisoformat(texts["born"])
    return Age(((months_between(born, on), (on - born).days),), born, on)


def weeks(text: str) -> int:
    """ "31 weeks 4 days" in days."""
    told = re.fullmatch(r"(\d+) weeks?(?: (\d) days?)?", text)
    return 7 * int(told.group(1)) + int(told.group(2) or 0)


def corrected_ages(point: tuple[int, int], gestation: int, age: Age) -> list[tuple[int, int]]:
    """(months, days) less the days born before 40 weeks, every one possible; (-1, below 0) before the due date."""
    if gestation >= 259:
        return [point]
    early = 280 - gestation
    days = point[1] - early
    if days < 0:
        return [(-1, days)]
    if age.born:
        return [(months_between(age.born + timedelta(days=early), age.on), days)]
    return [(months, days) for months in months_of_days(days)]
