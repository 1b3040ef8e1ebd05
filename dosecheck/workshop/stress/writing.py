"""A dose as a prescriber might write it: rounded, as an amount, in another unit, per kg, or as a volume of a product.

It is rounded to what the product measures, or to two significant figures (three or four where two leave the range), and
always stays inside the range.
"""

from __future__ import annotations

from collections.abc import Iterator
from fractions import Fraction
from math import ceil, floor
from typing import NamedTuple

from dosecheck.formulary.medicine import Medicine, Product, Regimen
from dosecheck.quantity import COUNTED, UNITS, factor
from dosecheck.showing import show_unit
from dosecheck.workshop.stress.draw import Drawn, decimal

WAYS = ("amount", "amount", "amount", "other unit", "per kg", "volume", "volume")
_BIGGER = {"micrograms": "mg", "mg": "g", "nanograms": "micrograms"}
_SMALLER = {big: small for small, big in _BIGGER.items()}


class Written(NamedTuple):
    """A dose as written: `number` of `unit`, which is of `kind`; `tail` names the ingredient where that is needed.

    `each`: base units of the medicine in one of `unit`, for this child and product; `measured`: as the product measures it.
    """

    number: Fraction
    unit: str
    kind: str
    each: Fraction
    tail: str = ""
    measured: bool = False

    @property
    def text(self) -> str:
        return f"{decimal(self.number)} {show_unit(self.unit, self.number)}{self.tail}"


def written_dose(
    way: str,
    part: Fraction,
    ends: tuple[Fraction, Fraction],
    regimen: Regimen,
    medicine: Medicine,
    drawn: Drawn,
    product: Product | None,
) -> Written | None:
    """The wanted way where it can be done, else the plain amount."""
    tail = f" of {regimen.ingredient}" if medicine.basis_stated else ""
    wanted = part * (ends[1] - ends[0]) + ends[0]
    for unit, kind, each, step in _forms(way, wanted, regimen, drawn, product):
        number = _rounded(wanted / each, ends[0] / each, ends[1] / each, step)
        if number:
            return Written(number, unit, kind, each, "" if kind in ("volume", *COUNTED) else tail, kind == "volume" or step is not None)
    return None


def _forms(
    way: str, wanted: Fraction, regimen: Regimen, drawn: Drawn, product: Product | None
) -> Iterator[tuple[str, str, Fraction, Fraction | None]]:
    """(unit, kind, base units in one, step or None) in order of preference; the last is the regimen's own unit."""
    figure = regimen.span.high or regimen.span.low
    own, kind = figure.unit.split("/")[0], regimen.kind
    kg = drawn.weight_kg * factor("kg", "weight")
    if regimen.span.continuous:
        yield figure.unit, figure.kind, factor(figure.unit, figure.kind) * (kg if "weight" in figure.kind else 1), None
        return
    if kind in COUNTED:
        yield own, kind, Fraction(1), Fraction(1, product.divides if product else 1)
        return
    if product is not None:
        for unit, below, each, step in _of_product(regimen, product, wanted):
            if way == "volume":
                yield unit, below, each, step
            elif step:
                yield own, kind, factor(own, kind), step * each / factor(own, kind)
    if way == "per kg" and "weight" in figure.kind:
        yield f"{own}/kg", f"{kind}/weight", factor(f"{own}/kg", f"{kind}/weight") * kg, None
    if way == "other unit" and kind == "mass":
        other = _BIGGER.get(own) if wanted >= factor(own, kind) * 100 else _SMALLER.get(own)
        if other in UNITS[kind]:
            yield other, kind, factor(other, kind), None
    yield own, kind, factor(own, kind), None


def _of_product(regimen: Regimen, product: Product, wanted: Fraction) -> Iterator[tuple[str, str, Fraction, Fraction | None]]:
    """In what the product is measured: mL by its steps, or so many of a counted thing."""
    strength = product.strengths[regimen.ingredient]
    below = strength.kind.split("/")[1]
    unit = "mL" if below == "volume" else next(iter(UNITS[below]))
    each = strength.value * factor(unit, below)
    if below != "volume":
        yield unit, below, each, Fraction(1, product.divides)
        return
    fitting = [s.step for s in product.measure if s.up_to is None or wanted / strength.value <= s.up_to]
    yield unit, below, each, fitting[0] / factor(unit, below) if fitting else None


def _rounded(wanted: Fraction, low: Fraction, high: Fraction, step: Fraction | None) -> Fraction | None:
    """The nearest whole number of steps inside the range; or of significant figures, two if it may be, else up to four."""
    for each in [step] if step else [figure_step(wanted, figures) for figures in (2, 3, 4)]:
        near = sorted((side(wanted / each) * each for side in (floor, ceil)), key=lambda found: abs(found - wanted))
        inside = [found for found in near if found > 0 and low <= found <= high]
        if inside:
            return inside[0]
    return None


def figure_step(number: Fraction, figures: int) -> Fraction:
    """The size of the last of so many significant figures."""
    power = 0
    while number >= 10 ** (power + 1):
        power += 1
    while number < Fraction(10) ** power:
        power -= 1
    return Fraction(10) ** (power - figures + 1)
