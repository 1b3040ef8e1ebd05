"""The regimens an order could mean, before the child is looked at: one shelf for each way of asking.

An order names medicine, route, purpose, step, conditions and product; whatever it leaves out, all regimens that
differ by it stay on the shelf.  Bands are in `cells.py`; both engines take shelves from here, so they cannot choose
differently.
"""

from __future__ import annotations

from datetime import date
from typing import Any, NamedTuple

from dosecheck.formulary.cells import AGE_FACTS
from dosecheck.formulary.medicine import AgeLimit, Medicine, Product, Regimen


class Asked(NamedTuple):
    """What an order asks for.  `version` says which regimens were in force: the date's place among their dates.

    `infusion` tells an order per minute or per hour from one in single doses; None where there is no dose yet.
    """

    route: str | None
    purpose: str | None
    step: str | None
    conditions: tuple[str, ...]
    product: str | None
    version: int
    infusion: bool | None = None


class Shelf(NamedTuple):
    """`regimens` by ingredient id; `problems` as (code, data): where there is one, nothing on the shelf can pass."""

    regimens: dict[str, tuple[Regimen, ...]]
    age_limits: tuple[AgeLimit, ...]
    problems: tuple[tuple[str, dict[str, Any]], ...]
    edges: dict[str, set[int]]


def version_of(medicine: Medicine, on: date | None) -> int:
    """How many of the regimens' dates have come by `on`; no date means all of them."""
    dates = sorted({r.valid_from for r in medicine.regimens})
    return len(dates) if on is None else sum(day <= on for day in dates)


def build(medicine: Medicine, asked: Asked) -> Shelf:
    """The shelf for one way of asking.  Problems are found in the order in which a user would mend them."""
    product = medicine.product(asked.product) if asked.product else None
    problems: list[tuple[str, dict[str, Any]]] = []
    found = _in_force(medicine, asked.version)
    if not medicine.regimens:
        problems.append(("no-figures", {"medicine": medicine.id}))
    elif not found:
        problems.append(("none-in-force", {"first": min(r.valid_from for r in medicine.regimens)}))
    if asked.product and product is None:
        problems.append(("product-unknown", {"name": asked.product, "has": [p.id for p in medicine.products]}))
    if product and asked.route and asked.route not in product.routes:
        problems.append(("route-not-for-product", {"product": product.name, "route": asked.route}))
    problems += _unknown_conditions(medicine, asked.conditions)
    for test, code, name, has in (
        (lambda r: r.route == asked.route, "route", asked.route, lambda r: [r.route]),
        (lambda r: not asked.purpose or asked.purpose in r.purposes, "purpose", asked.purpose, lambda r: r.purposes),
        (lambda r: not asked.step or r.step in (None, asked.step), "step", asked.step, lambda r: [r.step or "no step"]),
    ):
        left = [r for r in found if test(r)]
        if not left and found:
            choices = sorted({word for r in found for word in has(r)})
            problems.append((f"{code}-missing" if not name else f"{code}-unknown", {"name": name, "has": choices}))
            found = []
            break
        found = left
    if found and not asked.step and all(r.step in ("repeat", "maintenance") for r in found):
        problems.append(("step-missing", {"has": sorted({r.step for r in found})}))
    under = _by_conditions(found, asked.conditions)
    if found and not under:
        problems.append(("condition-missing", {"has": sorted({c for r in found for c in r.conditions})}))
    fitting = _by_product(under, product)
    if under and product and not fitting:
        problems.append(("product-not-in-regimen", {"product": product.name}))
    of_kind = [r for r in fitting if asked.infusion in (None, r.span.continuous)]
    if fitting and not of_kind:
        words = ("a single dose", "an infusion, per time")
        problems.append(("kind-differs", {"kind": words[asked.infusion], "other": words[not asked.infusion]}))
    fitting = of_kind
    limits = tuple(a for a in medicine.age_limits if _applies(a, asked))
    return Shelf(_by_ingredient(medicine, fitting, product), limits, tuple(problems), _edges(fitting, limits))


def _in_force(medicine: Medicine, version: int) -> list[Regimen]:
    dates = sorted({r.valid_from for r in medicine.regimens})[:version]
    newest: dict[str, date] = {}
    for regimen in medicine.regimens:
        if regimen.valid_from in dates:
            newest[regimen.base_id] = max(newest.get(regimen.base_id, regimen.valid_from), regimen.valid_from)
    return [r for r in medicine.regimens if newest.get(r.base_id) == r.valid_from]


def _unknown_conditions(medicine: Medicine, stated: tuple[str, ...]) -> list[tuple[str, dict[str, Any]]]:
    known = {c for r in medicine.regimens for c in r.conditions} | {a.condition for a in medicine.age_limits if a.condition}
    return [("condition-unknown", {"name": name, "has": sorted(known)}) for name in stated if name not in known]


def _by_conditions(regimens: list[Regimen], stated: tuple[str, ...]) -> list[Regimen]:
    """Those whose conditions are all stated; one with more of the stated conditions displaces one with fewer."""
    fitting = [r for r in regimens if r.conditions <= set(stated)]
    return [r for r in fitting if not any(r.conditions < other.conditions and set(r.purposes) & set(other.purposes) for other in fitting)]


def _by_product(regimens: list[Regimen], product: Product | None) -> list[Regimen]:
    if product is None:
        return regimens
    return [r for r in regimens if (not r.products or product.id in r.products) and r.release == product.release]


def _by_ingredient(medicine: Medicine, fitting: list[Regimen], product: Product | None) -> dict[str, tuple[Regimen, ...]]:
    """Regimens of each ingredient in the product (or in the medicine); one that all the others cover has none of its own."""
    inside = [i.id for i in medicine.ingredients if product is None or i.id in product.strengths]
    covered = set.intersection(*(set(r.covers) for r in fitting)) if product and fitting else set()
    shelves = {name: tuple(r for r in fitting if r.ingredient == name) for name in inside}
    return {name: regimens for name, regimens in shelves.items() if regimens or name not in covered}


def _applies(limit: AgeLimit, asked: Asked) -> bool:
    return (
        (not limit.condition or limit.condition in asked.conditions)
        and (not limit.routes or asked.route in limit.routes)
        and (not limit.purposes or asked.purpose is None or asked.purpose in limit.purposes)
    )


def _edges(regimens: list[Regimen], limits: tuple[AgeLimit, ...]) -> dict[str, set[int]]:
    """Every age at which something changes, by fact."""
    edges: dict[str, set[int]] = {fact: set() for fact in AGE_FACTS}
    for regimen in regimens:
        for band in regimen.bands:
            if band.fact in edges:
                edges[band.fact] |= {end for end in (band.low, band.high) if end is not None}
    for limit in limits:
        for comparison in limit.limit.comparisons:
            if comparison.measure in edges:
                edges[comparison.measure].add(comparison.p)
    return {fact: cuts for fact, cuts in edges.items() if cuts}
