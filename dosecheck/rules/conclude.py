"""The verdict put together: findings in order of weight, each told once, and what else can be asked of the case."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

from dosecheck.formulary.load import Formulary
from dosecheck.records import NOT_CHECKED, QUERY, STOP, WITHIN, Child, Order
from dosecheck.rules.case import Case, Reading
from dosecheck.rules.codes import NOTE, Finding, Later
from dosecheck.rules.facts import Body
from dosecheck.rules.judge import NOT_DUE
from dosecheck.rules.present import status_line, understood
from dosecheck.rules.supply import suggest
from dosecheck.rules.verdict import LimitState, Suggestion, Verdict, weight_in_doubt

if TYPE_CHECKING:
    from dosecheck.earlier import Earlier
    from dosecheck.rules.room import Next

_RANK = {STOP: 0, NOT_CHECKED: 1, QUERY: 2, NOTE: 3}


def conclude(case: Case, outcome: str, overall: list[Finding], readings: list[Reading]) -> Verdict:
    """The whole answer.  Sources are written out here, once."""
    source = case.formulary.source
    findings = _unique([*overall, *(f for r in readings for f in r.findings)])
    findings = list(map(_without_size, findings)) if weight_in_doubt(overall) else findings
    findings = [f._replace(source=source(f.source)) if f.source else f for f in sorted(findings, key=lambda f: _RANK[f.outcome])]
    amounts = (r.amount.high for r in readings if r.amount and case.order.dose.per != "time")
    return Verdict(
        outcome=outcome,
        findings=tuple(findings),
        working=tuple(dict.fromkeys((*case.body.steps, *(step for r in readings for step in r.steps)))),
        limits=tuple(s for r in readings for s in r.limits),
        regimens=tuple({r.regimen.full_id: r.regimen for r in readings if r.regimen and r.limits}.values()),
        one_dose=next(amounts, None),
        views=CaseViews(case, readings),
        earlier=None if case.history is None else len(case.history.doses),
    )


def _without_size(finding: Finding) -> Finding:
    """A low end per kg comes to a size by the weight: not said by a weight that is hard to believe."""
    if not finding.code.endswith("-below-range"):
        return finding
    return finding._replace(told=Later(finding.about, lambda: {**finding.data, "comes": ""}))


def _unique(findings: list[Finding]) -> list[Finding]:
    """The same finding met on several stretches of an age is told once."""
    seen: dict[tuple, Finding] = {}
    for finding in findings:
        seen.setdefault((finding.code, finding.regimen, finding.outcome, finding.about), finding)
    return list(seen.values())


class CaseViews(NamedTuple):
    """What else can be asked of a checked case."""

    case: Case
    readings: list[Reading]

    def to_observe(self, limits: tuple[LimitState, ...]) -> tuple[str, ...]:
        """Limits that the order did not state the measure of, and age limits that hang on a condition not stated."""
        case = self.case
        lines = [f"{s.limit.name}: {s.limit.text}" for s in limits if s.state == NOT_DUE and not s.limit.beyond]
        lines += [r.regimen.rounding for r in self.readings if r.regimen and r.regimen.rounding]
        for entry in case.medicine.age_limits:
            if entry.condition and entry.condition not in case.order.condition and (not entry.routes or case.order.route in entry.routes):
                lines.append(entry.limit.text)
        return tuple(dict.fromkeys(lines))

    def understood(self) -> dict[str, str]:
        case = self.case
        told = understood(case.order, case.child, case.body, case.medicine, case.product, case.formulary)
        return told if case.history is None else {**told, "earlier": "; ".join(had.text for had in case.history.doses) or "none given"}

    def suggestion(self) -> Suggestion | None:
        return suggest(self.case, self.readings) if self.case.product else None

    def slips(self) -> tuple[str, ...]:
        if all(reading.outcome == WITHIN for reading in self.readings):
            return ()
        from dosecheck.rules.slips import explain_by_slips  # what fits need not load it

        return explain_by_slips(self.case, self.readings)

    def next_dose(self) -> Next | None:
        if self.case.history is None or self.case.order.dose is None or self.case.order.dose.per == "time":
            return None
        from dosecheck.rules.room import next_of

        return next_of(self.case, self.readings)

    def formulary(self) -> dict[str, str]:
        return self.case.formulary.about(self.case.medicine)

    def status_line(self) -> str:
        return status_line(self.case.formulary, self.case.medicine, self.case.child.on)


def differing(readings: list[Reading]) -> Finding | None:
    """The finding that the readings of one ingredient disagree, naming for which regimen or age the order would fit."""
    outcomes = {reading.outcome for reading in readings}
    if len(outcomes) < 2:
        return None
    named = [f"{r.regimen.full_id if r.regimen else 'no regimen'}: {r.outcome}" for r in readings]
    return Finding("regimens-differ", NOT_CHECKED if NOT_CHECKED in outcomes else QUERY, {"which": "; ".join(dict.fromkeys(named))})


def unknown_medicine(order: Order, child: Child, body: Body, formulary: Formulary, earlier: Earlier | None = None) -> Verdict:
    """Nothing to check against: loud, and with a near name only as a question."""
    finding = Finding("medicine-missing", NOT_CHECKED, {})
    if order.medicine:
        near = formulary.near(order.medicine)
        question = f" Did you mean {' or '.join(near)}? Nothing of it was used." if near else ""
        finding = Finding("medicine-unknown", NOT_CHECKED, {"name": _visible(order.medicine), "near": question})
    told = None if earlier is None else len(earlier.doses)
    return Verdict(NOT_CHECKED, (finding,), (), (), (), None, _NoCase(order, child, body, formulary), told)


class _NoCase(NamedTuple):
    """The views of an order for which there was nothing to check against."""

    order: Order
    child: Child
    body: Body
    source: Formulary

    def to_observe(self, limits: tuple[LimitState, ...]) -> tuple[str, ...]:
        return ()

    def understood(self) -> dict[str, str]:
        return understood(self.order, self.child, self.body, None, None, self.source)

    def suggestion(self) -> Suggestion | None:
        return None

    def slips(self) -> tuple[str, ...]:
        return ()

    def next_dose(self) -> None:
        return None

    def formulary(self) -> dict[str, str]:
        return self.source.about()

    def status_line(self) -> str:
        return ""


def _visible(name: str) -> str:
    """The name with any foreign letter named by its code."""
    strange = [f"U+{ord(c):04X}" for c in name if ord(c) > 126]
    return name + (f" (with {', '.join(strange)})" if strange else "")
