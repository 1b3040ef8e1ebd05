"""One order with the doses given before: the answer against a slow second reckoning, and how it must behave.

The figures are ibuprofen's, worked by hand for 20 kg: at most 600 mg in 24 hours by 30 mg/kg (a stop above 660 mg), 4
doses, 4 hours apart.  Sources stand in the formulary beside the figures.
"""

from __future__ import annotations

import re
import shutil
from pathlib import Path
from typing import Any

import pytest
from chart.slow import Slow, gap, may_hold, worst
from cli.door import FOLDER
from hypothesis import given
from hypothesis import strategies as st

from dosecheck import Child, Formulary, Order, Verdict, check_order
from dosecheck.records import NOT_CHECKED, QUERY, STOP, WITHIN

REAL = Formulary(FOLDER)
CHILD = {"weight": "20 kg", "age": "6 years"}
IBUPROFEN = {"medicine": "ibuprofen", "route": "oral", "for_": "pain", "dose": "150 mg", "every": "6 hours"}
PARACETAMOL = {"medicine": "paracetamol", "route": "oral", "for_": "pain", "dose": "280 mg", "every": "6 hours"}
HOUR = 60
RANK = (WITHIN, QUERY, NOT_CHECKED, STOP)


def ask(*given_before: str, order: dict[str, Any] = IBUPROFEN, told: bool = True, child: dict[str, Any] = CHILD, **changes: Any) -> Verdict:
    return check_order(Order(**{**order, **changes}), Child(**child), REAL, list(given_before) if told else None)


def text(dose: Slow) -> str:
    ends = f"{-dose.last} to {-dose.first} minutes" if dose.first != dose.last else f"{-dose.first} minutes"
    return f"{dose.amount} mg {ends} ago"


slow_doses = st.builds(
    lambda first, width, amount: Slow(first, min(first + width, -1), amount),
    st.one_of(st.integers(-30 * HOUR, -1), st.sampled_from((-24 * HOUR, -24 * HOUR - 1, -24 * HOUR + 1, -4 * HOUR, -4 * HOUR + 1))),
    st.sampled_from((0, 0, 1, 60)),
    st.sampled_from((50, 100, 150, 200)),
)
charts = st.lists(slow_doses, max_size=6)


@given(charts, st.sampled_from((100, 149, 150, 200)), st.sampled_from((4, 6, 8, 24, None)))
def test_the_codes_are_those_of_the_slow_reckoning(doses: list[Slow], dose: int, every: int | None) -> None:
    """H12, H13: gap, number and total of the dose now; the order's later doses; and windows before now."""
    often = {"every": None, "once": True} if every is None else {"every": f"{every} hours"}
    codes = set(ask(*map(text, doses), dose=f"{dose} mg", **often).codes)
    with_now = [*doses, Slow(0, 0, dose)]
    total, count = sum(d.amount for d in may_hold(with_now, 0)), len(may_hold(with_now, 0))
    assert ("too-soon" in codes) is (bool(doses) and gap(doses) < 4 * HOUR)
    assert ("too-many-with-earlier" in codes) is (bool(doses) and count > 4)
    assert ("day-above-with-earlier" in codes) is (bool(doses) and total > 600)
    planned = [Slow(at, at, dose) for at in range(0, DAY, every * HOUR)] if every else [Slow(0, 0, dose)]
    later_total, later_count = (max(each) for each in zip(*(sums(doses, planned[:n]) for n in range(1, len(planned) + 1)), strict=True))
    later = bool(doses) and ((total <= 600 and later_total > 600) or (count <= 4 and later_count > 4))
    assert ("later-dose-breaks" in codes) is later
    before_total, before_count = worst(doses, -31 * HOUR, 0) if doses else (0, 0)
    if not {"day-above-with-earlier", "too-many-with-earlier", "later-dose-breaks"} & codes:
        assert ("earlier-above-max" in codes) is (before_total > 600 or before_count > 4)


DAY = 24 * HOUR


def sums(doses: list[Slow], planned: list[Slow]) -> tuple[int, int]:
    """Total and number of the window that ends at the last planned dose."""
    held = may_hold([*doses, *planned], planned[-1].first)
    return sum(d.amount for d in held), len(held)


@pytest.mark.parametrize(
    ("before", "outcome"),
    [([], WITHIN), (["150 mg 6 hours ago", "200 mg 12 hours ago"], WITHIN), (["300 mg 8 hours ago", "150 mg 12 hours ago"], WITHIN),
     (["300 mg 8 hours ago", "151 mg 12 hours ago"], QUERY), (["300 mg 8 hours ago", "210 mg 12 hours ago"], QUERY), (["300 mg 8 hours ago", "211 mg 12 hours ago"], STOP)],
)  # fmt: skip
def test_the_edges_of_the_total_once(before: list[str], outcome: str) -> None:
    """600 mg is kept, 601 mg a query, 660 mg still one, 661 mg a stop: worked by hand."""
    assert ask(*before, every=None, once=True).outcome == outcome


def outcomes(verdict: Verdict) -> int:
    return RANK.index(verdict.outcome)


@given(charts, slow_doses)
def test_mr23_one_more_dose_never_helps(doses: list[Slow], more: Slow) -> None:
    """MR23: nor does taking one away ever hurt."""
    fewer, all_ = ask(*map(text, doses)), ask(*map(text, [*doses, more]))
    assert {"too-soon", "too-many-with-earlier", "day-above-with-earlier"} & set(fewer.codes) <= set(all_.codes)
    assert outcomes(fewer) <= outcomes(all_)


@given(charts.filter(bool), st.integers(1, 600))
def test_mr24_the_oldest_dose_further_back_never_adds_a_stop(doses: list[Slow], minutes: int) -> None:
    oldest = min(doses)
    rest = list(doses)
    rest.remove(oldest)
    moved = [*rest, Slow(oldest.first - minutes, oldest.last - minutes, oldest.amount)]
    before, after = ask(*map(text, doses)), ask(*map(text, moved))
    assert not (after.outcome == STOP and before.outcome != STOP)


@pytest.mark.parametrize(
    "again", ["150 mg 6 hours ago", "0.15 g of IBUPROFEN, 360 minutes ago", " 7.5 mL as Oral-Liquid-100-in-5, 6 hours ago "]
)
def test_mr25_a_repeated_dose_is_counted_and_named(again: str) -> None:
    """MR25: an exact copy, one that is written otherwise: both count, and no copy passes."""
    one, two = ask("150 mg 6 hours ago", every=None, once=True), ask("150 mg 6 hours ago", again, every=None, once=True)
    assert one.outcome == WITHIN and "given-twice" in two.codes and two.outcome == QUERY
    assert "= 450 mg" in " ".join(step.text for step in two.working)


@given(charts.filter(bool))
def test_mr12_more_often_never_helps(doses: list[Slow]) -> None:
    """MR12: with earlier doses told as well."""
    stops = [ask(*map(text, doses), every=f"{hours} hours").outcome == STOP for hours in (24, 12, 8, 6, 4, 3, 2, 1)]
    assert stops == sorted(stops)


@given(charts.filter(bool))
def test_a_range_of_times_is_never_better_than_either_end(doses: list[Slow]) -> None:
    """H13: "4 to 5 hours ago" counts at both ends."""
    told = ask(*map(text, doses))
    for end in ("first", "last"):
        point = ask(*(text(Slow(getattr(d, end), getattr(d, end), d.amount)) for d in doses))
        assert set(point.codes) & {"too-soon", "too-many-with-earlier", "day-above-with-earlier"} <= set(told.codes)


# ---- one ingredient under several names, products and routes ----


def test_h12_the_same_ingredient_by_name_product_and_route() -> None:
    """H12: another name, a liquid and a suppository count together, and are named."""
    given_before = (
        "5 mL of acetaminophen as oral-liquid-120-in-5, 20 hours ago",
        "1 suppository as suppository-250, 10 hours ago",
        "280 mg 5 hours ago",
    )
    verdict = ask(*given_before, order=PARACETAMOL)
    assert "120 mg + 250 mg + 280 mg + 280 mg = 930 mg" in " ".join(step.text for step in verdict.working)
    notes = {f.code for f in verdict.findings if not f.outcome}
    assert "other-route-counted" in notes
    assert ask(*given_before, "280 mg 15 hours ago", order=PARACETAMOL).codes == ("too-many-with-earlier",)


def test_h12_a_combination_counts_for_each_ingredient() -> None:
    """Amoxicillin in co-amoxiclav is amoxicillin."""
    order = {"medicine": "amoxicillin", "route": "oral", "dose": "250 mg", "every": "8 hours"}
    verdict = check_order(Order(**order), Child(**CHILD), REAL, ["5 mL of co-amoxiclav as oral-liquid-125-31-in-5, 5 hours ago"])
    assert "125 mg" in " ".join(step.text for step in verdict.working)
    assert any(f.code == "same-ingredient" for f in verdict.findings)


def test_two_medicines_of_one_group_are_asked_about_and_never_added() -> None:
    verdict = ask("300 mg of aspirin 10 hours ago")
    assert verdict.codes == ("same-group",) and verdict.outcome == QUERY and "NSAID" in verdict.findings[0].message
    assert ask("300 mg of aspirin 24 hours ago").outcome == WITHIN
    assert "Nothing is converted" in verdict.findings[0].message


def test_without_a_list_of_groups_every_shared_group_is_asked_about(tmp_path: Path) -> None:
    """A policy that is silent is the cautious one."""
    shutil.copytree(FOLDER, tmp_path / "f")
    policy = tmp_path / "f" / "policy.toml"
    policy.write_text(re.sub(r"\[one_at_a_time\].*?\n(?=\[)", "", policy.read_text("utf-8"), flags=re.S), "utf-8")
    before = ["280 mg of paracetamol 8 hours ago"]
    assert check_order(Order(**IBUPROFEN), Child(**CHILD), REAL, before).outcome == WITHIN
    assert check_order(Order(**IBUPROFEN), Child(**CHILD), Formulary(tmp_path / "f"), before).codes == ("same-group",)


def test_two_analgesics_of_unlike_groups_are_each_judged_alone() -> None:
    """Totals and gaps never run across ingredients."""
    verdict = ask("280 mg of paracetamol 1 hour ago")
    assert verdict.outcome == WITHIN and not any("paracetamol" in step.text for step in verdict.working)


# ---- what cannot be known ----


@pytest.mark.parametrize(
    ("before", "word"),
    [("5 mL 5 hours ago", "product"), ("5 mL as no-such-product, 5 hours ago", "no-such-product"), ("1 tablet 5 hours ago", "product"),
     ("150 mg of nosuch 5 hours ago", "nosuch"), ("150 units 5 hours ago", "units"), ("2 tablets as oral-liquid-100-in-5, 5 hours ago", "product")],
)  # fmt: skip
def test_a_dose_that_cannot_be_counted_is_not_checked_and_named(before: str, word: str) -> None:
    verdict = ask(before)
    assert verdict.outcome == NOT_CHECKED and any(word in line for line in verdict.not_checked)


def test_a_dose_per_kg_needs_the_weight() -> None:
    assert ask("10 mg/kg 6 hours ago", dose="100 mg", every=None, once=True).outcome == WITHIN
    assert ask("10 mg/kg 6 hours ago", child={"age": "6 years"}).outcome == NOT_CHECKED


@pytest.mark.parametrize("missing", ["dose", "route", "medicine"])
def test_without_a_field_it_is_never_within(missing: str) -> None:
    """MR26 with earlier doses told."""
    assert ask("150 mg 6 hours ago", **{missing: None}).outcome != WITHIN


@pytest.mark.parametrize("missing", ["weight", "age"])
def test_without_a_particular_of_the_child_it_is_never_within(missing: str) -> None:
    assert ask("150 mg 6 hours ago", child={k: v for k, v in CHILD.items() if k != missing}).outcome != WITHIN


def test_a_record_far_above_the_most_for_one_dose_is_asked_about() -> None:
    assert "given-dose-large" in ask("2000 mg 20 hours ago").codes and ask("2000 mg 20 hours ago").outcome == STOP


# ---- what the answer says of it ----


def test_none_given_not_told_and_told_are_three_things() -> None:
    """H12: each with its own headline and its own open line."""
    untold, none, some = ask(told=False), ask(), ask("150 mg 24 hours ago")
    assert {v.outcome for v in (untold, none, some)} == {WITHIN}
    assert "not told" in untold.headline and "no earlier dose" in none.headline and "1 earlier dose told" in some.headline
    assert len({v.not_checked[0] for v in (untold, none, some)}) == 3
    assert "earlier" not in untold.understood and none.understood["earlier"] == "none given"


def test_the_proposal_and_the_next_dose_pass_their_own_check() -> None:
    """MR16: at the stated time the stated size fits; a minute earlier, or one measuring step more, does not."""
    before = ("300 mg 3 hours ago", "150 mg 12 hours ago")
    product = {"product": "oral-liquid-100-in-5"}
    found = ask(*before, **product, every=None, once=True).next_dose
    assert found.when == "in 1 hour" and found.measured.measured.number == 7.5 and found.most.number == 150
    at_time = ("300 mg 4 hours ago", "150 mg 13 hours ago")
    assert ask(*at_time, **product, every=None, once=True, dose="7.5 mL").outcome == WITHIN
    assert ask("300 mg 239 minutes ago", "150 mg 779 minutes ago", every=None, once=True).outcome == STOP
    assert ask(*at_time, **product, every=None, once=True, dose="8 mL").outcome == QUERY
    assert (
        ask(*before, **product).suggestion.measured is None
        and ask(*at_time, **product, every=None, once=True).suggestion.measured.number == 7.5
    )
