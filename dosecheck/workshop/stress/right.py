"""Right orders: for one regimen and one child, a dose drawn from what the regimen allows, written as a prescriber might.

How the dose is rounded and written is in `writing.py`; the range is that of the very limits that an order is checked by.
"""

from __future__ import annotations

from collections.abc import Iterator
from fractions import Fraction
from math import ceil
from typing import Any, NamedTuple

from dosecheck.formulary.limits import Limit
from dosecheck.formulary.load import Formulary
from dosecheck.formulary.measures import AT_LEAST, Ratio
from dosecheck.formulary.medicine import Medicine, Product, Regimen
from dosecheck.quantity import COUNTED, factor
from dosecheck.records import Order
from dosecheck.rules.check import case_of
from dosecheck.rules.dosing import dosing_of
from dosecheck.rules.explain import allowed, most_for_one_dose
from dosecheck.rules.facts import body_of, ratio
from dosecheck.workshop.stress.draw import Draw, Drawn, draw_child
from dosecheck.workshop.stress.writing import WAYS, Written, written_dose

_HOUR, _DAY = 3600, 86_400
_NEARLY = Fraction(9, 10)  # of a single figure whose low end the limits do not tell


class Right(NamedTuple):
    """One right order; `fields` are the texts of a row, `trap` what makes it look wrong, or ""."""

    medicine: Medicine
    regimen: Regimen
    drawn: Drawn
    product: Product | None
    written: Written
    doses: int
    fields: dict[str, str]
    trap: str


def right_orders(formulary: Formulary, medicine: Medicine, regimen: Regimen, number: int, seed: int) -> Iterator[Right]:
    """Up to `number` orders; fewer, or none, where no child or no dose was found."""
    for count in range(number):
        draw = Draw(f"{seed}/{medicine.id}/{regimen.id}/{regimen.valid_from}/{count}")
        drawn = draw_child(draw, medicine, regimen)
        if drawn and (made := _order(draw, formulary, medicine, regimen, drawn)):
            yield made


def _order(draw: Draw, formulary: Formulary, medicine: Medicine, regimen: Regimen, drawn: Drawn) -> Right | None:
    frequency, doses = draw.pick(_frequencies(regimen))
    part, way, wanted = draw.part(), draw.pick(WAYS), draw.whole(0, 1)
    products = list(_products(medicine, regimen))
    product = draw.pick(products) if products else None
    facts = _facts(formulary, medicine, regimen, drawn, doses)
    ends = facts and span_of(regimen, facts)
    if not ends:
        return None
    if regimen.span.single_figure and "weight" not in regimen.span.high.kind and "surface" not in regimen.span.high.kind:
        part = Fraction(1)  # the figure itself is what anybody writes
    if product is not None and not (medicine.basis_stated or regimen.products or way == "volume" or wanted):
        product = None
    written = written_dose(way, part, ends, regimen, medicine, drawn, product)
    if written is None:
        return None
    if product is not None and not (medicine.basis_stated or regimen.products or written.measured):
        product = None  # nobody would reach for it to give that
    fields = {
        "medicine": medicine.id,
        "route": regimen.route,
        "for": draw.pick(regimen.purposes),
        "dose": written.text,
        **frequency,
        **drawn.texts,
    }
    fields |= {"step": regimen.step} if regimen.step else {}
    fields |= {"condition": ";".join(sorted(regimen.conditions))} if regimen.conditions else {}
    fields |= {"product": product.id} if product else {}
    fields |= _over(regimen, written, drawn)
    return Right(medicine, regimen, drawn, product, written, doses, fields, _trap(medicine, regimen, drawn, written, facts))


def _frequencies(regimen: Regimen) -> list[tuple[dict[str, str], int]]:
    """What an order may say of how often, and the most doses in 24 hours that this makes."""
    entry = regimen.entry
    if regimen.span.continuous:
        return [({}, 1)]
    gap = next((limit.figure.value for limit in regimen.limits if limit.name == "shortest gap"), Fraction(0))
    counts = [n for n in entry.get("doses_a_day", range(1, entry.get("max_doses", 0) + 1)) if n * gap <= _DAY]
    found = [({"times_a_day": str(n)}, n) for n in counts]
    hours = Fraction(gap, _HOUR)
    if gap >= _HOUR and hours.denominator == 1 and (not counts or ceil(_DAY / gap) in counts):
        found.append(({"every": f"{hours} hours"}, ceil(_DAY / gap)))
    return found or [({"once": "yes"}, 1)]


def _products(medicine: Medicine, regimen: Regimen) -> Iterator[Product]:
    for product in medicine.products:
        strength = product.strengths.get(regimen.ingredient)
        listed = not regimen.products or product.id in regimen.products
        suits = listed and regimen.route in product.routes and product.release == regimen.release
        if suits and strength is not None and (regimen.kind in COUNTED or strength.kind.split("/")[0] == regimen.kind):
            yield product


def _facts(formulary: Formulary, medicine: Medicine, regimen: Regimen, drawn: Drawn, doses: int) -> dict[str, Ratio] | None:
    """None where the weight that the regimen goes by cannot be reckoned."""
    order = Order(medicine=medicine.id, route=regimen.route)
    dosing = dosing_of(case_of(order, drawn.child, body_of(drawn.child), formulary, medicine), regimen)
    return dosing.sure and {**dosing.case.facts, "doses": ratio(doses), "average": ratio(doses)}


def span_of(regimen: Regimen, facts: dict[str, Ratio]) -> tuple[Fraction, Fraction] | None:
    """The least and the most of one dose, in base units (a second, for an infusion)."""
    if regimen.span.continuous:
        return _by_time(regimen, facts)
    bounds = [most_for_one_dose(limit, facts) for limit in regimen.limits if not limit.beyond]
    known = [bound for bound in bounds if bound is not None]
    if not known:
        return None
    high = min(known)
    lows = {limit.name: allowed(limit.main, facts) for limit in regimen.limits if limit.main.sense == AT_LEAST}
    low, floor = lows.get("low end") or high / 2, lows.get("smallest dose") or Fraction(0)
    return max(min(low, high * (_NEARLY if regimen.span.single_figure else 1)), floor), high


def _by_time(regimen: Regimen, facts: dict[str, Ratio]) -> tuple[Fraction, Fraction] | None:
    high, low = regimen.span.high, regimen.span.low
    if high is None:
        return None
    times = Fraction(*facts["weight"]) if "weight" in high.kind else 1
    return (low.value if low and low != high else high.value * _NEARLY) * times, high.value * times


def _over(regimen: Regimen, written: Written, drawn: Drawn) -> dict[str, str]:
    """How long it is given over, where the regimen asks for that: as fast as it allows, to the next whole minute."""
    if "rate" not in regimen.required:
        return {}
    dose, least = written.number * written.each, Fraction(60)
    for limit in regimen.limits:
        least = max(least, _seconds(limit, dose, drawn))
    return {"over": f"{ceil(least / 60)} minutes"}


def _seconds(limit: Limit, dose: Fraction, drawn: Drawn) -> Fraction:
    main = limit.main
    if main.measure == "duration":
        return Fraction(main.p, main.q)
    if main.measure not in ("rate", "rate/weight") or limit.beyond or main.sense == AT_LEAST:
        return Fraction(0)
    by = drawn.weight_kg * factor("kg", "weight") if main.measure == "rate/weight" else 1
    return dose / (Fraction(main.p, main.q) * by)


def _trap(medicine: Medicine, regimen: Regimen, drawn: Drawn, written: Written, facts: dict[str, Any]) -> str:
    """What would make a careful reader look twice at this right order."""
    if regimen.step == "repeat" and _above_first(medicine, regimen):
        return "a repeat larger than the first dose"
    dose = written.number * written.each
    graded = [limit for limit in regimen.limits if limit.name == "dose" and limit.main.measure == "dose/weight" and not limit.beyond]
    bounds = [allowed(limit.main, facts) for limit in graded]
    if any(bound is not None and dose > bound for bound in bounds):
        return "a smallest dose in a light child"
    if any(bound is not None and dose < bound * Fraction(3, 4) for bound in bounds) and regimen.span.single_figure:
        return "a maximum that binds in a heavy child"
    if written.kind == "puff" and written.number > 1 and written.number % 2:
        return "an odd number of puffs"
    by_age = not any("weight" in limit.main.measure for limit in regimen.limits)
    return "a fixed dose in a light child" if by_age and drawn.z <= -1 and not regimen.span.continuous else ""


def _above_first(medicine: Medicine, regimen: Regimen) -> bool:
    firsts = [r.span.high for r in medicine.regimens if r.step == "first" and r.route == regimen.route and r.span.high]
    mine = regimen.span.high
    return mine is not None and any(first.kind == mine.kind and first < mine for first in firsts)
