"""Facts of the trade, as checks of our reading and arithmetic: common practice, no source, unless one is named.

They are tests alone: no command and no page says them.
"""

from __future__ import annotations

from fractions import Fraction

import pytest

from dosecheck import read_dose, read_strength
from dosecheck.quantity import Quantity
from dosecheck.reading import read_frequency, read_time

# Resting breaths a minute by age, secondary source: parent-facing page of paediatric normal values,
# baby-medical-questions-and-answers.com/breathing-and-blood-pressure.html
RESTING = {"under 1 year": (30, 40), "2 to 5 years": (25, 30), "5 to 12 years": (20, 25)}
ADULT = (12, 20)  # common practice, no source


@pytest.mark.parametrize("strength", ["50 micrograms/puff", "100 micrograms/puff", "0.25 mg/puff"])
def test_one_puff_for_two_twice_a_day_halves_the_daily_dose(strength: str) -> None:
    """Common practice, no source."""
    held, times = read_strength(strength), read_frequency("twice a day").times

    def daily(puffs: str) -> Quantity:
        return held * read_dose(puffs).high * times

    assert daily("2 puffs") == daily("1 puff") * 2
    assert daily("2 puffs") == held * read_dose("4 puffs").high


def test_twenty_thousand_breaths_a_day_are_about_fourteen_a_minute() -> None:
    """Common practice, no source; that it is a grown person's rate at rest, and no young child's, is by the table above."""
    a_minute = Fraction(20_000) * read_time("1 minute").value / read_time("1 day").value
    assert round(a_minute) == 14 and abs(a_minute - 14) < Fraction(1, 5)
    assert ADULT[0] <= a_minute <= ADULT[1]
    assert all(a_minute < low for low, _ in RESTING.values())


def test_the_younger_the_child_the_faster_it_breathes() -> None:
    lows = [low for low, _ in RESTING.values()]
    assert lows == sorted(lows, reverse=True)


@pytest.mark.parametrize("text", ["3 weeks", "21 days", "504 hours"])
def test_a_wrist_splint_of_three_weeks_is_21_days_of_follow_up(text: str) -> None:
    """Common practice, no source: for a simple break of the wrist."""
    assert read_time(text, "follow-up", "21 days").to("days").number == 21
