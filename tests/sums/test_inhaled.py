"""Inhaled treatment: bands by named tables, what they refuse, changes compared, and how long an inhaler lasts."""

from __future__ import annotations

import shutil
from datetime import date, timedelta
from fractions import Fraction
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from said import ask, codes, value

from dosecheck import Formulary, InputError
from dosecheck.reading.takings import read_taking

FORMULARY = Formulary(Path(__file__).parents[2] / "formulary")
POWDER = {"device": "dry powder inhaler"}
GINA, CANADA, CARD = "gina-report-2019", "canada-inhaled-steroids-2012", "us-inhaled-steroid-card-2025"


def day(**texts: str):
    return ask("inhaler-day", FORMULARY, **{"medicine": "budesonide", "dose": "2 puffs twice a day", **texts})


def change(**texts: str):
    usual = {"medicine": "budesonide", "product": "inhaler-200", "before": "2 puffs twice a day", "after": "1 puff twice a day"}
    return ask("inhaler-change", FORMULARY, **{**usual, **texts})


def canister(**texts: str):
    return ask("canister", FORMULARY, **{"holds": "200 puffs", "dose": "2 puffs twice a day", **texts})


def refused(ask_, **texts: str) -> list[str]:
    with pytest.raises(InputError) as error:
        ask_(**texts)
    return [fault.field for fault in error.value.faults]


# ---- what is taken in a day ----


@pytest.mark.parametrize(
    ("text", "puffs"),
    [
        ("2 puffs twice a day", 4), ("2 puffs every 12 hours", 4), ("2 puffs 2 times a day", 4), ("1 puff once a day", 1),
        ("2 puffs in the morning and 1 puff in the evening", 3), ("2 puffs in the morning, 2 puffs at noon and 1 puff at bedtime", 5),
        ("4 puffs every 4 hours", 24),
    ],
)  # fmt: skip
def test_a_steady_day_is_added_up(text: str, puffs: int) -> None:
    assert read_taking(text).a_day.number == puffs


@pytest.mark.parametrize(
    "text",
    [
        "2 puffs", "2 puffs bd", "2 puffs once", "2 to 4 puffs twice a day", "2-4 puffs twice a day", "2.5 puffs twice a day", "2 twice a day",
        "0 puffs twice a day", "2 puffs every 5 hours", "2 puffs every 4 to 6 hours", "2 doses twice a day", "2 puffs when needed",
        "2 puffs in the morning and 0.5 mg at night", "100 µg/puff twice a day", "2 puffs twice a week", "",
    ],
)  # fmt: skip
def test_a_day_that_is_not_steady_or_not_clear_is_refused(text: str) -> None:
    assert refused(day, dose=text, strength="100 micrograms per puff") == ["dose"]


# ---- bands ----


def test_one_daily_dose_is_of_another_band_in_another_country_and_each_is_named() -> None:
    """400 micrograms of ciclesonide at 12 years: Canada's medium ends at 400, that of the 2019 report at 320."""
    given_ = {
        "medicine": "ciclesonide",
        "strength": "200 micrograms per puff",
        "device": "metered-dose inhaler",
        "dose": "1 puff twice a day",
    }
    reckoned = day(**given_, age="12 years")
    assert value(reckoned, f"band by {CANADA}") == "medium"
    assert value(reckoned, f"band by {GINA}") == "high"
    assert value(reckoned, "band by ers-ats-severe-asthma-2014") == "high"
    assert codes(reckoned) == ["tables-differ"]
    alone = day(**given_, age="12 years", table=CANADA)
    assert (alone.outcome, [result.name for result in alone.answer.results]) == ("reckoned", ["daily dose", f"band by {CANADA}"])
    assert any(source.startswith(f"{CANADA}: ") and "Canadian Thoracic Society" in source for source in alone.answer.sources)


@pytest.mark.parametrize(
    "texts",
    [
        {"medicine": "fluticasone propionate", "table": "au-asthma-6-to-11-2025", "age": "7 years", "output": "metered"},
        {"medicine": "fluticasone propionate", "table": "au-asthma-6-to-11-2025", "age": "7 years"},
        {"medicine": "beclometasone", "table": "au-asthma-6-to-11-2025", "age": "7 years", "output": "delivered", "particle": "standard"},
        {"medicine": "beclometasone", "table": "au-asthma-6-to-11-2025", "age": "7 years", "output": "delivered"},
        {"table": GINA, "age": "13 years", "device": "metered-dose inhaler"},
        {"table": GINA, "age": "13 years"},
        {"table": GINA, "age": "11 years", **POWDER},
        {"table": GINA, **POWDER},
        {"table": CARD, "age": "5 years", "device": "nebuliser", "dose": "0.7 mg once a day"},
        {"table": "no-such-table", "age": "13 years", **POWDER},
        {"medicine": "salbutamol", "age": "6 years", "table": GINA},
    ],
)  # fmt: skip
def test_a_table_of_another_kind_age_or_device_gives_no_band_and_the_day_is_still_told(texts: dict[str, str]) -> None:
    reckoned = day(**{"strength": "100 micrograms per puff", **texts})
    assert reckoned.outcome == "not-checked" and "No band by" in reckoned.not_covered
    assert [result.name for result in reckoned.answer.results] == ["daily dose"]


def test_an_age_across_the_edge_of_a_table_is_not_guessed() -> None:
    reckoned = day(strength="100 micrograms per puff", age="626 weeks", table=CANADA, **POWDER)  # 4,382 to 4,388 days: 11 years or 12
    assert reckoned.outcome == "not-checked" and "across the edge" in reckoned.not_covered


def test_without_an_age_or_a_table_no_band_is_looked_up_and_it_is_said() -> None:
    reckoned = day(strength="100 micrograms per puff")
    assert reckoned.outcome == "reckoned" and "No band was looked up" in reckoned.answer.notes[0]


def test_the_policys_table_is_used_and_named(tmp_path: Path) -> None:
    copy = tmp_path / "formulary"
    shutil.copytree(Path(__file__).parents[2] / "formulary", copy)
    with (copy / "policy.toml").open("a", encoding="utf-8") as policy:
        policy.write(f'\n[inhaled_table]\nvalue = "{GINA}"\nreason = "Invented."\n')
    reckoned = ask("inhaler-day", Formulary(copy), medicine="budesonide", dose="400 micrograms twice a day", age="13 years", **POWDER)
    assert [result.name for result in reckoned.answer.results] == ["daily dose", f"band by {GINA}"]


def test_an_end_that_the_source_prints_twice_is_a_query() -> None:
    reckoned = day(dose="0.5 mg once a day", age="3 years", device="nebuliser", table=CARD)
    assert value(reckoned, f"band by {CARD}") == "low or medium"
    assert codes(reckoned) == ["end-in-two-bands"]


@given(st.integers(1, 3000), st.integers(1, 3000))
def test_more_a_day_is_never_a_lower_band(one: int, other: int) -> None:
    order = ["below low", "low", "medium", "high"]
    bands = [
        order.index(value(day(dose=f"{amount} micrograms once a day", age="13 years", table=GINA, **POWDER), f"band by {GINA}"))
        for amount in sorted((one, other))
    ]
    assert bands == sorted(bands)


@given(st.sampled_from([1, 2, 5, 20, 50, 100, 250]), st.integers(1, 10), st.sampled_from([1, 2, 3, 4, 6]))
def test_puffs_or_micrograms_mg_or_micrograms_hours_or_times_are_the_same_day(strength: int, puffs: int, times: int) -> None:
    by_puffs = day(strength=f"{strength} micrograms per puff", dose=f"{puffs} puffs {times} times a day")
    by_mass = day(dose=f"{strength * puffs / 1000:g} mg every {24 // times} hours")
    assert value(by_puffs, "daily dose") == value(by_mass, "daily dose")
    assert value(by_puffs, "daily dose").number == strength * puffs * times


# ---- refusals and doubts ----


def test_b025_puffs_without_a_strength_are_refused() -> None:
    assert refused(day) == ["dose"]


def test_fluticasone_alone_is_no_name_and_both_are_offered() -> None:
    with pytest.raises(InputError, match="fluticasone furoate or fluticasone propionate"):
        day(medicine="fluticasone", strength="100 micrograms per puff")


@pytest.mark.parametrize(
    ("texts", "fields"),
    [
        ({"medicine": "fluticasone propionate", "product": "dry-powder-50", "device": "metered-dose inhaler"}, ["device"]),
        ({"product": "inhaler-100", "strength": "100 micrograms per puff"}, ["strength"]),
        ({"product": "inhaler-400"}, ["product"]),
        ({"medicine": "salbutamol", "product": "oral-liquid-2-in-5"}, ["product"]),
        ({"strength": "100 mg/mL", "output": "ex-valve", "device": "turbine"}, ["strength", "device", "output"]),
    ],
)  # fmt: skip
def test_what_contradicts_the_product_or_cannot_be_read_is_refused(texts: dict[str, str], fields: list[str]) -> None:
    assert refused(day, **texts) == fields


@pytest.mark.parametrize(
    ("texts", "code"),
    [
        ({"strength": "100 mg per puff"}, "strength-unlikely"),
        ({"strength": "0.1 micrograms per puff"}, "strength-unlikely"),
        ({"strength": "100 micrograms per puff", "dose": "11 puffs twice a day"}, "many-puffs"),
        ({"strength": "100 micrograms per puff", "dose": "1 puff every 1 hour"}, "many-times"),
        ({"dose": "500 mg twice a day"}, "far-above-every-band"),
        ({"strength": "100 micrograms per puff", "dose": "10 puffs every 2 hours"}, ""),
    ],
)  # fmt: skip
def test_what_is_absurd_is_a_query(texts: dict[str, str], code: str) -> None:
    found = codes(day(**texts))
    assert code in found if code else found == []


# ---- a change ----


@pytest.mark.parametrize(
    ("before", "after", "said", "doubts"),
    [
        ("2 puffs twice a day", "1 puff twice a day", "50 % down", []),
        ("2 puffs twice a day", "2 puffs in the morning and 1 puff in the evening", "25 % down", []),
        ("2 puffs twice a day", "1 puff once a day", "75 % down", ["cut-too-large"]),
        ("101 micrograms twice a day", "50 micrograms twice a day", "about 50.5 % down", ["cut-too-large"]),
        ("1 puff twice a day", "1 puff every 12 hours", "no change", []),
        ("1 puff twice a day", "2 puffs twice a day", "100 % up", []),
        ("3 puffs once a day", "2 puffs once a day", "about 33.33 % down", []),
    ],
)
def test_a_change_in_per_cent_and_a_cut_beyond_the_policys_share(before: str, after: str, said: str, doubts: list[str]) -> None:
    reckoned = change(before=before, after=after)
    assert value(reckoned, "change") == said
    assert codes(reckoned) == doubts


@given(st.integers(1, 8), st.integers(1, 8), st.integers(1, 4))
def test_there_and_back_gives_the_same(one: int, other: int, times: int) -> None:
    texts = [f"{puffs} puffs {times} times a day" for puffs in (one, other)]
    there, back = change(before=texts[0], after=texts[1]), change(before=texts[1], after=texts[0])
    for name, mirror in (("daily dose before", "daily dose after"), ("daily dose after", "daily dose before")):
        assert value(there, name) == value(back, mirror)
    ratio = value(there, "daily dose after").value / value(there, "daily dose before").value
    assert value(back, "daily dose before").value / value(back, "daily dose after").value == ratio == Fraction(other, one)


def test_a_leap_over_a_band_is_a_query_in_either_direction() -> None:
    high, low = "500 micrograms twice a day", "250 micrograms once a day"
    for before, after in ((high, low), (low, high)):
        reckoned = change(before=before, after=after, age="13 years", table=GINA, **POWDER)
        assert "two-bands-at-once" in codes(reckoned)
    assert "two-bands-at-once" not in codes(change(before=high, after="500 micrograms once a day", age="13 years", table=GINA, **POWDER))


@pytest.mark.parametrize(
    ("texts", "words"),
    [
        ({"new_medicine": "ciclesonide", "new_strength": "80 micrograms per puff"}, "different medicines"),
        ({"output": "metered", "new_output": "delivered"}, "differ in output (metered and delivered)"),
        ({"output": "metered", "new_product": "inhaler-100"}, "differ in output (metered and not told)"),
        ({"medicine": "beclometasone", "new_strength": "100 micrograms per puff"}, "differ in particle (standard and not told)"),
        ({"medicine": "beclometasone", "new_strength": "100 micrograms per puff", "new_particle": "extra-fine"}, "(standard and extra-fine)"),
    ],
)  # fmt: skip
def test_unlike_inhalers_are_not_compared_puff_for_puff(texts: dict[str, str], words: str) -> None:
    reckoned = change(**texts)
    assert reckoned.outcome == "not-checked" and words in reckoned.not_covered
    assert [result.name for result in reckoned.answer.results] == ["daily dose before", "daily dose after"]


@pytest.mark.parametrize(
    ("texts", "code"),
    [
        ({"device": "dry powder inhaler", "new_device": "metered-dose inhaler", "output": "metered"}, "device-differs"),
        ({"new_product": "inhaler-100"}, "kind-not-told"),
        ({"product": "inhaler-200", "output": "metered", "new_product": "inhaler-100", "new_output": "metered"}, ""),
    ],
)  # fmt: skip
def test_another_device_or_an_untold_kind_is_a_query(texts: dict[str, str], code: str) -> None:
    assert codes(change(after="2 puffs twice a day", **texts)) == [code] * bool(code)


def test_a_reliever_is_no_preventer_so_its_cut_is_not_judged_and_no_step_down_is_advised() -> None:
    reckoned = change(medicine="salbutamol", product="inhaler-100", before="2 puffs 4 times a day", after="2 puffs once a day")
    assert (reckoned.outcome, value(reckoned, "change")) == ("reckoned", "75 % down")
    assert not any("step down" in note.lower() for note in reckoned.answer.notes)


# ---- how long an inhaler lasts ----


@given(st.integers(1, 400), st.integers(1, 10), st.integers(1, 4), st.integers(0, 20), st.dates(date(2000, 1, 1), date(2100, 1, 1)))
def test_a_canister_day_by_day(holds: int, puffs: int, times: int, priming: int, start: date) -> None:
    """Against counting puffs off, one day after the other."""
    texts = {"priming": f"{priming} puffs"} if priming else {}
    reckoned = canister(holds=f"{holds} puffs", dose=f"{puffs} puffs {times} times a day", start=start.isoformat(), **texts)
    left, days = max(holds - priming, 0), 0
    while left >= puffs * times:
        left, days = left - puffs * times, days + 1
    assert value(reckoned, "lasts").number == days
    assert value(reckoned, "puffs left over").number == left
    if days:
        assert value(reckoned, "last whole day") == (start + timedelta(days - 1)).isoformat()
        assert value(reckoned, "ask for the next on") == max(start, start + timedelta(days - 7)).isoformat()
    assert ("empty" in codes(reckoned)) is (days == 0)
    assert ("runs-out-soon" in codes(reckoned)) is (1 <= days <= 7)


def test_an_inhaler_over_a_leap_day() -> None:
    assert value(canister(holds="120 puffs", start="2024-02-01"), "last whole day") == "2024-03-01"
    assert value(canister(holds="120 puffs", start="2025-02-01"), "last whole day") == "2025-03-02"


@pytest.mark.parametrize(
    ("texts", "fields"),
    [
        ({"holds": "200"}, ["holds"]), ({"holds": "2.5 puffs"}, ["holds"]), ({"start": "1 March"}, ["start"]), ({"start": "9999-12-31"}, ["start"]),
        ({"lead": "36 hours"}, ["lead"]), ({"dose": "0.5 mg twice a day"}, ["dose"]), ({"product": "inhaler-90"}, ["holds or product"]),
        ({"holds": "", "product": "inhaler-90"}, ["medicine"]), ({"holds": "", "medicine": "salbutamol", "product": "inhaler-100"}, ["product"]),
        ({"holds": ""}, ["holds or product"]),
    ],
)  # fmt: skip
def test_what_a_canister_cannot_be_reckoned_from_is_refused(texts: dict[str, str], fields: list[str]) -> None:
    assert refused(canister, **texts) == fields


def test_a_full_inhaler_of_very_many_puffs_is_a_query() -> None:
    assert codes(canister(holds="2000 puffs")) == ["holds-unlikely"]
