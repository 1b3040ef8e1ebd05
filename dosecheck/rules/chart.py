"""One child's chart checked: every current order with the doses given, and for each ingredient what the 24 hours hold.

Each order is checked as any other, its first dose as given now.  What only a chart can show comes on top: one ingredient
or one group in two orders, doses told twice.  Each ingredient stands alone: no times of two medicines are put together.
"""

from __future__ import annotations

from collections.abc import Iterator
from itertools import combinations
from typing import Any, NamedTuple

from dosecheck.chart_file import Chart
from dosecheck.formulary.load import Formulary
from dosecheck.formulary.medicine import Ingredient
from dosecheck.records import NOT_CHECKED, QUERY, WITHIN, Order
from dosecheck.rules.chart_blocks import Block, block_of
from dosecheck.rules.check import case_of, check_case
from dosecheck.rules.codes import Finding, worst
from dosecheck.rules.conclude import unknown_medicine
from dosecheck.rules.doubtful_doses import told_twice
from dosecheck.rules.facts import Body, body_of
from dosecheck.rules.history import History, history_of
from dosecheck.rules.present import child_lines
from dosecheck.rules.verdict import CAUTION, HEADLINES, Verdict

ALONE = "Each medicine stands alone here: times of two medicines are no plan to give them in turn. Ask the prescriber before that."


class Ordered(NamedTuple):
    """One current order with its answer; `name` is "order 1"."""

    name: str
    order: Order
    verdict: Verdict


class ChartVerdict(NamedTuple):
    """What `check_chart` answers.

    outcome: the worst of the orders' and of the chart's own findings.
    findings: what only the chart shows; the orders' are in their verdicts.
    blocks: one an ingredient that is ordered or was given.
    """

    outcome: str
    findings: tuple[Finding, ...]
    orders: tuple[Ordered, ...]
    blocks: tuple[Block, ...]
    child_id: str
    child: dict[str, str]
    now: str
    given: int | None
    formulary: dict[str, str]
    caution: str

    @property
    def headline(self) -> str:
        if self.outcome == WITHIN:
            doses = (
                f"with the {self.given} dose{'s' * (self.given != 1)} given on this chart"
                if self.given
                else "no dose given before, as told"
            )
            return f"WITHIN the figures of this formulary, every current order, {doses}."
        if self.outcome == NOT_CHECKED:
            return "NOT CHECKED: this chart could not be checked in full. Do not take this as an all-clear."
        return HEADLINES[self.outcome]

    def as_dict(self) -> dict[str, Any]:
        """The JSON of the answer; every amount is text with its unit."""
        return {
            "outcome": self.outcome,
            "headline": self.headline,
            "child_id": self.child_id,
            "child": self.child,
            "now": self.now,
            "doses_given": self.given,
            "findings": [{"code": f.code, "outcome": f.outcome or "note", "message": f.message} for f in self.findings],
            "orders": [{"name": each.name, **each.verdict.as_dict()} for each in self.orders],
            "ingredients": [block.as_dict() for block in self.blocks],
            "alone": ALONE,
            "formulary": self.formulary,
            "caution": self.caution,
        }


def check_chart(chart: Chart, formulary: Formulary) -> ChartVerdict:
    """Checks every order of a chart with all doses given.

    Raises:
        InputError: the child's age and date of birth contradict each other, or a dose was given before the birth.
    """
    body = body_of(chart.child)
    history = None if chart.earlier is None else history_of(chart.earlier, chart.child, body, formulary)
    orders = tuple(
        Ordered(f"order {number}", order, _verdict(order, chart, body, formulary, history)) for number, order in enumerate(chart.orders, 1)
    )
    blocks = tuple(block_of(ingredient, history, _with(ingredient, orders)) for ingredient in _ingredients(orders, history))
    findings = (*_about_the_chart(chart, history), *_about_the_orders(orders, formulary), *_twice(blocks))
    return ChartVerdict(
        outcome=worst([*(each.verdict.outcome for each in orders), *(f.outcome for f in findings if f.outcome)]),
        findings=findings,
        orders=orders,
        blocks=blocks,
        child_id=chart.child_id,
        child=child_lines(chart.child, body, formulary),
        now=chart.now.text,
        given=None if chart.earlier is None else len(chart.earlier.doses),
        formulary=formulary.about(),
        caution=orders[0].verdict.caution if orders else CAUTION,
    )


def _verdict(order: Order, chart: Chart, body: Body, formulary: Formulary, history: History | None) -> Verdict:
    medicine = formulary.medicine(order.medicine)
    if medicine is None:
        return unknown_medicine(order, chart.child, body, formulary, chart.earlier)
    return check_case(case_of(order, chart.child, body, formulary, medicine)._replace(history=history))


def inside(each: Ordered) -> tuple[Ingredient, ...]:
    """The ingredients of an order's product, or of its medicine."""
    case = getattr(each.verdict.views, "case", None)
    if case is None:
        return ()
    return tuple(i for i in case.medicine.ingredients if case.product is None or i.id in case.product.strengths)


def _with(ingredient: Ingredient, orders: tuple[Ordered, ...]) -> tuple[Ordered, ...]:
    return tuple(each for each in orders if any(set(i.names) & set(ingredient.names) for i in inside(each)))


def _ingredients(orders: tuple[Ordered, ...], history: History | None) -> list[Ingredient]:
    """Those ordered and then those given, each once under whatever name."""
    found: list[Ingredient] = []
    given = [had.part(i) for had in (history.doses if history else ()) if had.medicine for i in had.medicine.ingredients]
    for ingredient in (*(i for each in orders for i in inside(each)), *(i for i in given if i)):
        if not any(set(ingredient.names) & set(known.names) for known in found):
            found.append(ingredient)
    return found


def _about_the_chart(chart: Chart, history: History | None) -> Iterator[Finding]:
    for had in history.doses if history else ():
        if had.medicine is None:
            yield Finding("given-medicine-unknown", NOT_CHECKED, {"which": had.text})
    if chart.earlier is None:
        yield Finding("doses-given-not-told", NOT_CHECKED, {})
    if not chart.orders:
        yield Finding("no-current-order", NOT_CHECKED, {})


def _about_the_orders(orders: tuple[Ordered, ...], formulary: Formulary) -> Iterator[Finding]:
    """One ingredient, or one of the policy's groups, in two current orders."""
    for one, other in combinations(orders, 2):
        for mine in inside(one):
            for theirs in inside(other):
                if set(mine.names) & set(theirs.names):
                    which = f"{_named(one)} and {_named(other)}"
                    yield Finding("same-ingredient-ordered", QUERY, {"ingredient": mine.id, "which": which})
                    continue
                watched = formulary.one_at_a_time
                shared = sorted(g for g in set(mine.groups) & set(theirs.groups) if watched is None or g in watched)
                if shared and not _with(mine, (other,)) and not _with(theirs, (one,)):
                    told = {"medicine": _named(one), "which": _named(other), "groups": " and ".join(shared)}
                    yield Finding("same-group", QUERY, told)


def _named(each: Ordered) -> str:
    return f"{each.name}, {each.order.medicine}" + (f" {each.order.route}" if each.order.route else "")


def _twice(blocks: tuple[Block, ...]) -> Iterator[Finding]:
    """Doses told twice, also of a medicine that is not ordered."""
    seen = set()
    for block in blocks:
        for finding in told_twice(list(block.entries)):
            if finding.message not in seen:
                seen.add(finding.message)
                yield finding
