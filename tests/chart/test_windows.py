"""Windows of 24 hours against the minute-by-minute reckoning, on generated doses; and at their edges."""

from __future__ import annotations

from fractions import Fraction

import pytest
from chart.slow import Slow, gap, may_hold, next_minute, worst
from hypothesis import given
from hypothesis import strategies as st

from dosecheck.rules.next_dose import Bounds, next_dose, room
from dosecheck.rules.windows import DAY, Timed, last_given, window, windows, worst_total

HOUR = 60
moments = st.integers(-40 * HOUR, -1)
# whole minutes, thick around 24 hours, and ranges of times
slow_doses = st.builds(
    lambda first, width, amount: Slow(first, min(first + width, -1), amount),
    st.one_of(moments, st.sampled_from((-24 * HOUR - 1, -24 * HOUR, -24 * HOUR + 1, -4 * HOUR, -4 * HOUR + 1))),
    st.sampled_from((0, 0, 0, 1, 60, 300)),
    st.integers(1, 400),
)
charts = st.lists(slow_doses, min_size=1, max_size=7)


def timed(dose: Slow) -> Timed:
    return Timed(dose.first * 60, dose.last * 60, Fraction(dose.amount))


@given(charts)
def test_the_worst_window_is_that_of_the_minute_by_minute_reckoning(doses: list[Slow]) -> None:
    """MR24: the worst of all windows decides; calendar days do not come into it."""
    found = windows([timed(d) for d in doses], DAY)
    total, count = worst(doses, -41 * HOUR, 24 * HOUR)
    assert worst_total([timed(d) for d in doses], DAY).total == total
    assert max(len(w.doses) for w in found) == count


@given(charts, st.integers(-41 * HOUR, 25 * HOUR))
def test_one_window_holds_what_its_minutes_may_hold(doses: list[Slow], end: int) -> None:
    held = window([timed(d) for d in doses], end * 60, DAY)
    assert sorted(d.amount for d in held.doses) == sorted(d.amount for d in may_hold(doses, end))


@given(charts)
def test_the_gap_runs_from_the_latest_that_a_dose_may_have_been_given(doses: list[Slow]) -> None:
    """H13: a range of times is judged at its later end."""
    assert -last_given([timed(d) for d in doses]) == gap(doses) * 60


BOUNDS = Bounds(gap=4 * 3600, counts=(Fraction(4),), totals=((Fraction(600), DAY),), single=Fraction(200))


@given(charts, st.integers(1, 200))
def test_the_next_dose_is_the_first_minute_that_keeps_everything(doses: list[Slow], dose: int) -> None:
    """MR16: what is proposed fits; a minute earlier, or a little more, does not."""
    mine = [timed(d) for d in doses]
    found = next_dose(BOUNDS, mine, Fraction(dose))
    assert found.at == next_minute(doses, dose, 240, 4, 600) * 60
    held = may_hold(doses, int(found.at) // 60)
    assert found.most == min(200, 600 - sum(d.amount for d in held)) == room(BOUNDS, mine, found.at)
    assert found.most >= dose


@pytest.mark.parametrize(("minutes", "inside"), [(24 * HOUR - 1, True), (24 * HOUR, False), (24 * HOUR + 1, False)])
def test_exactly_24_hours_before_is_outside(minutes: int, inside: bool) -> None:
    """The window is half-open: documented in windows.py and in the meaning of the code."""
    dose = Timed(-minutes * 60, -minutes * 60, Fraction(1))
    assert bool(window([dose], 0, DAY).doses) is inside


def test_a_dose_that_never_fits_has_no_next_time() -> None:
    """More than the whole day's limit; and an amount that is not known."""
    assert next_dose(BOUNDS, [Timed(-60, -60, Fraction(1))], Fraction(601)) is None
    assert next_dose(BOUNDS, [Timed(-60, -60, None)], Fraction(1)) is None
