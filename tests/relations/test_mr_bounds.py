"""Order and bounds: MR07 to MR13 (MR13 without its part about age)."""

from __future__ import annotations

from datetime import date
from fractions import Fraction
from functools import cache
from typing import Any

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from relations.kit import (
    ASK,
    HIGH,
    LINES,
    LOW,
    PASSING,
    REAL,
    TOO_OFTEN,
    alone,
    check,
    codes,
    formulary_of,
    is_high,
    orders,
    plain,
    runs,
    tiny,
)

from dosecheck import Formulary, FormularyError, InputError, Verdict, read_order
from dosecheck.formulary.medicine import Medicine, Regimen
from dosecheck.records import NOT_CHECKED, QUERY, STOP, WITHIN

SCALED = list(PASSING)
BY_WEIGHT = [t for t in PASSING if "/" not in t["dose"]]
SHARES = st.fractions(Fraction(1, 10**5), 12, max_denominator=10**5)


def scaled(texts: dict, share: Fraction) -> dict:
    """The same order with `share` of its dose, to twelve decimals and never zero."""
    number, unit = texts["dose"].split(" ", 1)
    return {**texts, "dose": f"{plain(max(Fraction(number) * share, Fraction(1, 10**12)), 12)} {unit}"}


@runs(200)
@given(st.sampled_from(SCALED), SHARES, SHARES)
def test_mr07_less_dose_never_turns_low_into_within(texts: dict, one: Fraction, other: Fraction) -> None:
    """MR07: what is too low stays too low, or not checked, at any lower dose."""
    higher, lower = (check(scaled(texts, share)) for share in (max(one, other), min(one, other)))
    assume(codes(higher) & LOW)
    assert lower.outcome != WITHIN and (codes(higher) & LOW <= codes(lower) or lower.outcome == NOT_CHECKED)


@pytest.mark.parametrize("dose", ["0.000000000001 mg", "0.000001 nanograms"])
def test_mr07_next_to_nothing_is_low(dose: str) -> None:
    """MR07: no underflow: the least that can be written is low, not nothing."""
    assert codes(check({**ASK, "medicine": "paracetamol", "for": "pain", "every": "6 hours", "dose": dose})) == {"dose-below-range"}


@pytest.mark.parametrize("dose", ["0 mg", "0.0 mg", "-1 mg", "0." + "0" * 29 + "1 mg", "1e-30 mg"])
def test_mr07_nothing_or_less_is_refused(dose: str) -> None:
    """MR07: zero, negative and vanishing doses are refused."""
    with pytest.raises(InputError, match="dose"):
        read_order({"dose": dose})


@runs(150)
@given(st.sampled_from(BY_WEIGHT), SHARES, SHARES)
def test_mr07_a_range_is_judged_at_both_ends(texts: dict, one: Fraction, other: Fraction) -> None:
    """MR07: an ordered range is as low as its bottom and as high as its top."""
    bottom, top = (scaled(texts, share) for share in sorted((one, other)))
    number, rest = bottom["dose"].split(" ", 1)
    both = check({**texts, "dose": f"{number} {rest.partition(' of ')[0]} to {top['dose']}"})
    low, high = check(bottom), check(top)
    assert codes(both) & LOW == codes(low) & LOW and codes(both) & HIGH == codes(high) & HIGH


@runs(200)
@given(st.sampled_from(SCALED), st.lists(st.fractions(Fraction(4, 5), Fraction(21, 20), max_denominator=1000), min_size=3, max_size=3))
def test_mr08_the_passing_doses_form_one_interval(texts: dict, shares: list[Fraction]) -> None:
    """MR08: between two doses that are within, every dose is within."""
    low, middle, high = (scaled(texts, share) for share in sorted(shares))
    assume(check(low).outcome == check(high).outcome == WITHIN)
    assert check(middle).outcome == WITHIN


@runs(60)
@given(st.sampled_from(SCALED), SHARES)
def test_mr08_bisected(texts: dict, share: Fraction) -> None:
    """MR08: from a dose that is within to one that is not, the outcome changes once."""
    inside, outside = Fraction(1), share
    assume(check(scaled(texts, outside)).outcome != WITHIN)
    for _ in range(14):
        middle = (inside + outside) / 2
        inside, outside = (middle, outside) if check(scaled(texts, middle)).outcome == WITHIN else (inside, middle)
    for part in range(1, 5):
        assert check(scaled(texts, 1 + (inside - 1) * part / 4)).outcome == WITHIN
        assert check(scaled(texts, outside + (share - outside) * part / 4)).outcome != WITHIN


@runs(300)
@given(st.sampled_from(BY_WEIGHT), st.fractions(1, 15, max_denominator=1000), st.fractions(Fraction(1, 20), 1, max_denominator=1000))
def test_mr09_more_weight_never_creates_a_high(texts: dict, share: Fraction, lighter: Fraction) -> None:
    """MR09: with the dose fixed and the same regimens, what is too high for a heavy child is too high for a light one."""
    texts = scaled(texts, share)
    weight = Fraction(texts["weight"].split(" ")[0])
    light, heavy = (check({**texts, "weight": f"{plain(kilograms)} kg"}) for kilograms in (weight * lighter, weight))
    if {r.full_id for r in light.regimens} == {r.full_id for r in heavy.regimens} and is_high(heavy):
        assert light.outcome != WITHIN and codes(heavy) & HIGH <= codes(light)


# ---- formularies with one limit changed ----


def times(text: str, share: Fraction) -> str:
    """ "15 mg/kg" times `share`."""
    number, unit = text.split(" ", 1)
    return f"{plain(Fraction(number) * share, 9)} {unit}"


def tightened(entry: dict[str, Any]) -> dict[str, dict[str, Any]]:
    """Ways to tighten one limit of a regimen, by name."""
    less, more = Fraction(9, 10), Fraction(11, 10)
    dose = entry.get("dose", {})
    ways: dict[str, dict[str, Any]] = {}
    if isinstance(dose, str) and " to " not in dose:
        ways["dose"] = {"dose": {"low": times(dose, Fraction(91, 100)), "high": times(dose, Fraction(95, 100))}}
    elif isinstance(dose, dict):
        ways |= {f"{end} end": {"dose": {**dose, end: times(dose[end], more if end == "low" else less)}} for end in dose}
    ways |= {
        key: {key: [times(text, less) for text in entry[key]]}
        for key in ("max_single", "max_daily", "max_rate")
        if isinstance(entry.get(key), list)
    }
    ways |= {key: {key: times(entry[key], less)} for key in ("max_concentration", "max_course") if key in entry}
    ways |= {key: {key: times(entry[key], Fraction(2))} for key in ("min_gap", "min_duration") if key in entry}
    if entry.get("max_doses", 1) > 1:
        ways["max_doses"] = {"max_doses": entry["max_doses"] - 1}
    if len(entry.get("doses_a_day", [])) > 1:
        ways |= {"fewest doses": {"doses_a_day": entry["doses_a_day"][1:]}, "most doses": {"doses_a_day": entry["doses_a_day"][:-1]}}
    if "totals" in entry:
        ways["totals"] = {"totals": [{**total, "max": [times(text, less) for text in total["max"]]} for total in entry["totals"]]}
    if "from" in entry.get("age", {}):
        ways["age"] = {"age": {**entry["age"], "from": _later(entry["age"]["from"])}}
    if entry.get("query_up_to") != "0 %" and "/" in repr(dose):
        ways["margin"] = {"query_up_to": "0 %"}
    return ways


def _later(edge: str) -> str:
    number, unit = edge.split(" ")
    return f"{int(number) + 1} {unit.rstrip('s')}s"


def added(entry: dict[str, Any]) -> dict[str, dict[str, Any]]:
    """Limits that a regimen has not, by name."""
    high = entry.get("dose", "")
    high = high.get("high", high.get("low")) if isinstance(high, dict) else high.split(" to ")[-1]
    ways: dict[str, dict[str, Any]] = {
        "min_gap": {"min_gap": "6 hours"},
        "max_doses": {"max_doses": 3},
        "max_course": {"max_course": "2 days"},
        "min_duration": {"min_duration": "30 minutes"},
    }
    if high and "min" not in high and "/h" not in high:
        top = high.split("/")[0]
        ways |= {
            "max_single": {"max_single": [top]},
            "max_daily": {"max_daily": [times(top, Fraction(3))]},
            "per kg": {"max_single": [f"{top}/kg"]},
        }
        ways |= {"totals": {"totals": [{"over": "course", "max": [times(top, Fraction(4))]}]}, "max_rate": {"max_rate": [f"{top}/min"]}}
        ways |= {"max_concentration": {"max_concentration": f"{top}/mL"}} if " puff" not in top and " drop" not in top else {}
    free = {name: change for name, change in ways.items() if not {key for key in change if key != "max_daily"} & set(entry)}
    return {name: change for name, change in free.items() if "max_daily" not in change or isinstance(entry.get("max_daily"), dict)}


@cache
def pair_of(medicine: str, regimen: str, way: str, adding: bool) -> tuple[Formulary, Formulary] | None:
    """(as it is, with the one change), each with this regimen alone; None where lint refuses the change."""
    plain_file = alone(medicine, regimen)
    entry = plain_file["regimen"][0]
    change = (added if adding else tightened)(entry)[way]
    try:
        return formulary_of(plain_file), formulary_of({**plain_file, "regimen": [{**entry, **change}]})
    except FormularyError:
        return None


LONE = [n for n, (m, r) in enumerate(LINES) if ", band " not in r.id and len([x for x in m.regimens if x.id == r.id]) == 1]
LOOSE = {"max_single", "max_daily", "per kg"}  # at a maximum that binds, a dose is never too low


def changed(data: st.DataObject, adding: bool) -> tuple[dict, str, Verdict, Verdict]:
    line = data.draw(st.sampled_from(LONE))
    medicine, regimen = LINES[line]
    ways = (added if adding else tightened)(regimen.entry)
    assume(ways)
    way = data.draw(st.sampled_from(sorted(ways)))
    pair = pair_of(medicine.id, regimen.id, way, adding)
    assume(pair)
    texts = data.draw(orders(noise=1, line=line))
    return texts, way, check(texts, pair[0]), check(texts, pair[1])


@runs(500)
@given(st.data())
def test_mr10_tightening_a_limit_never_adds_a_pass(data: st.DataObject) -> None:
    """MR10: an order within a tighter regimen is within the regimen as it was.

    One exception, by rule: a dose at a lower maximum that binds is no longer too low.
    """
    texts, way, before, after = changed(data, adding=False)
    if after.outcome == WITHIN and before.outcome != WITHIN:
        assert way in LOOSE and before.outcome == QUERY and codes(before) <= LOW, (texts, way)


@runs(500)
@given(st.data())
def test_mr11_adding_a_limit_never_adds_a_pass(data: st.DataObject) -> None:
    """MR11: an order within the limits and one more is within the limits without it.

    Exceptions, by rule: as in MR10; and a regimen without any bound on repeats gets its first one.
    """
    texts, way, before, after = changed(data, adding=True)
    if after.outcome == WITHIN and before.outcome != WITHIN:
        allowed = (LOW if way in LOOSE else set()) | {"repeats-not-bounded"}
        assert codes(before) <= allowed, (texts, way)


@pytest.mark.parametrize(
    ("limit", "order", "code"),
    [
        ({"max_single": ["99 mg"]}, {}, "dose-above-single-max"),
        ({"max_daily": ["399 mg"]}, {}, "day-above-max"),
        ({"max_daily": ["19.9 mg/kg"]}, {}, "day-above-max"),
        ({"min_gap": "361 minutes"}, {}, "gap-too-short"),
        ({"max_doses": 3}, {}, "too-many-doses"),
        ({"totals": [{"over": "course", "max": ["1.99 g"]}]}, {"course": "5 days"}, "total-above-max"),
        ({"totals": [{"over": "48 hours", "max": ["799 mg"]}]}, {"course": "5 days"}, "total-above-max"),
        ({"max_course": "4 days"}, {"course": "5 days"}, "course-too-long"),
        ({"max_rate": ["9.9 mg/min"]}, {"over": "10 minutes"}, "rate-above-max"),
        ({"min_duration": "11 minutes"}, {"over": "10 minutes"}, "given-too-fast"),
        ({"max_concentration": "4.9 mg/mL"}, {"made_up_to": "20 mL"}, "concentration-above-max"),
        ({"floor": "101 mg"}, {}, "dose-below-floor"),
    ],
)  # fmt: skip
def test_mr11_above_the_new_limit_it_is_told(limit: dict, order: dict, code: str) -> None:
    """MR11: an order within all others but above the one new limit breaks that one, and no other."""
    base = {"dose": {"low": "4 mg/kg", "high": "5 mg/kg"}, "max_doses": 6}
    texts = {**ASK, "dose": "100 mg", "every": "6 hours", "at_most": "4", **order}
    assert check(texts, tiny(base)).outcome == WITHIN
    assert codes(check(texts, tiny({**base, **limit}))) == {code}


# ---- how often ----


@runs(200)
@given(st.sampled_from(BY_WEIGHT), SHARES, st.integers(1, 24), st.integers(1, 24))
def test_mr12_more_times_a_day_never_helps(texts: dict, share: Fraction, one: int, other: int) -> None:
    """MR12: raising the number of doses a day removes no HIGH and no too-soon."""
    bare = {key: value for key, value in scaled(texts, share).items() if key not in ("every", "at_most", "once", "times_a_day")}
    fewer, more = (check({**bare, "times_a_day": str(n)}) for n in sorted((one, other)))
    assert codes(fewer) & (HIGH | TOO_OFTEN) <= codes(more)
    if codes(fewer) & (HIGH | TOO_OFTEN):
        assert more.outcome != WITHIN


@runs(200)
@given(st.sampled_from(BY_WEIGHT), SHARES, st.integers(60, 1440), st.integers(60, 1440))
def test_mr12_a_shorter_gap_never_helps(texts: dict, share: Fraction, one: int, other: int) -> None:
    """MR12: shortening the gap removes no HIGH and no too-soon; a range is judged at its shortest end."""
    bare = {key: value for key, value in scaled(texts, share).items() if key not in ("every", "at_most", "once", "times_a_day")}
    shorter, longer = sorted((one, other))
    near, far = (check({**bare, "every": f"{minutes} minutes"}) for minutes in (shorter, longer))
    bad = HIGH | TOO_OFTEN
    assert codes(far) & bad <= codes(near)
    spread = check({**bare, "every": f"{shorter} to {longer} minutes"})
    assert codes(spread) & bad == codes(near) & bad
    assert spread.outcome != WITHIN or near.outcome == WITHIN or codes(near) <= {"doses-a-day-not-listed"}


# ---- pounds as kilograms ----


def _single_per_kg(medicine: Medicine, regimen: Regimen) -> bool:
    dose = regimen.entry["dose"]
    return isinstance(dose, str) and dose.endswith("/kg") and regimen.per == "dose" and not medicine.basis_stated


@pytest.mark.parametrize("line", [n for n in LONE if _single_per_kg(*LINES[n])], ids=lambda n: LINES[n][1].id + " of " + LINES[n][0].id)
def test_mr13_a_dose_for_pounds_taken_as_kilograms_is_high(line: int) -> None:
    """MR13: the dose at the maximum for the weight in pounds is HIGH for the true weight, and the slip is named."""
    medicine, regimen = LINES[line]
    texts = next(
        (
            t
            for t in PASSING
            if (t["medicine"], t["route"]) == (medicine.id, regimen.route) and regimen.purposes[0] == t["for"] and "/" not in t["dose"]
        ),
        None,
    )
    if texts is None:
        pytest.skip("no order of this regimen passes")
    verdict = check(scaled(texts, Fraction(22046, 10_000)), REAL)
    binding = [s for s in verdict.limits if s.binding]
    assert verdict.outcome in (QUERY, STOP, NOT_CHECKED) and (is_high(verdict) or verdict.outcome == NOT_CHECKED)
    if len(binding) == 1 and binding[0].limit.main.measure == "dose/weight" and is_high(check(scaled(texts, Fraction(11, 10)))):
        assert any("pounds" in slip for slip in verdict.slips), verdict.slips


def test_mr13_below_and_above_the_cap() -> None:
    """MR13: with rate x weight below the cap; for every weight the false dose is HIGH."""
    formulary = tiny({"dose": "15 mg/kg", "max_single": ["1 g"], "min_gap": "4 hours"})
    for weight in range(3, 66):
        dose = min(Fraction(15 * weight * 22046, 10_000), Fraction(1000))
        assert is_high(check({**ASK, "weight": f"{weight} kg", "dose": f"{plain(dose)} mg", "every": "6 hours"}, formulary))


def test_mr10_by_date() -> None:
    """MR10: a later, tighter regimen of the same id takes nothing from an order dated before it."""
    loose, tight = {"dose": "15 mg/kg", "min_gap": "4 hours"}, {"dose": "10 mg/kg", "min_gap": "4 hours", "valid_from": date(2026, 1, 1)}
    formulary = tiny(loose, tight)
    texts = {**ASK, "dose": "300 mg", "every": "6 hours"}
    assert check({**texts, "on": "2025-12-31"}, formulary).outcome == WITHIN
    assert check({**texts, "on": "2026-01-01"}, formulary).outcome == STOP
