"""The formulary's own relations: MR34, MR35 and MR38."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date
from fractions import Fraction
from functools import cache
from pathlib import Path
from random import Random
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from relations.kit import (
    FOLDER,
    PAIRS,
    PASSING,
    REAL,
    as_file,
    check,
    codes,
    formulary_of,
    frame,
    in_folder,
    named,
    numbers,
    orders,
    plain,
    raw_of,
    runs,
)

from dosecheck import Formulary, FormularyError
from dosecheck.formulary.folder import parse, read_folder
from dosecheck.formulary.measures import AT_MOST, holds, sides
from dosecheck.reading import read_dose
from dosecheck.records import STOP, WITHIN
from dosecheck.rules.facts import facts_for
from dosecheck.rules.verdict import LimitState, Verdict


def shuffled(value: Any, random: Random) -> Any:
    """The same tables with keys and entries in another order; the rows of a table by band, and plain lists, stay."""
    if isinstance(value, dict):
        return {key: shuffled(value[key], random) for key in random.sample(list(value), len(value))}
    if isinstance(value, list) and value and isinstance(value[0], dict) and "id" in value[0]:
        return [shuffled(entry, random) for entry in random.sample(value, len(value))]
    return value


def rewritten(seed: int | None) -> Formulary:
    """The real formulary, written out anew, each file shuffled."""
    files = read_folder(FOLDER)
    for name in files:
        raw = parse(name, files[name])
        raw.pop("example", None)  # no rule, and always written as the last tables of a file
        files[name] = as_file(shuffled(raw, Random(seed)) if seed is not None else raw)
    return in_folder(files)


@cache
def of_seed(seed: int) -> Formulary:
    return rewritten(seed)


def told(verdict: Verdict) -> tuple:
    suggestion = verdict.suggestion
    findings = sorted((f.code, f.outcome, f.value, f.limit, f.regimen, f.source) for f in verdict.findings)
    return (
        numbers(verdict),
        findings,
        sorted(verdict.slips),
        sorted(verdict.to_observe),
        suggestion and (suggestion.product, suggestion.measured),
    )


@runs(250)
@given(orders(), st.integers(1, 3))
def test_mr34_the_order_of_rules_and_keys_does_not_matter(texts: dict, seed: int) -> None:
    """MR34: permuting entries and keys of every file changes no report."""
    assert told(check(texts)) == told(check(texts, of_seed(seed))), texts


@runs(60)
@given(st.sampled_from(PASSING), st.integers(1, 3))
def test_mr34_without_what_tells_regimens_apart(texts: dict, seed: int) -> None:
    """MR34: also where several regimens fit."""
    bare = {key: value for key, value in texts.items() if key not in ("for", "step", "condition")}
    assert told(check(bare)) == told(check(bare, of_seed(seed))), texts


def test_mr35_load_save_load(tmp_path: Path) -> None:
    """MR35: written out as it was read, the folder has the same fingerprint; written anew, it gives the same reports."""
    copy = in_folder(read_folder(FOLDER))
    assert copy.fingerprint == REAL.fingerprint
    anew = rewritten(None)
    assert anew.names == REAL.names and anew.fingerprint != REAL.fingerprint
    for texts in PASSING:
        assert told(check(texts)) == told(check(texts, anew))


def test_mr35_no_binary_float_anywhere() -> None:
    """MR35: no figure of the formulary passes through a binary float."""

    def leaves(value: Any) -> Iterator[Any]:
        for inner in value.values() if isinstance(value, dict) else value if isinstance(value, list) else ():
            yield from leaves(inner)
        yield value

    for name, content in read_folder(FOLDER).items():
        assert not any(isinstance(leaf, float) for leaf in leaves(parse(name, content)))


# ---- every limit shown was used ----


def moved(entry: dict[str, Any], state: LimitState, measured: Fraction, bound: Fraction) -> dict[str, Any] | None:
    """The change to the entry that puts this limit just past the dose: 0.99 of what was measured, or 1.01 for a least amount."""
    limit = state.limit
    share = measured / bound * (Fraction(99, 100) if limit.main.sense == AT_MOST else Fraction(101, 100))
    if limit.name == "most doses in 24 hours":
        return {"max_doses": int(measured) - 1} if measured > 1 else None
    if limit.name == "doses a day":
        return {"doses_a_day": [int(measured) + 1]}
    new = limit.figure * share
    text = f"{plain(new.number, 9)} {new.unit}"
    end = {"daily dose": "high", "dose": "high", "low end": "low"}.get(limit.name)
    if end:
        return {"dose": _dose(entry["dose"], end, text)}
    keys = {"single maximum": "max_single", "daily maximum": "max_daily", "fastest rate": "max_rate"}
    if limit.name in keys:
        key = keys[limit.name]
        return {key: [text if read_dose(old).high == limit.figure else old for old in entry[key]]}
    if limit.name.startswith("total over "):
        return {
            "totals": [{**t, "max": [text if read_dose(old).high == limit.figure else old for old in t["max"]]} for t in entry["totals"]]
        }
    names = {
        "shortest gap": "min_gap",
        "smallest dose": "floor",
        "longest course": "max_course",
        "highest concentration": "max_concentration",
        "shortest time to give it over": "min_duration",
    }
    return {names[limit.name]: text} if limit.name in names else None


def _dose(dose: Any, end: str, text: str) -> dict[str, str]:
    """A high end alone, or a low end with a high end above it."""
    if end == "high":
        return {"high": text}
    number, unit = text.split(" ", 1)
    return (
        {"low": text, "high": f"{plain(Fraction(number) * 3, 9)} {unit}"} if not isinstance(dose, dict) or "high" in dose else {"low": text}
    )


STATED = {"course": "3 days", "over": "10 hours", "made_up_to": "5 L"}


def lone(regimen: str, texts: dict, change: dict[str, Any]) -> Formulary | None:
    """A formulary with this regimen alone (a row of a table by band becomes a regimen); None where lint refuses the change."""
    entry = {key: value for key, value in named(texts["medicine"], regimen).entry.items() if key != "origin"}
    try:
        return formulary_of({**raw_of(texts["medicine"]), "regimen": [{**entry, "id": "only-one", **change}]})
    except FormularyError:
        return None


@pytest.mark.parametrize("number", range(len(PAIRS)), ids=lambda n: f"{PAIRS[n][1]['medicine']}, {PAIRS[n][0]}")
def test_mr38_every_limit_shown_was_used(number: int) -> None:
    """MR38: each limit that the report lists as kept, moved just past the dose, changes the verdict, and is named."""
    regimen, texts = PAIRS[number]
    base = lone(regimen, texts, {})
    stated = next((t for t in ({**texts, **STATED}, {**texts, "course": "3 days"}, texts) if check(t, base).outcome == WITHIN), None)
    if stated is None:
        pytest.skip("this order passes only beside the other regimens of the file")
    verdict = check(stated, base)
    reading = next(r for r in verdict.views.readings if r.limits)
    moves = 0
    for state in verdict.limits:
        if state.state != "met" or state.limit.beyond or state.limit.name == "share of one dose":
            continue
        facts = facts_for(state.limit, reading.upper, reading.upper, verdict.views.case.order)
        if any(holds(exception, facts) is True for exception in state.limit.comparisons[1:]):
            continue  # a floor, or a maximum that binds, keeps it in any case
        change = moved(state.regimen.entry, state, *map(Fraction, sides(state.limit.main, facts)))
        formulary = change and lone(regimen, texts, change)
        if formulary:
            moves += 1
            after = check(stated, formulary)
            assert after.outcome != WITHIN and state.limit.code in codes(after), (state.limit.name, change)
    assert moves, "no limit of this regimen could be moved"


def _halved(value: Any) -> Any:
    """Every dose of an entry, halved."""
    if isinstance(value, dict):
        return {key: _halved(inner) for key, inner in value.items()}
    if isinstance(value, list):
        return [_halved(inner) for inner in value]
    number, _, unit = str(value).partition(" ")
    return f"{plain(Fraction(number) / 2, 9)} {unit}"


@pytest.mark.parametrize("medicine", sorted({texts["medicine"] for texts in PASSING}))
def test_mr38_a_limit_not_listed_was_not_used(medicine: str) -> None:
    """MR38: halving the figures of every regimen that the report does not list changes nothing in it."""
    raw = raw_of(medicine)
    for texts in (t for t in PASSING if t["medicine"] == medicine):
        verdict = check(texts)
        used = {r.base_id for r in verdict.regimens}
        changed = []
        for entry in raw["regimen"]:
            keys = {"dose", "max_single", "floor"} if entry["id"] not in used else set()
            halves = {key: _halved(entry[key]) for key in keys & set(entry) if " to " not in repr(entry[key])}
            daily = {"max_daily": _halved(entry["max_daily"])} if keys and isinstance(entry.get("max_daily"), list) else {}
            changed.append({**entry, **halves, **daily})
        try:
            formulary = formulary_of({**raw, "regimen": changed})
        except FormularyError:
            continue
        assert numbers(check(texts, formulary)) == numbers(verdict), texts


def test_mr38_the_age_limit_too() -> None:
    """MR38: an age limit moved past the child stops the order, and is named with its own text."""
    texts = next(t for t in PASSING if t["medicine"] == "paracetamol" and t["born"] < "2020")
    raw = raw_of("paracetamol")
    limit = {"id": "not-yet", "age_below": "17 years", "source": raw["regimen"][0]["source"]}
    assert date.fromisoformat(texts["born"]).year > 2026 - 17
    verdict = check(texts, formulary_of({**raw, "age_limit": [limit]}))
    assert verdict.outcome == STOP and verdict.findings[0].limit == "not for a child below 17 years"
    assert frame()[1]
