"""What a class of rows is answered: the rows of one class share every comparison's result, so they share outcome,
codes, regimen, source and sentence.

The classes are judged by the same functions as a single order (`rules/judge.py`, `codes.py`, `concerns.py`);
nothing about outcomes is decided here.
"""

from __future__ import annotations

from typing import NamedTuple

from dosecheck.formulary.limits import Limit
from dosecheck.formulary.measures import MEASURES
from dosecheck.formulary.medicine import AgeLimit, Medicine, Regimen
from dosecheck.formulary.shelf import Shelf
from dosecheck.records import NOT_CHECKED, QUERY, STOP, WITHIN, Child
from dosecheck.rules.catalogue import CATALOGUE
from dosecheck.rules.codes import Finding, Later, agreed, worst
from dosecheck.rules.concerns import regimen_concerns
from dosecheck.rules.dosing import silent_on_weight
from dosecheck.rules.facts import Body
from dosecheck.rules.judge import Answer, judge

MET_STATE, BROKEN_STATE = 1, 2  # 0: a fact is missing
_NOBODY = Body(None, {})
_RANK = {STOP: 0, NOT_CHECKED: 1, QUERY: 2}
# Codes that say what the formulary has: their whole sentence is the same for every row that asks alike.
_WHOLE = frozenset(
    {
        "route-missing",
        "route-unknown",
        "purpose-unknown",
        "step-unknown",
        "step-missing",
        "condition-unknown",
        "condition-missing",
        "product-unknown",
        "product-not-in-regimen",
        "route-not-for-product",
        "none-in-force",
        "no-figures",
        "medicine-missing",
        "medicine-unknown",
    }
)
_LEADS = {
    STOP: "STOP, do not give as written.",
    QUERY: "QUERY, ask before giving.",
    NOT_CHECKED: "NOT CHECKED.",
    WITHIN: "Within, for this order alone; earlier doses not told.",
}


class RowFlags(NamedTuple):
    """What is the same for all rows of a class, apart from the limits."""

    no_dose: bool
    no_age: bool
    once: bool
    young: bool
    not_measured: bool
    weight_old: bool
    unbelievable: bool
    far_above: bool
    no_purpose: bool
    missing: frozenset[str]


class Part(NamedTuple):
    """One reading of the class: a regimen with its limits' states, or `trouble` (a code) in its place."""

    ingredient: str
    regimen: Regimen | None
    states: tuple[int, ...]
    trouble: str


class Answered(NamedTuple):
    """The texts of a class.  `regimens` are those that were read."""

    outcome: str
    codes: str
    regimen: str
    source: str
    sentence: str


class Told(NamedTuple):
    """A code with the outcome it means and the brief sentence for it."""

    code: str
    outcome: str
    sentence: str


def answer(medicine: Medicine, shelf: Shelf, flags: RowFlags, ruled_out: list[tuple[AgeLimit, int]], parts: list[Part]) -> Answered:
    """Judges one class.

    Args:
        ruled_out: age limits that are not met, with their state (broken, or a fact missing).
        parts: the readings, by ingredient in the shelf's order.
    """
    told = _order_level(medicine, shelf, flags)
    outcomes = [t.outcome for t in told]
    if flags.no_age:
        return _texts(worst([NOT_CHECKED, *outcomes]), told, [])
    for entry, state in ruled_out:
        code, outcome = ("not-for-this-child", STOP) if state == BROKEN_STATE else ("weight-missing", NOT_CHECKED)
        told.append(_brief(code, outcome, entry.limit))
        outcomes.append(outcome)
    for ingredient in shelf.regimens:
        read = [_reading(part, flags, told) for part in parts if part.ingredient == ingredient]
        outcomes.append(agreed(read))
        if len(set(read)) > 1:
            differ = NOT_CHECKED if NOT_CHECKED in read else QUERY
            told.append(_brief("regimens-differ", differ, None))
            outcomes.append(differ)
    return _texts(worst(outcomes), told, [p.regimen for p in parts if p.regimen and p.states and not p.trouble])


def _order_level(medicine: Medicine, shelf: Shelf, flags: RowFlags) -> list[Told]:
    told = [told_of(Finding(code, STOP if code == "route-not-for-product" else NOT_CHECKED, data)) for code, data in shelf.problems]
    told += [_brief("dose-missing", NOT_CHECKED, None)] if flags.no_dose else []
    told += [_brief("purpose-not-told", QUERY, None)] if medicine.high_risk and flags.no_purpose else []
    told += [_brief("weight-not-believable", QUERY, None)] if flags.unbelievable else []
    told += [_brief("age-missing", NOT_CHECKED, None)] if flags.no_age else []
    told += [_brief("gestation-not-told", QUERY, None)] if flags.young else []
    told += [_brief("weight-not-measured", QUERY, None)] if flags.not_measured and medicine.high_risk else []
    told += [_brief("weight-old", QUERY, None)] if flags.weight_old else []
    return told


def _reading(part: Part, flags: RowFlags, told: list[Told]) -> str:
    """The outcome of one reading; its codes go to `told`."""
    if part.trouble:
        told.append(_brief(part.trouble, NOT_CHECKED, None))
        return NOT_CHECKED
    if part.regimen is None or flags.no_dose:
        return NOT_CHECKED
    judged = judge(part.regimen, lambda index, limit: _answer(part.states[index], limit, flags.missing), flags.once)
    told += [_brief(t.code, t.outcome, part.regimen.limits[t.limits[0]]) for t in judged.told]
    concerns = [c for c in regimen_concerns(part.regimen, Child(), _NOBODY, flags.once) if c.outcome]
    told += [_brief(c.code, c.outcome, None) for c in concerns]
    heavy = [QUERY] if flags.far_above and silent_on_weight(part.regimen) else []
    told += [_brief("weight-far-above", QUERY, None) for _ in heavy]
    return worst([judged.outcome, *heavy, *(c.outcome for c in concerns)])


def _answer(state: int, limit: Limit, missing: frozenset[str]) -> Answer:
    """True, False, or the first missing fact, in the order in which a single order meets it."""
    if state:
        return state == MET_STATE
    for comparison in limit.comparisons:
        measure = MEASURES[comparison.measure]
        for fact in (*measure.over, *measure.under):
            if fact in missing:
                return fact
    raise AssertionError(f"{limit.name} was not answered though no fact is missing")


def _brief(code: str, outcome: str, limit: Limit | None) -> Told:
    return Told(code, outcome, CATALOGUE[code].brief.format_map({"limit": limit.text if limit else ""}))


def told_of(finding: Finding) -> Told:
    """What a finding of a single order is told as, beside rows that went by columns: briefly, without the row's numbers."""
    if finding.code in _WHOLE:
        return Told(finding.code, finding.outcome, finding.message)
    limit = finding.about if isinstance(finding.told, Later) else finding.data.get("limit", "")
    return Told(finding.code, finding.outcome, CATALOGUE[finding.code].brief.format_map({"limit": limit}))


def sentence_of(outcome: str, told: list[Told]) -> str:
    """The worst first, each once, in an order that does not depend on how they were found."""
    ranked = sorted(set(told), key=lambda t: (_RANK[t.outcome], t.code, t.sentence))
    return " ".join([_LEADS[outcome], *dict.fromkeys(t.sentence for t in ranked)])


def _texts(outcome: str, told: list[Told], regimens: list[Regimen]) -> Answered:
    return Answered(
        outcome,
        ";".join(sorted({t.code for t in told})),
        ";".join(dict.fromkeys(r.full_id for r in regimens)),
        "; ".join(dict.fromkeys(r.source for r in regimens)),
        sentence_of(outcome, told),
    )
