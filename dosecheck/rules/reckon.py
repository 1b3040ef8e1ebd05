"""What the formulary's figures come to for a child: range, maxima, gap, and what each product can measure.

The `dose` command's answer.  It judges no order and proposes nothing by itself: it shows the figures of every
regimen that fits, by the very limits that an order would be checked against.
"""

from __future__ import annotations

from collections.abc import Iterator
from fractions import Fraction
from typing import Any, NamedTuple

from dosecheck.formulary.cells import stretches
from dosecheck.formulary.limits import Limit
from dosecheck.formulary.load import Formulary
from dosecheck.formulary.measures import Ratio
from dosecheck.formulary.medicine import Medicine, Regimen
from dosecheck.quantity import Quantity
from dosecheck.records import QUERY, Child, Order
from dosecheck.rules.case import Case
from dosecheck.rules.check import as_told, case_of, earlier_problems, order_problems, with_history
from dosecheck.rules.codes import Finding
from dosecheck.rules.concerns import child_concerns, regimen_concerns
from dosecheck.rules.dosing import dosing_of, without_weight
from dosecheck.rules.explain import allowed, fewest_doses, lacks_weight, limit_step, most_for_one_dose
from dosecheck.rules.facts import body_of, ratio
from dosecheck.rules.kidneys import fits, parted, untold
from dosecheck.rules.present import bands_in_words, child_in_words, status_line, understood
from dosecheck.rules.supply import NO_WEIGHT, measurable
from dosecheck.rules.verdict import CAUTION, Suggestion, weight_in_doubt, withheld
from dosecheck.showing import show
from dosecheck.working import TIMES, Step


class Figures(NamedTuple):
    """One regimen's figures for this child, at one number of doses a day (None: not told and not needed).

    `weight`: what its figures per kg go by.
    `after`: what doses given before leave, in sentences; empty where they are not told.
    """

    regimen: Regimen
    doses: int | None
    low: Quantity | None
    high: Quantity | None
    rows: tuple[tuple[str, str], ...]
    steps: tuple[Step, ...]
    products: tuple[Suggestion, ...]
    notes: tuple[str, ...]
    source: str
    after: tuple[str, ...] = ()
    weight: Quantity | None = None


class Reckoning(NamedTuple):
    """`findings` hold what stands in the way; `figures` are empty when nothing fits."""

    medicine: str
    figures: tuple[Figures, ...]
    findings: tuple[Finding, ...]
    understood: dict[str, str]
    formulary: dict[str, str]
    caution: str

    @property
    def offered(self) -> tuple[Figures, ...]:
        """The figures as they may be shown: no size while the weight is hard to believe."""
        if not weight_in_doubt(self.findings):
            return self.figures
        return tuple(f._replace(low=None, high=None, steps=(), products=tuple(map(withheld, f.products))) for f in self.figures)

    def as_dict(self) -> dict[str, Any]:
        """The JSON of the answer."""
        return {
            "medicine": self.medicine,
            "figures": [_figures_dict(f) for f in self.offered],
            "findings": [{"code": f.code, "outcome": f.outcome or "note", "message": f.message} for f in self.findings],
            "understood": self.understood,
            "formulary": self.formulary,
            "caution": self.caution,
        }


def _figures_dict(figures: Figures) -> dict[str, Any]:
    return {
        "regimen": figures.regimen.full_id,
        "doses_a_day": figures.doses,
        "low": show(figures.low) if figures.low else "",
        "high": show(figures.high, down=True) if figures.high else "",
        "limits": [{"name": name, "text": text} for name, text in figures.rows],
        "working": [step.text for step in figures.steps],
        "products": [
            {
                "product": p.product,
                "dose": show(p.amount) if p.amount else "",
                "measured": show(p.measured) if p.measured else "",
                "working": [step.text for step in p.steps],
                "note": p.note,
            }
            for p in figures.products
        ],
        "notes": list(figures.notes),
        "after_earlier_doses": list(figures.after),
        "source": figures.source,
    }


def reckon(order: Order, child: Child, formulary: Formulary, earlier: Any = None) -> Reckoning:
    """The figures of every regimen that fits `order` (its dose is not looked at) and `child`.

    Args:
        earlier: doses given before, as in `check_order`; what they leave is then said too.

    Raises:
        InputError: the child's age and date of birth contradict each other; an earlier dose cannot be read.
    """
    body = body_of(child)
    medicine = formulary.medicine(order.medicine)
    if medicine is None:
        from dosecheck.rules.conclude import unknown_medicine

        verdict = unknown_medicine(order, child, body, formulary)
        return Reckoning(order.medicine or "", (), verdict.findings, verdict.understood, verdict.formulary, verdict.caution)
    case = with_history(case_of(order, child, body, formulary, medicine), as_told(earlier))
    findings = (
        earlier_problems(case)
        + [f for f in order_problems(case) if f.code not in ("dose-missing", "purpose-not-told")]
        + list(child_concerns(medicine, child, body, formulary))
    )
    figures = list(_all_figures(case)) if body.age else []
    if body.age and not figures and not case.shelf.problems:
        has = [bands_in_words(r) for regimens in case.shelf.regimens.values() for r in regimens]
        findings.append(Finding("no-regimen-for-child", "not-checked", {"about": child_in_words(child, body), "has": has}))
    findings += [*_age_findings(case), *_kidney_findings(case)]
    caution = f"{CAUTION} {status_line(formulary, medicine, child.on)}".rstrip()
    return Reckoning(
        medicine.id,
        tuple(figures),
        tuple(findings),
        understood(order, child, body, medicine, case.product, formulary),
        formulary.about(medicine),
        caution,
    )


def _age_findings(case: Case) -> list[Finding]:
    from dosecheck.rules.check import age_limit_readings

    found = [
        f
        for s in stretches(case.body.intervals, case.shelf.edges)
        if case.body.age
        for r in age_limit_readings(case, s)
        for f in r.findings
    ]
    return list({f.regimen: f for f in found}.values())


def _kidney_findings(case: Case) -> list[Finding]:
    """Figures for other kidney function, where the function is not told."""
    here = stretches(case.body.intervals, case.shelf.edges) if case.body.age else []
    aside = [
        regimen
        for stretch in here
        for regimens in case.shelf.regimens.values()
        for regimen in parted(regimens, stretch)[1]
        if all(fits(regimen, stretch))
    ]
    return [untold(list({r.full_id: r for r in aside}.values()), QUERY)] if aside else []


def figures_at(medicine: Medicine, regimen: Regimen, child: Child, formulary: Formulary) -> tuple[Figures, ...]:
    """One regimen's figures for a child of some weight, as `reckon` has them; whether the regimen is for the child is not looked at.

    Returns:
        For a dose a day, one block for each allowed number of doses; else one, for the fewest doses a day, so that no
        single dose is above a daily maximum.
    """
    order = Order(medicine=medicine.id, route=regimen.route)
    return tuple(_figures_of(case_of(order, child, body_of(child), formulary, medicine), regimen))


def _all_figures(case: Case) -> Iterator[Figures]:
    seen = set()
    for stretch in stretches(case.body.intervals, case.shelf.edges):
        for regimens in case.shelf.regimens.values():
            for regimen in parted(regimens, stretch)[0]:
                if regimen.full_id not in seen and all(fits(regimen, stretch)):
                    seen.add(regimen.full_id)
                    yield from _figures_of(case, regimen)


def _figures_of(case: Case, regimen: Regimen) -> Iterator[Figures]:
    """One block; for a dose a day, one for each allowed number of doses, unless the order says how many.

    Any other dose, of which nobody tells how often, is reckoned as the fewest in a day: a daily maximum holds it too.  Where the weight that the regimen goes by cannot be reckoned, nothing per kg is shown: the note says why.
    """
    told, dosing = case.given.doses, dosing_of(case, regimen)
    case = dosing.case if dosing.sure else without_weight(dosing.case)
    allowed = regimen.entry["doses_a_day"] if regimen.per == "day" else [None]
    counts = [int(told)] if told and told.denominator == 1 else allowed
    for count in counts:
        facts = dict(case.facts)
        if not told or count:
            facts["doses"] = facts["average"] = ratio(count or fewest_doses(regimen))
        block = _block(case, regimen, count, facts)
        yield block._replace(steps=(*dosing.steps, *block.steps), notes=(*(f.message for f in dosing.findings), *block.notes))


def _block(case: Case, regimen: Regimen, count: int | None, facts: dict[str, Ratio]) -> Figures:
    firsts = [limit for limit in regimen.limits if not limit.beyond]
    unsized = lacks_weight(regimen, facts)
    each = [] if unsized else [(limit, most_for_one_dose(limit, facts)) for limit in firsts]
    bounds = [bound for _, bound in each if bound is not None]
    untold = count is None and case.given.doses is None
    steps = [
        step
        for limit, bound in each
        if bound is not None and not (untold and limit.name == "daily maximum" and bound > min(bounds))
        for step in limit_step(limit, _amount(limit, bound), facts, case.child, case.weight)
    ]
    high = _in_regimen(regimen, min(bounds)) if bounds and not regimen.span.continuous else None
    low, low_steps = _low(case, regimen, facts, high)
    products = [p for p in case.medicine.products if regimen.route in p.routes and (not regimen.products or p.id in regimen.products)]
    if case.product:
        products = [case.product]
    left, after = left_by_earlier(case, regimen, facts, low)
    usable = [] if regimen.span.continuous else [measurable(p, regimen, facts, left) for p in products if p.release == regimen.release]
    notes = (
        [f"One dose: {NO_WEIGHT}."] * unsized
        + [f.message for f in regimen_concerns(regimen, case.child, case.body, once=True)]
        + ([regimen.rounding] if regimen.rounding else [])
        + list(regimen.ask_first)
    )
    rows = tuple(dict.fromkeys((limit.name, limit.text) for limit in firsts))
    source = case.formulary.source(regimen.source)
    steps = (*low_steps, *steps)
    return Figures(regimen, count, low, high, rows, steps, tuple(usable), tuple(notes), source, after, case.weight)


def left_by_earlier(case: Case, regimen: Regimen, facts: dict[str, Ratio], low: Quantity | None) -> tuple[Fraction | None, tuple[str, ...]]:
    """(what doses given before leave at the earliest next time, sentences); (None, none) where they are not told."""
    if case.history is None:
        return None, ()
    from dosecheck.rules.room import room_for

    return room_for(case, regimen, facts, low)


def _amount(limit: Limit, value: Fraction) -> Quantity:
    return Quantity(value, limit.figure.kind.split("/")[0], limit.figure.unit.split("/")[0])


def _in_regimen(regimen: Regimen, value: Fraction) -> Quantity:
    return Quantity(value, regimen.kind, (regimen.span.high or regimen.span.low).unit.split("/")[0])


def _low(case: Case, regimen: Regimen, facts: dict[str, Ratio], high: Quantity | None) -> tuple[Quantity | None, list[Step]]:
    """The low end for this child, never above the maximum that binds."""
    limit = next((limit for limit in regimen.limits if limit.name == "low end"), None)
    if limit is None or regimen.span.continuous or regimen.span.single_figure:
        return (high if regimen.span.single_figure else None), []
    value = allowed(limit.main, facts)
    if value is None:
        return None, []
    low = _in_regimen(regimen, value)
    parts = (limit.figure, TIMES, case.weight) if limit.main.measure.endswith("/weight") else (limit.figure,)
    if regimen.per == "day":
        count = Fraction(*facts["average"])
        parts = (*parts, "/", count, "doses" if count != 1 else "dose")
    step = [Step("low end of one dose", parts, low)] if len(parts) > 1 else []
    floor = next((limit.figure for limit in regimen.limits if limit.name == "smallest dose"), None)
    low = max(low, floor) if floor else low
    return (min(low, high) if high else low), step
