"""A child's age: completed months and days since birth, from two dates or from an age as somebody states it.

The day of birth is day 0.  An age is an interval, as "2 years" is everything up to the third birthday.
There is no clock here: the date of the check is given.  Reading the text of an age is left to others, and
so are bands and the question until what age correction for an early birth is used.

Source of the calendar: Centers for Disease Control and Prevention, CDSi, "Calculating Dates", rules CALCDT-1, -2,
-3 and -5.  Years and months change only their own part of the date, a week is 7 days, and a date that does not exist
(31 June, 29 February of a common year) moves to the 1st of the next month.
"""

from datetime import date, timedelta
from functools import cache
from typing import NamedTuple

TERM_DAYS = 280  # 40 weeks of gestation: the due date
PRETERM_BELOW_DAYS = 259  # under 37 weeks of gestation is an early birth
OLDEST_YEARS = 150  # above this a stated age is a slip of the pen


class Age(NamedTuple):
    """Completed months and days since birth, each from the least to the most that they can be, both inclusive."""

    months_lo: int
    months_hi: int
    days_lo: int
    days_hi: int


# ---- the calendar ----


def add_months(day: date, months: int) -> date:
    """`day` with only its month (and year) moved on; a date that does not exist becomes the next 1st."""
    year, month0 = divmod(day.year * 12 + day.month - 1 + months, 12)
    try:
        return date(year, month0 + 1, day.day)
    except ValueError:
        # December has all 31 days, so the month after is never in another year.
        return date(year, month0 + 2, 1)


def add_years(day: date, years: int) -> date:
    """`day` with only its year moved on; 29 February becomes 1 March in a common year."""
    return add_months(day, 12 * years)


def add_weeks(day: date, weeks: int) -> date:
    """`day` and 7 days for each week."""
    return day + timedelta(weeks=weeks)


def add_days(day: date, days: int) -> date:
    """`day` and so many days."""
    return day + timedelta(days=days)


def completed_months(born: date, on: date) -> int:
    """The largest m for which `add_months(born, m)` is not after `on`.

    Where the month is too short a child of the 31st completes it on the 1st of the next.  That needs no rule of its
    own: no day of the short month reaches 31, so the month is not counted until the calendar's month has changed.

    Raises:
        ValueError: `on` is before `born`.

    >>> completed_months(date(2024, 2, 29), date(2025, 2, 28)), completed_months(date(2024, 2, 29), date(2025, 3, 1))
    (11, 12)
    """
    if on < born:
        raise ValueError(f"the date {on} is before the date of birth, {born}")
    return (on.year - born.year) * 12 + on.month - born.month - (on.day < born.day)


def age_from_dates(born: date, on: date) -> Age:
    """The age on a date, exactly: a point.  Raises ValueError when `on` is before `born`."""
    months = completed_months(born, on)
    days = (on - born).days
    return Age(months, months, days, days)


# ---- months against days, over every possible date of birth ----

# Forty-eight dates of birth stand for all.  Births on days 1 to 28 of one month need the same days.  A child of the
# 29th to 31st whose month is too short needs no more days than one of the 1st of the same month, and more than one of
# the 1st of the next.  As many leap days as can be follow births from March 1903, as few as can be follow births from
# March 2096, as 2100 and 2200 have none.  A test compares with all births of 400 years.
_BIRTHS = tuple(date(year, month, 1) for year in (1903, 1904, 2096, 2097) for month in range(1, 13))


@cache
def _days_to_complete(months: int) -> tuple[int, int]:
    """The fewest and the most days after birth on which a child completes `months`."""
    days = [(add_months(born, months) - born).days for born in _BIRTHS]
    return min(days), max(days)


def days_at_months(months: int) -> tuple[int, int]:
    """The fewest and the most days since birth of any child who has exactly `months` completed months.

    The fewest is the earliest day on which a child can reach them, the most is the latest day on which a child
    can still lack the next one.

    >>> days_at_months(0), days_at_months(1)
    ((0, 30), (28, 61))
    """
    return _days_to_complete(months)[0], _days_to_complete(months + 1)[1] - 1


@cache
def months_at_days(days: int) -> tuple[int, int]:
    """The fewest and the most completed months of any child born exactly `days` ago.

    >>> months_at_days(27), months_at_days(28), months_at_days(31)
    ((0, 0), (0, 1), (1, 1))
    """
    months = [completed_months(born, add_days(born, days)) for born in _BIRTHS]
    return min(months), max(months)


# ---- an age as somebody states it ----


def age_from_parts(years: int | None = None, months: int | None = None, weeks: int | None = None, days: int | None = None) -> Age:
    """An age stated in completed units; the smallest unit given sets how wide it is.

    "2 years" is `years=2`: months 24 to 35.  "3 years 0 months" is `years=3, months=0`: month 36 alone.
    Each end is reached by some child, except close below the next larger unit ("2 months 4 weeks", "1 year 360
    days"), where the interval may be a few days too wide.

    Raises:
        ValueError: nothing given, a negative part, a part that fills the next larger one ("2 years 14 months" is
            not in completed units, so it is a slip), or more than 150 years.

    >>> age_from_parts(weeks=5)
    Age(months_lo=1, months_hi=1, days_lo=35, days_hi=41)
    """
    _refuse_bad_parts(years, months, weeks, days)
    whole = 12 * (years or 0) + (months or 0)
    last = whole + (11 if months is None else 0)
    if weeks is None and days is None:
        return Age(whole, last, days_at_months(whole)[0], days_at_months(last)[1])

    extra = 7 * (weeks or 0) + (days or 0)
    extra_hi = extra + (6 if days is None else 0)
    if years is None and months is None:
        return _age_between_days(extra, extra_hi)
    return Age(
        whole + months_at_days(extra)[0],
        min(whole + months_at_days(extra_hi)[1], last),
        _days_to_complete(whole)[0] + extra,
        min(_days_to_complete(whole)[1] + extra_hi, days_at_months(last)[1]),
    )


def _age_between_days(lo: int, hi: int) -> Age:
    """The age of a child of whom only the days are known."""
    return Age(months_at_days(lo)[0], months_at_days(hi)[1], lo, hi)


def _refuse_bad_parts(years: int | None, months: int | None, weeks: int | None, days: int | None) -> None:
    given = [part for part in (years, months, weeks, days) if part is not None]
    if not given:
        raise ValueError("an age needs at least one of years, months, weeks and days")
    if min(given) < 0:
        raise ValueError("an age is never negative")
    extra = 7 * (weeks or 0) + (days or 0)
    if years is not None and (months or 0) > 11:
        raise ValueError(f"{months} months beside years is not in completed units: 12 months are a year")
    if weeks is not None and (days or 0) > 6:
        raise ValueError(f"{days} days beside weeks is not in completed units: 7 days are a week")
    if months is not None and extra > 30:
        raise ValueError(f"{extra} days beside months is not in completed units: 31 days are always a month")
    if years is not None and extra > 365:
        raise ValueError(f"{extra} days beside years is not in completed units: 366 days are always a year")
    if 12 * (years or 0) + (months or 0) > 12 * OLDEST_YEARS or extra > 365 * OLDEST_YEARS:
        raise ValueError(f"an age above {OLDEST_YEARS} years is not believed")


def say_age(age: Age) -> str:
    """The age as text that can be typed back.

    A known day is said in days under 1 month, in months under 2 years, then in years and months.  "3 years" alone
    is said only of the whole year, so a child of 3 years and a few days is "3 years 0 months".  What is typed
    back always covers `age`, and has the very same months (or days, where the text is in days).  An interval that
    nobody states so, such as a corrected age reckoned from "2 years", is said as a range, for reading only.
    """
    weeks, years = age.days_lo // 7, age.months_lo // 12
    if age.days_lo == age.days_hi and (age.months_lo == 0 or age.months_lo != age.months_hi):
        return _count(age.days_lo, "day")
    if age.days_lo >= 0 and age == _age_between_days(7 * weeks, 7 * weeks + 6):
        return _count(weeks, "week")
    if age.months_lo >= 0 and age == age_from_parts(years=years):
        return _count(years, "year")
    if age.months_lo != age.months_hi or (age.months_lo == 0 and age != age_from_parts(months=0)):
        return _range_text(age)
    if age.months_lo < 24:
        return _count(age.months_lo, "month")
    return f"{_count(years, 'year')} {_count(age.months_lo % 12, 'month')}"


def _range_text(age: Age) -> str:
    lo, hi, unit = (age.months_lo, age.months_hi, "month") if age.months_hi else (age.days_lo, age.days_hi, "day")
    return f"up to {_count(hi, unit)}" if lo < 0 else f"{lo} to {_count(hi, unit)}"


def _count(number: int, unit: str) -> str:
    return f"{number} {unit}" if number == 1 else f"{number} {unit}s"


# ---- children born early ----
# Source of the terms: American Academy of Pediatrics, Committee on Fetus and Newborn. Age terminology during the
# perinatal period. Pediatrics 2004;114:1362-4, table 1.


def postmenstrual_days(age: Age, gestation_days: int) -> tuple[int, int]:
    """Days since the last period, fewest and most: gestation at birth and the age."""
    return gestation_days + age.days_lo, gestation_days + age.days_hi


def corrected(age: Age, gestation_days: int, born: date | None = None, on: date | None = None) -> Age | None:
    """The age less the days born before 40 weeks, when born before 37 weeks; else the age itself.

    With `born` and `on` it is exact: the due date takes the place of the date of birth.  Without them the days are
    exact and the months are all that a child of so many days can have.

    Returns:
        None when the child is surely not yet at term (below 0 days on the whole interval).  When it may or may not
        be, `days_lo` is below 0 and `months_lo` is -1, so that no band "from 0 days" is taken as certain.
    """
    if gestation_days >= PRETERM_BELOW_DAYS:
        return age
    early = TERM_DAYS - gestation_days
    if born is not None and on is not None:
        due = add_days(born, early)
        return age_from_dates(due, on) if due <= on else None
    lo, hi = age.days_lo - early, age.days_hi - early
    if hi < 0:
        return None
    if lo < 0:
        return Age(-1, months_at_days(hi)[1], lo, hi)
    return _age_between_days(lo, hi)
