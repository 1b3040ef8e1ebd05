"""Doses that none of the products can measure, at the lightest or the heaviest child of a regimen."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date
from fractions import Fraction

from dosecheck.formulary.load import Formulary
from dosecheck.formulary.medicine import Medicine, Product, Regimen
from dosecheck.quantity import COUNTED, Quantity
from dosecheck.rules.explain import lacks_weight
from dosecheck.rules.supply import measurable
from dosecheck.showing import show
from dosecheck.workshop.advice.children import counts_of, facts_at, in_force, weights_of
from dosecheck.workshop.advice.line import Advice, Places


def measured_advice(medicine: Medicine, formulary: Formulary, places: Places, on: date) -> Iterator[Advice]:
    for regimen in in_force(medicine, on):
        products = [p for p in medicine.products if _serves(p, regimen)]
        weights = weights_of(regimen, formulary)
        if regimen.span.continuous or not products or weights is None or lacks_weight(regimen, facts_at(weights.least)):
            continue
        for weight, which in ((weights.least, "lightest"), (weights.most, "heaviest")):
            if not any(_measures(product, regimen, weight) for product in products):
                child = show(Quantity(weight, "weight", "kg"))
                names = " or ".join(product.id for product in products)
                why = f"For the {which} child, {child}, no dose in its range can be measured with {names}."
                yield places.of("not-measurable-here", medicine, regimen, why)


def _serves(product: Product, regimen: Regimen) -> bool:
    """Given by this route, and with a strength in the regimen's own kind of amount: from millimoles no volume is reckoned."""
    strength = product.strengths.get(regimen.ingredient)
    return (
        regimen.route in product.routes
        and product.release == regimen.release
        and (not regimen.products or product.id in regimen.products)
        and strength is not None
        and (regimen.kind in COUNTED or strength.kind.split("/")[0] == regimen.kind)
    )


def _measures(product: Product, regimen: Regimen, weight: Fraction) -> bool:
    """At any number of doses a day that the regimen names; what is proposed has passed the low end too."""
    return any(measurable(product, regimen, facts_at(weight, doses)).amount is not None for doses in counts_of(regimen) or [None])
