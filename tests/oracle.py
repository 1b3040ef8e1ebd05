"""A slow second opinion: one order checked straight from the TOML files, with fractions, by the written rules alone.

Shares no code with dosecheck.  `check(folder, texts)` gives (outcome, sorted codes); test_oracle.py compares them with
the engine's.  It reads well-formed texts only.  Amounts, dates and ages are in oracle_words.py, choosing is in
oracle_choose.py, the limits of one regimen in oracle_limits.py; here the answers are joined.
"""

from __future__ import annotations

from pathlib import Path

from oracle_choose import (
    NOT_CHECKED,
    QUERY,
    STOP,
    WITHIN,
    Case,
    Finding,
    age_limits,
    born_so,
    known_facts_fit,
    load,
    rows,
    scenarios,
    shelf_of,
)
from oracle_limits import judged

Answer = tuple[str, frozenset[str]]  # an outcome and its codes


def worst(outcomes: list[str]) -> str:
    return next((outcome for outcome in (STOP, NOT_CHECKED, QUERY, WITHIN) if outcome in outcomes), NOT_CHECKED)


def agreed(outcomes: list[str]) -> str:
    if len(set(outcomes)) == 1:
        return outcomes[0]
    return NOT_CHECKED if NOT_CHECKED in outcomes else QUERY


def check(folder: str | Path, texts: dict[str, str]) -> tuple[str, tuple[str, ...]]:
    """The outcome and the sorted codes of one order."""
    formulary = load(str(folder))
    if "medicine" not in texts:
        return NOT_CHECKED, ("medicine-missing",)
    medicine = formulary["medicines"].get(" ".join(texts["medicine"].lower().split()))
    if medicine is None:
        return NOT_CHECKED, ("medicine-unknown",)
    case = Case(texts, medicine, formulary["policy"])
    shelf, problems = shelf_of(case)
    findings = [*case.findings(), *problems]
    if case.age:
        findings += _by_child(case, shelf, bool(problems))
    return worst([outcome for _, outcome in findings]), tuple(sorted({code for code, _ in findings} - {""}))


def _by_child(case: Case, shelf: list[dict], problems: bool) -> list[Finding]:
    """Every child that it may be: at each the worst part counts, and all must agree."""
    opened = [(row, known_facts_fit(case, row)) for regimen in shelf for row in rows(regimen)]
    opened = [(row, known) for row, known in opened if known is not False]
    found: list[Finding] = []
    outcomes: list[str] = []
    readings: dict[str, set[str]] = {i["id"]: set() for i in case.medicine["ingredient"]}
    for fitting, limits in _different_children(case, opened):
        parts = [outcome for _, outcome in limits]
        found += [(code, "") for code, _ in limits]
        for ingredient in case.medicine["ingredient"]:
            here = _readings(case, shelf, [opened[n] for n in fitting], ingredient, problems)
            if here:
                parts.append(agreed([outcome for outcome, _ in here]))
                readings[ingredient["id"]] |= {outcome for outcome, _ in here}
                found += [(code, "") for _, codes in here for code in codes]
        outcomes.append(worst(parts))
    found += [("age-straddles", agreed(outcomes))] if len(set(outcomes)) > 1 else []
    for differing in readings.values():
        found += [("regimens-differ", agreed(list(differing)))] if len(differing) > 1 else []
    return [*found, ("", agreed(outcomes))]


def _different_children(case: Case, opened: list[tuple[dict, bool | str]]) -> set[tuple[tuple[int, ...], tuple[Finding, ...]]]:
    """(which rows fit, what age limits say), each combination once."""
    entries = [*(row for row, _ in opened), *case.medicine.get("age_limit", [])]
    return {
        (tuple(n for n, (row, _) in enumerate(opened) if born_so(child, row)), tuple(age_limits(case, child)))
        for child in scenarios(case, entries)
    }


def _readings(case: Case, shelf: list[dict], fitting: list, ingredient: dict, problems: bool) -> list[Answer]:
    """One for each regimen of the ingredient that fits this child; or one that says why there is none."""
    first = case.medicine["ingredient"][0]["id"]
    mine = [pair for pair in fitting if pair[0].get("ingredient", first) == ingredient["id"]]
    if mine:
        return [_reading(case, row, known, ingredient) for row, known in mine]
    if any(r.get("ingredient", first) == ingredient["id"] for r in shelf):
        return [(NOT_CHECKED, frozenset({"no-regimen-for-child"}))]
    if problems:
        return [(NOT_CHECKED, frozenset())]
    covering = [ingredient["id"] in regimen.get("covers", []) for regimen in shelf]
    if case.product and covering and all(covering):
        return []
    return [(NOT_CHECKED, frozenset({"ingredient-amount-unknown" if any(covering) else "ingredient-without-regimen"}))]


def _reading(case: Case, row: dict, known: bool | str, ingredient: dict) -> Answer:
    if known is not True:
        return NOT_CHECKED, frozenset({known})
    if case.dose is None:
        return NOT_CHECKED, frozenset()
    findings = judged(case, row, ingredient)
    return worst([outcome for _, outcome in findings]), frozenset(code for code, _ in findings) - {""}
