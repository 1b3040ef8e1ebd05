"""What is doubtful about the doses told, apart from any limit: unknown amounts, repeats, other routes, shared groups."""

from __future__ import annotations

from collections.abc import Iterator
from fractions import Fraction
from itertools import pairwise

from dosecheck.formulary.measures import AT_MOST, Ratio
from dosecheck.formulary.medicine import Ingredient, Regimen
from dosecheck.records import NOT_CHECKED, QUERY
from dosecheck.rules.case import Case
from dosecheck.rules.codes import NOTE, Finding
from dosecheck.rules.explain import most_for_one_dose
from dosecheck.rules.history import Entry, Had
from dosecheck.rules.slips import FAR
from dosecheck.rules.windows import DAY
from dosecheck.showing import show, show_length


def amount_unknown(entry: Entry) -> Finding:
    """A dose of this ingredient that cannot be counted: never an all-clear."""
    why = Finding(entry.problem[0], NOT_CHECKED, entry.problem[1]).message
    return Finding("given-amount-unknown", NOT_CHECKED, {"which": entry.had.text, "why": why})


def doubtful(case: Case, ingredient: Ingredient, regimen: Regimen, entries: list[Entry], upper: dict[str, Ratio]) -> list[Finding]:
    """Findings about the doses of one ingredient, as far as they lie in the last 24 hours."""
    recent = [entry for entry in entries if entry.had.last > -DAY]
    found = [amount_unknown(entry) for entry in recent if entry.amount is None and not entry.of_other_kind]
    found += [*told_twice(entries), *_too_large(regimen, recent, upper), *_elsewhere(case, ingredient, regimen, recent)]
    found += _too_close(ingredient, regimen, entries)
    if entries and case.order.step in ("first", "loading"):
        found.append(Finding("not-the-first", QUERY, {"step": case.order.step, "which": entries[-1].had.text}))
    return found


def told_twice(entries: list[Entry]) -> Iterator[Finding]:
    """The same amount at the same time: counted as often as it is told, and named."""
    seen = set()
    for entry in entries:
        amount = entry.amount.high if entry.amount else entry.had.given.dose
        key = (amount, entry.had.first, entry.had.last)
        if key in seen:
            yield Finding("given-twice", QUERY, {"which": entry.had.text})
        seen.add(key)


def _too_large(regimen: Regimen, recent: list[Entry], upper: dict[str, Ratio]) -> Iterator[Finding]:
    """One dose told that is far above the most for one dose: the record may be wrong."""
    about_dose = [lim for lim in regimen.limits if lim.main.measure.split("/")[0] == "dose" and lim.main.sense == AT_MOST]
    bounds = [most for lim in about_dose if not lim.beyond and (most := most_for_one_dose(lim, upper)) is not None]
    for entry in recent if bounds else ():
        if entry.amount and entry.had.route == regimen.route and entry.amount.high.value > min(bounds) * FAR:
            times = Fraction(entry.amount.high.value, min(bounds))
            yield Finding("given-dose-large", QUERY, {"which": entry.had.text, "value": entry.amount.high, "times": times})


def _elsewhere(case: Case, ingredient: Ingredient, regimen: Regimen, recent: list[Entry]) -> Iterator[Finding]:
    """Doses by another route, or of another product or medicine with this ingredient, are counted as they are."""
    others = [entry.had.text for entry in recent if _another(entry.had, case)]
    if others:
        yield Finding("same-ingredient", NOTE, {"ingredient": ingredient.id, "which": "; ".join(dict.fromkeys(others))})
    routes = sorted({entry.had.route for entry in recent} - {regimen.route, ""})
    if routes:
        yield Finding("other-route-counted", NOTE, {"ingredient": ingredient.id, "routes": " and ".join(routes)})


def _another(had: Had, case: Case) -> bool:
    return had.medicine is not case.medicine or bool(had.product and case.product and had.product is not case.product)


def _too_close(ingredient: Ingredient, regimen: Regimen, entries: list[Entry]) -> Iterator[Finding]:
    """Two doses told that were certainly closer than the shortest gap: past, so a note."""
    gap = next((limit.figure.value for limit in regimen.limits if limit.main.measure == "gap"), None)
    for one, other in pairwise(entries) if gap else ():
        apart = other.had.last - one.had.first
        if apart < gap:
            told = {"ingredient": ingredient.id, "value": show_length(apart) if apart else "no time", "limit": show_length(gap)}
            yield Finding("given-too-close", NOTE, told, regimen.full_id, regimen.source)


def group_concerns(case: Case) -> Iterator[Finding]:
    """Doses of other medicines in the last 24 hours: of the same group, or not in this formulary."""
    for had in case.history.doses:
        if had.last <= -DAY:
            continue
        if had.medicine is None:
            yield Finding("given-medicine-unknown", NOT_CHECKED, {"which": had.text})
            continue
        for own in case.medicine.ingredients:
            shared = shared_groups(own, had, case.formulary.one_at_a_time)
            if shared and had.part(own) is None:
                told = {"medicine": case.medicine.id, "which": had.text, "groups": " and ".join(shared)}
                yield Finding("same-group", QUERY, told)


def shared_groups(own: Ingredient, had: Had, watched: frozenset[str] | None) -> list[str]:
    """The groups that are not given twice in 24 hours (None: every group) and that both belong to."""
    theirs = {group for other in had.medicine.ingredients if had.part(other) for group in other.groups}
    both = sorted(theirs & set(own.groups))
    return [group for group in both if watched is None or group in watched]


def shown_amount(entry: Entry) -> str:
    """ "240 mg", or that it is not known."""
    return show(entry.amount.high) if entry.amount else "amount not known"
