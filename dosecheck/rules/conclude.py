"""The verdict put together: findings in order of weight, what was not checked, what is to be observed."""

from __future__ import annotations

from dosecheck.formulary.load import Formulary
from dosecheck.records import NOT_CHECKED, QUERY, STOP, Child, Order
from dosecheck.rules.case import Case, Reading
from dosecheck.rules.codes import NOTE, Finding
from dosecheck.rules.facts import Body
from dosecheck.rules.judge import BROKEN, MET, NOT_DUE, UNKNOWN
from dosecheck.rules.present import status_line, understood
from dosecheck.rules.slips import explain_by_slips
from dosecheck.rules.supply import suggest
from dosecheck.rules.verdict import HEADLINES, LimitState, Verdict

_ORDER = (STOP, NOT_CHECKED, QUERY, NOTE)
_ALWAYS_OPEN = ("Earlier doses: not told, so not counted.", "Whether the weight is right for the age was not looked at.")


def conclude(case: Case, outcome: str, overall: list[Finding], readings: list[Reading]) -> Verdict:
    """The whole answer.  Sources are written out here, once."""
    findings = _unique([*overall, *(f for r in readings for f in r.findings)])
    findings = [f._replace(source=case.formulary.source(f.source)) for f in sorted(findings, key=lambda f: _ORDER.index(f.outcome))]
    states = tuple(s._replace(source=case.formulary.source(s.source)) for r in readings for s in r.limits)
    regimens = tuple({r.regimen.full_id: r.regimen for r in readings if r.regimen and r.limits}.values())
    steps = tuple(dict.fromkeys(step for r in readings for step in r.steps))
    return Verdict(
        outcome=outcome, headline=HEADLINES[outcome], findings=tuple(findings), working=steps, limits=states,
        not_checked=(*dict.fromkeys(f.message for f in findings if f.outcome == NOT_CHECKED), *_ALWAYS_OPEN),
        to_observe=_to_observe(case, states, readings),
        understood=understood(case.order, case.child, case.body, case.medicine, case.product),
        suggestion=suggest(case, readings) if case.product else None,
        formulary=case.formulary.about(case.medicine), status_line=status_line(case.formulary, case.medicine, case.child.on),
        counts=_counts(states), regimens=regimens,
        ask_first=tuple(dict.fromkeys(line for r in regimens for line in r.ask_first)),
        slips=explain_by_slips(case, readings), one_dose=next((r.amount.high for r in readings if r.amount and case.order.dose.per != "time"), None),
    )  # fmt: skip


def _unique(findings: list[Finding]) -> list[Finding]:
    """The same finding met on several stretches of an age is told once."""
    seen: dict[tuple, Finding] = {}
    for finding in findings:
        seen.setdefault((finding.code, finding.regimen, finding.outcome, str(finding.data)), finding)
    return list(seen.values())


def _counts(states: tuple[LimitState, ...]) -> dict[str, int]:
    each = {state: sum(s.state == state for s in states) for state in (MET, BROKEN, UNKNOWN)}
    return {"due": sum(each.values()), **each}


def _to_observe(case: Case, states: tuple[LimitState, ...], readings: list[Reading]) -> tuple[str, ...]:
    """Limits that the order did not state the measure of, and age limits that hang on a condition not stated."""
    lines = [f"{s.limit.name}: {s.limit.text}" for s in states if s.state == NOT_DUE and " more" not in s.limit.text]
    lines += [f"{r.regimen.rounding}" for r in readings if r.regimen and r.regimen.rounding]
    for entry in case.medicine.age_limits:
        if entry.condition and entry.condition not in case.order.condition and (not entry.routes or case.order.route in entry.routes):
            lines.append(entry.limit.text)
    return tuple(dict.fromkeys(lines))


def differing(readings: list[Reading]) -> Finding | None:
    """The finding that the readings of one ingredient disagree, naming for which regimen or age the order would fit."""
    named = [(r.regimen.full_id if r.regimen else "no regimen", r.outcome) for r in readings]
    outcomes = {outcome for _, outcome in named}
    if len(outcomes) < 2:
        return None
    which = list(dict.fromkeys(f"{name}: {outcome}" for name, outcome in named))
    return Finding("regimens-differ", NOT_CHECKED if NOT_CHECKED in outcomes else QUERY, {"which": "; ".join(which)})


def unknown_medicine(order: Order, child: Child, body: Body, formulary: Formulary) -> Verdict:
    """Nothing to check against: loud, and with a near name only as a question."""
    finding = Finding("medicine-missing", NOT_CHECKED, {})
    if order.medicine:
        near = formulary.near(order.medicine)
        question = f" Did you mean {' or '.join(near)}? Nothing of it was used." if near else ""
        finding = Finding("medicine-unknown", NOT_CHECKED, {"name": _visible(order.medicine), "near": question})
    return Verdict(
        NOT_CHECKED, HEADLINES[NOT_CHECKED], (finding,), (), (), (finding.message,), (), understood(order, child, body, None, None), None,
        formulary.about(), "", _counts(()), (), (), (), None,
    )  # fmt: skip


def _visible(name: str) -> str:
    """The name with any foreign letter named by its code."""
    strange = [f"U+{ord(c):04X}" for c in name if ord(c) > 126]
    return name + (f" (with {', '.join(strange)})" if strange else "")


