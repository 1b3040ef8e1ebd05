"""How often, how old, and when: frequencies, counts, ages, gestation, dates, yes and no."""

from __future__ import annotations

import re
from datetime import date
from fractions import Fraction
from typing import NamedTuple

from dosecheck.errors import TextError
from dosecheck.quantity import UNITS
from dosecheck.reading.amounts import explain, spelt
from dosecheck.reading.numbers import NUMBER, number_given, plain


class Frequency(NamedTuple):
    """How often: the gap between doses (shortest, longest, in seconds), or doses a day, or one dose only."""

    gap: tuple[Fraction, Fraction] | None = None
    times: int | None = None
    once: bool = False


class AgeParts(NamedTuple):
    """An age in completed units, as somebody states it; a part that is not stated is None."""

    years: int | None = None
    months: int | None = None
    weeks: int | None = None
    days: int | None = None


_WORDS = {"once": 1, "twice": 2, "two": 2, "three": 3, "four": 4, "five": 5, "six": 6, "one": 1}
_TIMES = re.compile(r"(?:([1-9][0-9]{0,2})|(one|two|three|four|five|six)) times? (?:a day|per day|daily)|(once|twice) (?:a day|daily)")
_GAP = re.compile(rf"(?:every )?({NUMBER})(?: to ({NUMBER}))? ?(?:hourly|([a-z]+))")
_FREQUENCY_EXAMPLE = "6 hours"


def _lower_first(text: str) -> str:
    """Words with a capital first letter ("Every 6 Hours") are the same words; all capitals are left to be refused."""
    return re.sub(r"\b[A-Z](?=[a-z]{2})", lambda match: match.group().lower(), text)


def read_frequency(text: str) -> Frequency:
    """How often: "6 hours", "every 4 to 6 hours", "6 hourly", "4 times a day", "once"."""
    text = _lower_first(plain(text, "frequency", _FREQUENCY_EXAMPLE))
    if text == "once":
        return Frequency(once=True)
    times = _TIMES.fullmatch(text)
    if times:
        count = times.group(1) or _WORDS[times.group(2) or times.group(3)]
        return Frequency(times=_count(int(count)))
    gap = _GAP.fullmatch(text)
    unit = gap and spelt(gap.group(3) or "hours", ("time",))
    if not unit:
        raise _frequency_error(text)
    if gap.group(3) in ("day", "week") and (gap.group(2) or gap.group(1)) != "1":
        raise TextError(text, f'"{text}" has two readings.', 'Write "3 times a day" or "every 3 days".')
    ends = [Fraction(end) * UNITS["time"][unit[1]] for end in (gap.group(1), gap.group(2) or gap.group(1))]
    if not 0 < ends[0] <= ends[1]:
        raise TextError(text, "The frequency does not run from a shorter to a longer time above zero.", 'Write it as "4 to 6 hours".')
    if ends[0] < 60:
        raise TextError(text, "Doses less than a minute apart are not single doses.", "Write an infusion as a dose per minute or per hour.")
    return Frequency(gap=(ends[0], ends[1]))


def _frequency_error(text: str) -> TextError:
    if re.fullmatch(r"[a-zA-Z.]{2,4}|q ?[0-9].*|[0-9]+/[0-9]+", text):
        return TextError(
            text,
            f'"{text}" is a short form with more than one reading.',
            'Write it out: "6 hours", "4 times a day" or "once". A file of orders can map it: --columns.',
        )
    explained = explain(text, "frequency", _FREQUENCY_EXAMPLE)
    if "does not start" in explained.why or "no unit" in explained.why or "unit" in explained.why:
        return TextError(text, "The frequency is not understood.", 'Write "6 hours", "4 times a day" or "once".')
    return explained


def _count(number: int) -> int:
    if not 1 <= number <= 300:
        raise TextError(number_given(number), "The number of doses is not from 1 to 300.", 'Write it as "4".')
    return number


def read_count(text: str | int, what: str = "number of doses") -> int:
    """A whole number of doses, 1 to 300: "4" or "4 times a day"."""
    if type(text) is int:
        return _count(text)
    body = plain(text, what, "4")
    times = _TIMES.fullmatch(body)
    if times:
        return read_frequency(body).times
    if not re.fullmatch(r"[1-9][0-9]{0,5}", body):
        raise TextError(body, f"The {what} is not a whole number from 1 to 300.", 'Write it as "4".')
    return _count(int(body))


_AGE_PART = re.compile(r"(0|[1-9][0-9]{0,4}) ?(years?|months?|weeks?|days?)(?:,? (?:and )?|$)")


def read_age(text: str) -> AgeParts:
    """An age in whole units, largest first: "3 years 2 months", "18 months", "5 weeks", "12 days"."""
    text = _lower_first(plain(text, "age", "3 years 2 months"))
    parts: dict[str, int] = {}
    place = 0
    order = ("years", "months", "weeks", "days")
    while place < len(text):
        match = _AGE_PART.match(text, place)
        unit = match and match.group(2).rstrip("s") + "s"
        if not match or (parts and order.index(unit) <= max(order.index(u) for u in parts)):
            raise _age_error(text)
        parts[unit] = int(match.group(1))
        place = match.end()
    if parts.get("years", 0) > 120 or parts.get("months", 0) > 1440 or parts.get("days", 0) > 44_000:
        raise TextError(text, "The age is more than 120 years.", 'Write it as "3 years 2 months".')
    return AgeParts(**parts)


def _age_error(text: str) -> TextError:
    if re.fullmatch(r"[0-9]+", text):
        return TextError(text, "The age has no unit.", 'Write "18 months" or "18 years".')
    if re.search(r"[0-9]\.[0-9]", text):
        return TextError(text, "The age is a decimal.", 'Write whole units: "2 years 6 months".')
    return TextError(
        text, "The age is not understood.", 'Write whole units in full, largest first: "3 years 2 months", "18 months", "5 weeks".'
    )


def read_weeks(text: str, what: str = "gestation") -> int:
    """Gestation or post-menstrual age in days: "31 weeks", "31 weeks 4 days"; 20 to 50 weeks."""
    text = plain(text, what, "31 weeks")
    match = re.fullmatch(r"([0-9]{2}) weeks?(?: (?:and )?([0-6]) days?)?", text)
    if not match or not 20 <= int(match.group(1)) <= 50:
        raise TextError(text, f"The {what} is not understood.", 'Write completed weeks from 20 to 50: "31 weeks" or "31 weeks 4 days".')
    return 7 * int(match.group(1)) + int(match.group(2) or 0)


def read_date(text: str | date, what: str = "date") -> date:
    """A calendar date as YYYY-MM-DD, nothing else."""
    if type(text) is date:
        return text
    text = plain(text, what, "2024-02-29")
    if not re.fullmatch(r"[0-9]{4}-[0-9]{2}-[0-9]{2}", text):
        raise TextError(text, f"The {what} is not written as year-month-day.", 'Write it as "2024-02-29".')
    try:
        return date.fromisoformat(text)
    except ValueError:
        raise TextError(text, f"There is no such {what}.", "Look at the month and the day.") from None


def read_yes(text: str | bool, what: str) -> bool:
    """ "yes" or "no" """
    if isinstance(text, bool):
        return text
    if plain(text, what, "yes") not in ("yes", "no"):
        raise TextError(text, f'The {what} is neither "yes" nor "no".', 'Write "yes" or "no".')
    return text.strip() == "yes"
