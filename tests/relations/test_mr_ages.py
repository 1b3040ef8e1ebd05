"""Dates, age and the date of the weight: MR19 to MR22 (MR18 and its time zones are in test_mr_machine.py)."""

from __future__ import annotations

from datetime import date, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st
from relations.kit import LINES, ON, PASSING, REAL, check, codes, runs, tiny

from dosecheck import Child, Order, check_order
from dosecheck.records import NOT_CHECKED, QUERY, STOP, WITHIN
from dosecheck.rules.facts import age_of, body_of
from dosecheck.rules.present import say_age

RANK = {WITHIN: 0, QUERY: 1, NOT_CHECKED: 2, STOP: 3}


@pytest.mark.parametrize(
    "born", [date(2020, 2, 29), date(2019, 12, 31), date(2020, 1, 30), date(2021, 1, 29), date(2021, 8, 28), date(2024, 2, 29)]
)
def test_mr19_age_never_runs_backward(born: date) -> None:
    """MR19: day by day over six years: the days rise by one, the months never fall, and twelve of them make a year."""
    months: list[int] = []
    for days in range(6 * 366):
        age = age_of(Child(born=born, on=born + timedelta(days=days)))
        assert age.days_lo == age.days_hi == days and age.months_lo == age.months_hi
        assert not months or 0 <= age.months_lo - months[-1] <= 1
        months.append(age.months_lo)
        on = born + timedelta(days=days)
        if on > born + timedelta(days=366) and (on.month, on.day) != (2, 29):
            year_ago = on.replace(year=on.year - 1)
            assert age.months_lo - months[(year_ago - born).days] == 12


_EACH = {"dose": "10 mg/kg", "min_gap": "4 hours", "valid_from": date(2000, 1, 1)}
YEARLY = tiny(
    {**_EACH, "age": {"from": "1 month", "below": "1 year"}},
    *({**_EACH, "id": f"from-{n}", "age": {"from": f"{n} year{'s' * (n > 1)}", "below": f"{n + 1} years"}} for n in range(1, 7)),
)


@pytest.mark.parametrize("born", ["2020-02-29", "2024-02-29"])
def test_mr20_one_birthday_a_year(born: str) -> None:
    """MR20: a child of 29 February turns a year older on 1 March of a common year: band, months and printed age alike."""
    year = int(born[:4])
    for later in range(1, 5):
        leap = (year + later) % 4 == 0
        turned = []
        for day in ("02-27", "02-28", "02-29" if leap else "02-28", "03-01", "03-02"):
            child = Child(born=born, on=f"{year + later}-{day}", weight="14 kg")
            verdict = check_order(Order(medicine="exampol", route="oral", dose="140 mg", every="6 hours"), child, YEARLY)
            months = age_of(child).months_lo
            (regimen,) = verdict.regimens
            assert regimen.id == (f"from-{months // 12}" if months >= 12 else "oral-child")
            printed = verdict.understood["age"]
            assert printed in (f"{months} months", f"{months // 12} years {months % 12} month{'s' * (months % 12 != 1)}")
            turned.append((day, months >= 12 * later))
        first = "02-29" if leap else "03-01"
        assert next(day for day, done in turned if done) == first


def _edges() -> list[tuple[str, int, str]]:
    return sorted(
        {
            (m.id, b, band.fact)
            for m, r in LINES
            for band in r.bands
            if band.fact in ("months", "days")
            for b in (band.low, band.high)
            if b is not None
        }
    )


@pytest.mark.parametrize("name", [m.id for m in REAL.medicines()])
def test_mr21_a_printed_age_can_be_typed_back(name: str) -> None:
    """MR21: the printed age selects the same regimens as the dates did, one day to either side of every edge of a band."""
    on = date.fromisoformat(ON)
    medicine = REAL.medicine(name)
    for _, edge, fact in (e for e in _edges() if e[0] == name):
        months_ago = on.year * 12 + on.month - 1 - edge
        at = on - timedelta(days=edge) if fact == "days" else date(months_ago // 12, months_ago % 12 + 1, on.day)
        for born in (at + timedelta(days=n) for n in (-1, 0, 1)):
            if born > on:
                continue
            dated = Child(born=born, on=on, weight="14 kg", gestation="40 weeks")
            stated = Child(age=say_age(age_of(dated)), on=on, weight="14 kg", gestation="40 weeks")
            one, other = body_of(dated).intervals, body_of(stated).intervals
            for regimen in medicine.regimens:
                bands = [b for b in regimen.bands if b.fact in ("months", "days")]
                fits = [[b.holds(facts[b.fact]) for b in bands] for facts in (one, other)]
                unit = "days" if stated.age.days is not None else "months"
                for band, dates, text in zip(bands, *fits, strict=True):
                    assert dates == text or (band.fact != unit and text is None), (regimen.id, say_age(age_of(dated)))


WEIGHED = [t for t in PASSING if "weighed" in t]


@runs(150)
@given(
    st.sampled_from(WEIGHED),
    st.lists(st.one_of(st.integers(0, 3 * 366), st.sampled_from((13, 14, 15, 89, 90, 91))), min_size=2, max_size=6),
    st.sampled_from(("measured", "stated", "estimated", None)),
)
def test_mr22_an_older_weight_is_never_better(texts: dict, days: list[int], kind: str | None) -> None:
    """MR22: moving the date of the weight back never improves the answer; past the policy's age it is a query."""
    on, born = date.fromisoformat(ON), date.fromisoformat(texts["born"])
    asked = {key: value for key, value in {**texts, "weight_is": kind}.items() if value}
    limit = 14 if age_of(Child(born=born, on=on)).months_lo < 12 else 90
    before: tuple[int, set[str]] = (0, set())
    for back in sorted(days):
        if on - timedelta(days=back) < born:
            break
        verdict = check({**asked, "weighed": (on - timedelta(days=back)).isoformat()})
        assert RANK[verdict.outcome] >= before[0] and codes(verdict) >= before[1]
        assert ("weight-old" in verdict.codes) == (back > limit)
        before = RANK[verdict.outcome], codes(verdict)
    undated = check({key: value for key, value in asked.items() if key != "weighed"})
    assert "weight-undated" in {f.code for f in undated.findings}
