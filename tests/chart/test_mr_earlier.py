"""Relations of earlier doses over every regimen of the real formulary, on the orders that pass alone."""

from __future__ import annotations

from datetime import date, timedelta
from fractions import Fraction

from hypothesis import given
from hypothesis import strategies as st
from relations.kit import PASSING, REAL, runs

from dosecheck import Verdict, check_order, read_order
from dosecheck.quantity import Quantity
from dosecheck.records import QUERY, STOP
from dosecheck.showing import show

MINUTES = st.integers(1, 30 * 60)
NOW_CODES = {"too-soon", "too-many-with-earlier", "day-above-with-earlier", "total-above-with-earlier"}
RANK = ("within", QUERY, "not-checked", STOP)
DISCRETE = [texts for texts in PASSING if not texts["dose"].endswith(("/h", "/min"))]


def ask(texts: dict, before: list[str] | None, **changes: str | None) -> Verdict:
    told = {**texts, **changes}
    return check_order(*read_order({name: text for name, text in told.items() if text is not None}), REAL, before)


def given_texts(texts: dict, seconds: list[int]) -> list[str]:
    """The order's own dose, given so many seconds ago; a dose of a day is left out (it is no single dose)."""
    return [f"{texts['dose']}, {ago} seconds ago" for ago in seconds]


def single(texts: dict) -> bool:
    return not texts["dose"].endswith((" a day", "/day"))


def three_days_old(texts: dict) -> bool:
    """A younger baby cannot have had the doses made up here."""
    days = date.fromisoformat(texts["on"]) - date.fromisoformat(texts["born"]) if "born" in texts else timedelta(99)
    return days >= timedelta(3)


ORDERS = st.sampled_from([texts for texts in DISCRETE if single(texts) and three_days_old(texts)])


@runs(200)
@given(ORDERS)
def test_none_given_changes_nothing_but_what_is_said_of_it(texts: dict) -> None:
    untold, none = ask(texts, None), ask(texts, [])
    assert (untold.outcome, untold.codes, untold.counts) == (none.outcome, none.codes, none.counts)
    assert untold.headline != none.headline or untold.outcome != "within"


@runs(250)
@given(ORDERS, st.lists(MINUTES, min_size=1, max_size=4))
def test_an_earlier_dose_never_helps(texts: dict, minutes: list[int]) -> None:
    """MR23 for every regimen that passes some order."""
    before = given_texts(texts, [60 * each for each in minutes])
    outcomes = [RANK.index(ask(texts, before[:n]).outcome) for n in range(len(before) + 1)]
    assert outcomes == sorted(outcomes)


@runs(250)
@given(ORDERS, st.lists(MINUTES, min_size=1, max_size=3, unique=True))
def test_mr16_the_next_dose_passes_its_own_check_and_no_sooner(texts: dict, minutes: list[int]) -> None:
    """MR16: at the stated time the stated size breaks nothing that looks back; a second sooner it does."""
    seconds = [60 * each for each in minutes]
    once = {**texts, **dict.fromkeys(("every", "times_a_day", "at_most", "as_needed")), "once": "yes"}
    found = ask(once, given_texts(texts, seconds)).next_dose
    if found is None:
        return
    at = int(found.at)
    then = ask(once, given_texts(texts, [each + at for each in seconds]))
    assert not NOW_CODES & set(then.codes), then.codes
    if at:
        sooner = ask(once, given_texts(texts, [each + at - 1 for each in seconds]))
        assert NOW_CODES & set(sooner.codes)
    if found.most and found.most.kind == "mass" and " of " not in texts["dose"]:
        whole = Quantity(Fraction(found.most.value // 1000 * 1000), "mass", "micrograms")
        largest = ask(once, given_texts(texts, [each + at for each in seconds]), dose=f"{whole.number} micrograms", product=None)
        assert not (NOW_CODES | {"dose-above-range", "dose-above-single-max"}) & set(largest.codes), show(whole)
