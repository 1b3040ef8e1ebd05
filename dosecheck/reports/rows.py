"""The rows of the sheet: what one listed line comes to for a child, by the very functions that check orders and reckon sums.

Nothing is worked out here that `rules/` and `sums/` do not work out.  A dose stands on the sheet only when the check of
that very dose, typed back as printed, neither stops it nor leaves it unchecked; otherwise the row stays and says why not.
"""

from __future__ import annotations

from typing import NamedTuple

from dosecheck.formulary.limits import Limit
from dosecheck.formulary.load import Formulary
from dosecheck.formulary.measures import AT_MOST
from dosecheck.formulary.medicine import Medicine, Regimen
from dosecheck.formulary.sheet import MedicineLine, SumLine
from dosecheck.quantity import Quantity
from dosecheck.records import NOT_CHECKED, QUERY, STOP, Child, Order
from dosecheck.rules.check import check_order
from dosecheck.rules.codes import Finding
from dosecheck.rules.facts import Body
from dosecheck.rules.present import band_words, bands_in_words, child_in_words
from dosecheck.rules.reckon import Figures, reckon
from dosecheck.rules.supply import least_measurable
from dosecheck.rules.verdict import Suggestion
from dosecheck.showing import show
from dosecheck.sums.emergency import ARREST
from dosecheck.sums.frame import answered
from dosecheck.sums.listing import find
from dosecheck.working import TIMES, Step


class Result(NamedTuple):
    """One figure of a sum."""

    name: str
    value: str
    note: str


class Source(NamedTuple):
    """`place` is where in it the figure stands; a sum's source says that in its own words."""

    title: str
    place: str = ""


class Row(NamedTuple):
    """One line of the sheet.  A row has a `dose` (perhaps with a `measure`), or `results` of a sum, or neither: then `why_not`.

    `keep` is what to observe (gap, most in 24 hours, time); `doubts` are why to ask before using it.
    """

    name: str
    how: str
    dose: str = ""
    measure: str = ""
    product: str = ""
    results: tuple[Result, ...] = ()
    working: tuple[str, ...] = ()
    keep: tuple[str, ...] = ()
    doubts: tuple[str, ...] = ()
    why_not: tuple[str, ...] = ()
    sources: tuple[Source, ...] = ()
    is_sum: bool = False

    @property
    def kept(self) -> str:
        """What to observe: a sum's own sentences, or "At least 4 hours apart; at most 4 doses in 24 hours." """
        said = "; ".join(self.keep)
        return " ".join(self.keep) if self.is_sum else f"{said[:1].upper()}{said[1:]}." if said else ""


# ---- a medicine ----


def medicine_row(line: MedicineLine, child: Child, body: Body, formulary: Formulary, told: frozenset[str]) -> Row:
    """Args: told: sentences about the child that stand at the head of the sheet, and are not said again in each row."""
    medicine = formulary.medicine(line.medicine)
    order = _asked(line, medicine)
    empty = Row(medicine.name, _how(order))
    found = reckon(order, child, formulary)
    fitting = [f for f in found.figures if line.regimen in (None, f.regimen.base_id)]
    figures = [f for f in fitting if f.high is not None]
    if not figures:
        silent = tuple(note for f in fitting for note in f.notes)[:1]  # such as: the weight that it goes by cannot be reckoned
        return empty._replace(why_not=silent or _in_the_way(found.findings, line, medicine, child, body))
    regimens = {f.regimen.full_id: f for f in reversed(figures)}
    if len({(f.low, f.high) for f in regimens.values()}) > 1:
        return empty._replace(why_not=(Finding("regimens-differ", NOT_CHECKED, {"which": "; ".join(reversed(regimens))}).message,))
    return _checked(empty, figures[0], order, child, medicine, formulary, told)


def _asked(line: MedicineLine, medicine: Medicine) -> Order:
    named = next((r for r in medicine.regimens if r.base_id == line.regimen), None)
    if named is None:
        return Order(medicine=medicine.id, route=line.route, for_=line.for_, step=line.step, product=line.product)
    return Order(
        medicine=medicine.id,
        route=named.route,
        for_=named.purposes[0],
        step=named.step,
        condition=tuple(named.conditions),
        product=line.product,
    )


def _how(order: Order) -> str:
    """ "intravenous, opioid reversal, first dose"."""
    return ", ".join(filter(None, (order.route, order.for_, f"{order.step} dose" if order.step else "", *order.condition)))


def _in_the_way(findings: tuple[Finding, ...], line: MedicineLine, medicine: Medicine, child: Child, body: Body) -> tuple[str, ...]:
    told = tuple(f.message for f in findings if f.outcome in (STOP, NOT_CHECKED))
    has = [bands_in_words(r) for r in medicine.regimens if r.base_id == line.regimen]
    about = {"about": child_in_words(child, body), "has": has}
    return told or (Finding("no-regimen-for-child", NOT_CHECKED, about).message,)


def _checked(
    empty: Row, figures: Figures, order: Order, child: Child, medicine: Medicine, formulary: Formulary, told: frozenset[str]
) -> Row:
    """The figures as a row, once the dose that it would print has passed the check."""
    supply = figures.products[0] if order.product and figures.products else None
    product = medicine.product(order.product) if supply else None
    one_figure = figures.low == figures.high
    least = least_measurable(product, figures.regimen, figures.low, supply) if supply and not one_figure else None
    measure = _measure(supply.measured, least, one_figure) if supply and supply.measured else ""
    verdict = check_order(_order_of(order, measure or _typed(figures.high, medicine, figures.regimen), figures), child, formulary)
    if verdict.outcome in (STOP, NOT_CHECKED):
        return empty._replace(why_not=tuple(dict.fromkeys(f.message for f in verdict.findings if f.outcome in (STOP, NOT_CHECKED))))
    return empty._replace(
        dose=dose_words(figures.low, figures.high) + _often(figures.doses),
        measure=measure,
        product=": ".join(filter(None, (supply.product_name, supply.note))) if supply else "",
        working=(*_working(figures), *_measuring(supply, least)),
        keep=tuple(_keep(figures)),
        doubts=tuple(dict.fromkeys(f.message for f in verdict.findings if f.outcome == QUERY and f.message not in told)),
        sources=(_source(figures),),
    )


def _source(figures: Figures) -> Source:
    """The regimen's source, its place told apart so that a source stands once in the list."""
    place = figures.regimen.source.partition(", ")[2]
    return Source(figures.source.removesuffix(f", {place}"), place)


def _typed(dose: Quantity, medicine: Medicine, regimen: Regimen) -> str:
    """The dose as a user would type what is printed."""
    of = f" of {medicine.ingredient(regimen.ingredient).names[-1]}" if medicine.basis_stated else ""
    return show(dose, down=True).removeprefix("about ").replace(",", "") + of


def _order_of(order: Order, dose: str, figures: Figures) -> Order:
    """The order for the dose on the sheet: one dose, over the shortest time that the source allows."""
    often = {"times_a_day": figures.doses} if figures.doses else {"once": True}
    asked = {name: getattr(order, name) for name in ("medicine", "route", "for_", "step", "condition", "product")}
    return Order(**asked, dose=dose.removeprefix("at most ").replace(",", ""), over=figures.regimen.entry.get("min_duration"), **often)


def dose_words(low: Quantity | None, high: Quantity) -> str:
    """ "142 mg", "71 to 142 mg", "0.5 to 1 tablet", "at most 142 mg"."""
    most = show(high, down=True)
    if low is None or low == high:
        return most if low else f"at most {most}"
    least = show(low)
    same_unit = _singular(least) == _singular(most) and not least.startswith("about")
    return f"{least.rpartition(' ')[0] if same_unit else least} to {most}"


def _singular(shown: str) -> str:
    """The unit of a shown amount, as after 1."""
    top, stroke, below = shown.rpartition(" ")[2].partition("/")
    return top.removesuffix("s") + stroke + below


def _measure(most: Quantity, least: Suggestion | None, one_figure: bool) -> str:
    return show(most) if one_figure else dose_words(least.measured if least else None, most)


def _often(doses: int | None) -> str:
    return "" if doses is None else " a day, in one dose" if doses == 1 else f", {doses} times a day"


def _working(figures: Figures) -> list[str]:
    """How the dose comes about; a fixed dose names the band that it is for, a maximum that binds is named."""
    if not figures.steps:
        return [f"fixed dose: {band_words(figures.regimen)}"]
    shown = [step.equation for step in figures.steps]
    limits = [limit for limit in figures.regimen.limits if limit.main.measure == "dose" and limit.main.sense == AT_MOST]
    cap = next((limit for limit in limits if limit.figure == figures.high), None)
    if cap and any(step.result > figures.high for step in figures.steps):
        shown.append(f"held at the {cap.name}, {cap.text}")
    return shown


def _measuring(most: Suggestion | None, least: Suggestion | None) -> list[str]:
    """ "142 mg / 20 mg/mL = 7.1 mL, rounded down: 7 mL = 140 mg"; the rounding only where there is any."""
    shown = []
    for supply, way in ((least, "up"), (most, "down")):
        if supply and supply.measured and not (supply is most and least and least.measured == most.measured):
            share, rounded = supply.steps
            shown.append(share.equation + ("" if share.result == supply.measured else f", rounded {way}: {rounded.equation}"))
    return shown


_KEEP = {
    "shortest gap": "at least {} apart",
    "shortest time to give it over": "over at least {}",
    "highest rate": "no faster than {}",
    "highest concentration": "no stronger than {}",
}


def _keep(figures: Figures) -> list[str]:
    """What to observe besides the dose; the day's maximum only where the number of doses does not keep to it already."""
    said = [_KEEP[name].format(text) for name, text in figures.rows if name in _KEEP]
    most = figures.regimen.entry.get("max_doses")
    if most:
        said.append(f"at most {most} dose{'s' * (most != 1)} in 24 hours")
    daily = [limit for limit in figures.regimen.limits if limit.name == "daily maximum" and not limit.beyond]
    if daily and all("surface" not in limit.figure.kind for limit in daily):
        least = min((_of_day(limit, figures.weight) for limit in daily), key=lambda step: step.result.value)
        if not most or most * figures.high.value > least.result.value:
            said.append(f"at most {show(least.result, down=True)} in 24 hours" + (f" ({least.equation})" if len(least.parts) > 1 else ""))
    return said


def _of_day(limit: Limit, weight: Quantity) -> Step:
    if "weight" not in limit.figure.kind:
        return Step("in 24 hours", (limit.figure,), limit.figure)
    return Step("in 24 hours", (limit.figure, TIMES, weight), limit.figure * weight, down=True)


# ---- a sum ----


def sum_row(line: SumLine, child: Child, body: Body) -> Row:
    """A sum by its published rule, with the child's weight and age."""
    asked = find(line.sum)
    known = {"weight": child.weight, "age": body.age, "rule": line.rule, "purpose": ARREST}
    found = answered(line.sum, asked, {field.name: known.get(field.name) for field in asked.fields})
    row = Row(found.title, line.rule or found.understood.get("purpose", ""), is_sum=True)
    if found.not_covered:
        return row._replace(why_not=(found.not_covered,))
    answer = found.answer
    return row._replace(
        results=tuple(Result(r.name, r.text, r.note) for r in answer.results),
        working=tuple(step.equation for step in answer.steps),
        keep=answer.notes,
        doubts=tuple(doubt.text for doubt in answer.doubts),
        sources=tuple(map(Source, answer.sources)),
    )
