"""Instants: a time of day with its date and its offset (or a zone's name), and how long ago something was.

An instant is whole seconds since 1970-01-01 00:00 UTC.  A local time that occurs twice when the clocks go back is an
interval of two instants; one that is skipped is refused.  There is no clock here: nothing knows what time it is now.
"""

from __future__ import annotations

import re
from datetime import UTC, datetime, timedelta, timezone, tzinfo
from fractions import Fraction
from typing import Any, NamedTuple

from dosecheck.errors import TextError
from dosecheck.quantity import UNITS, Quantity
from dosecheck.reading.amounts import read_time, spelt
from dosecheck.reading.numbers import NUMBER, plain

EXAMPLE = "2026-05-04 08:10+01:00"
_YEARS = range(1970, 2200)
_WHEN = re.compile(r"([0-9]{4}-[0-9]{2}-[0-9]{2})[ T]([0-9]{2}:[0-9]{2})(:[0-9]{2})? ?(Z|[+-][0-9]{2}:[0-9]{2})?")
_UTC = datetime(1970, 1, 1, tzinfo=UTC)


class Instants(NamedTuple):
    """`first` to `last` in whole seconds (equal unless the local time occurs twice), and the zone it was told in."""

    first: int
    last: int
    zone: tzinfo


def read_zone(text: str) -> tzinfo:
    """A zone by its name in the time zone database: "Europe/London"."""
    text = plain(text, "zone", "Europe/London")
    from zoneinfo import ZoneInfo

    try:
        return ZoneInfo(text)
    except (ValueError, OSError, KeyError):  # KeyError: no such zone, or no database on this machine
        raise TextError(
            text, "No time zone of this name is known here.", 'Write it as "Europe/London", or give each time its offset: "08:10+01:00".'
        ) from None


def read_instant(text: str | datetime, zone: tzinfo | None = None, what: str = "time") -> Instants:
    """A date, a time of day and an offset: "2026-05-04 08:10+01:00"; without an offset, the local time of `zone`.

    Raises:
        TextError: no offset and no zone, no such date or time, or a local time that the zone skips.
    """
    text = text.isoformat() if isinstance(text, datetime) else plain(text, what, EXAMPLE)
    found = _WHEN.fullmatch(text)
    if not found:
        raise _shape_error(text, what)
    day, minute, second, offset = found.groups()
    try:
        local = datetime.fromisoformat(f"{day}T{minute}{second or ''}")
    except ValueError:
        raise TextError(text, f"There is no such {what}.", "Look at the date and at the hours and minutes.") from None
    if local.year not in _YEARS:
        raise TextError(text, f"The {what} is not between {_YEARS[0]} and {_YEARS[-1]}.", "Look at the year.")
    if offset:
        instant = _seconds(local.replace(tzinfo=_offset(text, offset)))
        return Instants(instant, instant, zone or _offset(text, offset))
    if zone is None:
        raise TextError(text, f"The {what} has neither an offset nor a zone.", f'Write the offset: "{EXAMPLE}".')
    return _local(text, local, zone, what)


def _shape_error(text: str, what: str) -> TextError:
    if re.search(r"[ T][0-9]{2}:[0-9]{2}:[0-9]{2}\.", text):
        return TextError(text, f"The {what} has a part of a second.", f'Write it as "{EXAMPLE}".')
    if re.fullmatch(r"[0-9]{4}-[0-9]{2}-[0-9]{2}", text):
        return TextError(text, f"The {what} is a date without a time of day.", f'Write it as "{EXAMPLE}".')
    if re.fullmatch(r"[0-9]{1,2}[:.][0-9]{2}.*", text):
        return TextError(text, f"The {what} has no date.", f'Write it as "{EXAMPLE}".')
    return TextError(text, f"The {what} is not understood.", f'Write date, time of day in 24 hours, and offset: "{EXAMPLE}".')


def _offset(text: str, offset: str) -> tzinfo:
    """Z and +01:00; beyond 14 hours, or -00:00 (which means "offset unknown"), it is refused."""
    if offset == "Z":
        return UTC
    hours, minutes = int(offset[1:3]), int(offset[4:])
    if offset == "-00:00" or minutes > 59 or hours * 60 + minutes > 14 * 60:
        raise TextError(text, f'"{offset}" is no offset from UTC.', f'Write it as "{EXAMPLE}".')
    return timezone((-1 if offset[0] == "-" else 1) * timedelta(hours=hours, minutes=minutes))


def _seconds(moment: datetime) -> int:
    return (moment - _UTC) // timedelta(seconds=1)


def _local(text: str, local: datetime, zone: tzinfo, what: str) -> Instants:
    """The one or two instants at which the clocks of `zone` show `local`."""
    moments = [local.replace(tzinfo=zone, fold=fold).astimezone(UTC) for fold in (0, 1)]
    real = sorted({_seconds(moment) for moment in moments if moment.astimezone(zone).replace(tzinfo=None) == local})
    if not real:
        raise TextError(text, f"The clocks of {zone} skipped this {what}.", "Look at the time, or write it with its offset.")
    return Instants(real[0], real[-1], zone)


def at_instant(instant: int | Fraction, zone: tzinfo) -> datetime:
    """The local date and time of day at an instant; a part of a second is cut off."""
    return (_UTC + timedelta(seconds=int(instant // 1))).astimezone(zone)


_AGO = re.compile(rf"({NUMBER})(?: ?([a-z]+))? to ({NUMBER}) ?([a-z]+)")
_LONGEST = 366 * UNITS["time"]["days"]


def read_ago(text: str, what: str = "time") -> tuple[Fraction, Fraction]:
    """How long ago, shortest and longest, in seconds: "5 hours", "4 to 5 hours", "1 hour 30 minutes".

    Raises:
        TextError: not above zero, more than 366 days, or not understood.
    """
    text = plain(text, what, "5 hours")
    ends = _AGO.fullmatch(text)
    if ends:
        low, unit, high, last = ends.groups()
        shortest, longest = (read_duration(f"{number} {word}", what).value for number, word in ((low, unit or last), (high, last)))
    else:
        shortest = longest = read_duration(text, what).value
    if shortest > longest:
        raise TextError(text, "The time does not run from a shorter to a longer one.", 'Write it as "4 to 5 hours".')
    if longest > _LONGEST:
        raise TextError(text, "That is more than 366 days ago.", "Leave out doses of so long ago, or look at the number.")
    return shortest, longest


def read_duration(text: str, what: str = "time") -> Quantity:
    """One length of time; hours and minutes may stand side by side: "8 hours 30 minutes"."""
    text = plain(text, what, "5 hours")
    both = re.fullmatch(rf"([1-9][0-9]{{0,3}} ?[a-z]+) (?:and )?({NUMBER} ?[a-z]+)", text)
    if both and all(spelt(re.sub(r"^[0-9.]+ ?", "", part), ("time",)) for part in both.groups()):
        hours, minutes = (read_time(part, what, "5 hours").value for part in both.groups())
        if (hours % 3600, minutes >= 3600) != (0, False):
            raise TextError(text, f"The {what} does not run from hours to minutes below 60.", 'Write it as "1 hour 30 minutes".')
        return Quantity(hours + minutes, "time", "hours")
    return read_time(text, what, "5 hours")


def any_time(value: Any) -> bool:
    """Whether a value of a file is TOML's own date and time."""
    return isinstance(value, datetime)
