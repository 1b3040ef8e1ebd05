"""Reading of doses given, of instants and of how long ago: what is read, and what is refused with what to write."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from fractions import Fraction
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from dosecheck.earlier import as_earlier, read_earlier, read_now
from dosecheck.errors import InputError, TextError
from dosecheck.reading.clock import at_instant, read_ago, read_instant, read_zone
from dosecheck.reading.given import read_given
from dosecheck.showing import show_length

LONDON = ZoneInfo("Europe/London")
HOUR = 3600


@pytest.mark.parametrize(
    ("text", "names"),
    [
        ("210 mg 5 hours ago", (None, None, None, None)),
        ("210 mg, 5 hours ago", (None, None, None, None)),
        ("10 mL of paracetamol as oral-liquid-120-in-5, 5 hours ago", ("paracetamol", None, "oral-liquid-120-in-5", None)),
        ("10 mL as oral liquid 120 mg in 5 mL, 5 hours ago", (None, None, "oral liquid 120 mg in 5 ml", None)),
        ("1 suppository of Paracetamol as suppository-250 by rectal route 5 hours ago", ("paracetamol", None, "suppository-250", "rectal")),
        ("80 mg of trimethoprim in co-trimoxazole 5 hours ago", ("trimethoprim", "co-trimoxazole", None, None)),
        ("250 mg of amoxicillin and clavulanate as tablet-500-125, 5 hours ago", ("amoxicillin and clavulanate", None, "tablet-500-125", None)),
    ],
)  # fmt: skip
def test_a_dose_given(text: str, names: tuple) -> None:
    read = read_given(text)
    assert (read.of, read.inside, read.product, read.route) == names and read.ago == (5 * HOUR, 5 * HOUR)


def test_a_range_of_puffs_is_never_cut_as_a_time() -> None:
    read = read_given("2 to 10 puffs 20 minutes ago")
    assert (read.dose.low.value, read.dose.high.value, read.ago) == (2, 10, (1200, 1200))


@pytest.mark.parametrize(
    ("text", "seconds"),
    [
        ("5 hours", (5 * HOUR, 5 * HOUR)), ("4 to 5 hours", (4 * HOUR, 5 * HOUR)), ("30 minutes to 2 hours", (1800, 7200)),
        ("1 hour 30 minutes", (5400, 5400)), ("1 hour and 30 minutes", (5400, 5400)), ("2.5 hours", (9000, 9000)), ("3 days", (259200, 259200)),
    ],
)  # fmt: skip
def test_how_long_ago(text: str, seconds: tuple) -> None:
    assert read_ago(text) == tuple(map(Fraction, seconds))


REFUSED = [
    ("210 mg", "when it was given"),
    ("210 mg yesterday", "5 hours ago"),
    ("210 mg at 08:10", "no date"),
    ("210 mg at 2026-05-04", "without a time of day"),
    ("210 mg at 2026-05-04 08:10", "neither an offset nor a zone"),
    ("210 mg at 2026-02-30 08:10Z", "no such"),
    ("210 mg at 2026-05-04 24:10Z", "no such"),
    ("210 mg at 2026-05-04 08:10:30.5Z", "part of a second"),
    ("210 mg at 2026-05-04 08:10-00:00", "offset"),
    ("210 mg at 2026-05-04 08:10+15:00", "offset"),
    ("210 mg at 2126-05-04 8:10Z", "offset"),
    ("210 mg at 1921-05-04 08:10Z", "year"),
    ("210 mg 0 hours ago", "zero"),
    ("210 mg -5 hours ago", "5 hours ago"),
    ("210 mg 5 to 4 hours ago", "shorter to a longer"),
    ("210 mg 400 days ago", "366 days"),
    ("210 mg 1 hour 90 minutes ago", "below 60"),
    ("1,5 mg 5 hours ago", "point"),
    ("210 5 hours ago", "unit"),
    ("210 mg a day 5 hours ago", "whole day"),
    ("5 micrograms/kg/min 5 hours ago", "no amount"),
    ("5 hours ago", "5 hours ago"),
    ("", "missing"),
    ("unknown", "missing"),
    ("210 mg 5\u00a0hours ago", "U+00A0"),
]


@pytest.mark.parametrize(("text", "word"), REFUSED)
def test_refused_with_what_to_write(text: str, word: str) -> None:
    with pytest.raises(TextError) as error:
        read_given(text)
    assert word in str(error.value)


def test_all_faults_of_several_doses_at_once() -> None:
    with pytest.raises(InputError) as error:
        read_earlier(["210 mg", "210 mg 5 hours ago", "1,5 mg 5 hours ago"])
    assert [fault.given for fault in error.value.faults] == ["210 mg", "1,5 mg"]


@pytest.mark.parametrize("text", ["210 mg at 2026-05-04 13:11+01:00", "210 mg at 2026-05-04 12:11Z", "210 mg at 2025-05-01 08:00Z"])
def test_after_the_check_or_long_ago_is_refused(text: str) -> None:
    with pytest.raises(InputError):
        read_earlier([text], read_now("2026-05-04 13:10+01:00"))


def test_a_time_of_day_needs_the_time_of_the_check() -> None:
    with pytest.raises(InputError, match="time of the check"):
        read_earlier(["210 mg at 2026-05-04 08:10Z"])
    assert read_earlier(["210 mg at 2026-05-04 08:10Z"], read_now("2026-05-04 13:10+01:00")).doses[0].ago == (4 * HOUR, 4 * HOUR)


def test_none_given_and_not_told_differ() -> None:
    assert as_earlier(None) is None and as_earlier([]).doses == ()
    with pytest.raises(InputError):
        as_earlier("210 mg 5 hours ago")


# ---- instants ----


@given(st.integers(0, 365 * 24 * 60 * 30), st.integers(-14 * 60, 14 * 60))
def test_an_offset_names_one_instant(minutes: int, offset: int) -> None:
    """Against Python's own calendar, which is not what reads the text."""
    moment = datetime(2000, 1, 1, tzinfo=UTC) + timedelta(minutes=minutes)
    there = moment + timedelta(minutes=offset)
    sign, size = ("-", -offset) if offset < 0 else ("+", offset)
    text = f"{there:%Y-%m-%d %H:%M}{sign}{size // 60:02}:{size % 60:02}" if offset else f"{there:%Y-%m-%dT%H:%M}Z"
    assert read_instant(text)[:2] == (moment.timestamp(), moment.timestamp())


def test_a_local_time_that_occurs_twice_is_both_instants() -> None:
    """The clocks of Europe/London went back on 25 October 2026 at 02:00: 01:30 was there twice, an hour apart."""
    twice = read_instant("2026-10-25 01:30", LONDON)
    assert twice[:2] == (read_instant("2026-10-25 00:30Z").first, read_instant("2026-10-25 01:30Z").first)
    with pytest.raises(TextError, match="twice"):
        read_now("2026-10-25 01:30", LONDON)
    assert read_instant("2026-10-25 02:00", LONDON)[:2] == read_instant("2026-10-25 02:00Z")[:2]


def test_a_local_time_that_was_skipped_is_refused() -> None:
    """They went forward on 29 March 2026 at 01:00: 01:30 was never there."""
    for text in ("2026-03-29 01:00", "2026-03-29 01:30", "2026-03-29 01:59"):
        with pytest.raises(TextError, match="skipped"):
            read_instant(text, LONDON)
    assert read_instant("2026-03-29 02:00", LONDON)[:2] == read_instant("2026-03-29 01:00Z")[:2]


@pytest.mark.parametrize("name", ["Europe/Lodnon", "../../etc/passwd", "/etc/passwd", "", "Europe/", "BST?"])
def test_zones_of_no_name(name: str) -> None:
    with pytest.raises(TextError):
        read_zone(name)


@pytest.mark.parametrize("year", [2023, 2024, 2100])
def test_every_hour_of_a_year_comes_back(year: int) -> None:
    """Hour by hour through leap days and both changes of the clock: shown in the zone and read again, it is itself, or one of two."""
    start, twice = int(datetime(year, 1, 1, tzinfo=UTC).timestamp()), 0
    for instant in range(start, start + 366 * 24 * HOUR, HOUR):
        first, last, _ = read_instant(at_instant(instant, LONDON).strftime("%Y-%m-%d %H:%M"), LONDON)
        assert instant in (first, last) and last - first in (0, HOUR)
        twice += first != last
    assert twice == 2  # one local hour a year, met once in summer time and once in winter time


@pytest.mark.parametrize(
    ("seconds", "text"),
    [(60, "1 minute"), (HOUR, "1 hour"), (12_000, "3 hours 20 minutes"), (86_400, "24 hours"), (187_200, "2 days 4 hours"), (0, "0 seconds"), (90, "1.5 minutes")],
)  # fmt: skip
def test_lengths_as_they_are_said(seconds: int, text: str) -> None:
    assert show_length(seconds) == text
