"""The slips of a dose question: what the check knows of its situation, and what only a learner does."""

from __future__ import annotations

import re
from collections.abc import Iterator
from fractions import Fraction

from dosecheck.body.surface import rounded_root
from dosecheck.drill.links import Figures, Links, strength_of
from dosecheck.drill.question import Trap
from dosecheck.drill.traps import (
    divided_twice,
    known_traps,
    maximum_traps,
    pounds_turned,
    power_traps,
    strength_traps,
    weight_divided,
)
from dosecheck.formulary.medicine import Medicine
from dosecheck.quantity import UNITS, Quantity, counted_unit
from dosecheck.reading import Dose, read_volume
from dosecheck.records import Child
from dosecheck.rules.facts import surface_squared
from dosecheck.rules.slips import Situation

KG_PER_LB = Fraction(UNITS["weight"]["lb"], UNITS["weight"]["kg"])


def link_traps(figures: Figures, dose: Dose, medicine: Medicine, child: Child, links: Links) -> Iterator[Trap]:
    yield from power_traps()
    by_weight = "weight" in dose.kind
    in_pounds = child.weight is not None and child.weight.unit == "lb"
    yield from (
        trap for trap in known_traps(_situation(figures, dose, medicine, child), figures.doses_a_day) if trap.slip != "pounds" or in_pounds
    )
    if by_weight:
        yield weight_divided(child.weight.to("kg").number)
    if child.height:
        area = rounded_root(surface_squared(child)) / UNITS["surface"]["m2"]
        yield Trap("per-m2-as-dose", "that is the figure for 1 m2: multiply it by the surface", 1 / area)
        yield Trap("weight-for-surface", "you multiplied by the weight instead of the surface", child.weight.to("kg").number / area)
    if in_pounds:
        yield from pounds_turned(KG_PER_LB)
    if figures.doses_a_day > 1:
        yield divided_twice(figures.doses_a_day)
    if links.most:
        yield from maximum_traps(links.free, links.most, links.maximum)
    if figures.ask == "product":
        yield from strength_traps(links.amount, *_held(figures, strength_of(medicine)))


def _held(figures: Figures, strength: Quantity) -> tuple[Quantity, Quantity]:
    """(120 mg, 5 mL) of "120 mg in 5 mL"; else what 1 mL or one tablet holds."""
    told = re.fullmatch(r"(.*[a-z]) in (.+)", figures.strength)
    below = read_volume(told[2]) if told else Quantity(UNITS["volume"]["mL"] if strength.kind.endswith("volume") else 1, *_below(strength))
    return strength * below, below


def _below(strength: Quantity) -> tuple[str, str]:
    kind = strength.kind.split("/")[1]
    return kind, "mL" if kind == "volume" else counted_unit(kind)


def _situation(figures: Figures, dose: Dose, medicine: Medicine, child: Child) -> Situation:
    product = medicine.products[0] if medicine.products and figures.ask == "product" else None
    return Situation(
        weight_kg=child.weight.to("kg").number if child.weight else None,
        age_years=child.age.years if child.age else None,
        doses=Fraction(figures.doses_a_day) if dose.per == "day" else None,
        regimen=medicine.regimens[0],
        medicine=medicine,
        product=product,
        ordered_in=product.below if product else "mass",
        per_kg_written=False,
        continuous=False,
    )
