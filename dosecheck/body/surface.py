"""Body surface area by published formulae, each under its name.

Mosteller's is the one that checks go by; it is compared by squares, so it stays exact there.  The others have powers
that are no fractions: they are reckoned once with Decimal to 20 figures, rounded to 0.0001 m2, and exact from there on.
They are shown beside it and never decide anything.

Where the equations were read: encyclopaedia article on body surface area (bionity.com), except Livingston and Lee's own
abstract for the one by weight alone.
"""

from __future__ import annotations

from collections.abc import Callable
from decimal import ROUND_HALF_UP, Context, Decimal, localcontext
from fractions import Fraction
from math import isqrt
from typing import NamedTuple

from dosecheck.quantity import Quantity

FIGURES = Context(prec=20)
STEP = 10**4  # an area is rounded to 0.0001 m2
ROUNDED = "rounded to 0.0001 m2"
_UNIT = 10**6 // STEP  # that step in mm2, the base unit


def mosteller_squared(height: Quantity, weight: Quantity) -> Fraction:
    """Mosteller's area, squared, in mm4: height in cm x weight in kg / 3600, in m4.  Exact."""
    return height.value * weight.value / 36_000_000


def rounded_root(squared: Fraction) -> Fraction:
    """The area in mm2 of its square, rounded to 0.0001 m2 (a half goes up)."""
    return Fraction((isqrt(int(4 * squared / _UNIT**2)) + 1) // 2 * _UNIT)


class Formula(NamedTuple):
    """`area`: m2 from cm and kg, unrounded; `said`: how it is reckoned; `by_height`: false where the weight alone counts."""

    name: str
    said: str
    source: str
    area: Callable[[Decimal, Decimal], Decimal]
    by_height: bool = True


def _mosteller(height: Decimal, weight: Decimal) -> Decimal:
    return (height * weight / 3600).sqrt()


def _haycock(height: Decimal, weight: Decimal) -> Decimal:
    return Decimal("0.024265") * weight ** Decimal("0.5378") * height ** Decimal("0.3964")


def _du_bois(height: Decimal, weight: Decimal) -> Decimal:
    return Decimal("0.007184") * weight ** Decimal("0.425") * height ** Decimal("0.725")


def _gehan_george(height: Decimal, weight: Decimal) -> Decimal:
    return Decimal("0.0235") * height ** Decimal("0.42246") * weight ** Decimal("0.51456")


def _boyd(height: Decimal, weight: Decimal) -> Decimal:
    grams = weight * 1000
    return Decimal("0.0003207") * height ** Decimal("0.3") * grams ** (Decimal("0.7285") - Decimal("0.0188") * grams.log10())


def _weight_only(height: Decimal, weight: Decimal) -> Decimal:
    if weight < 10:
        return Decimal("0.1037") * weight ** Decimal("0.6724")
    return Decimal("0.1173") * weight ** Decimal("0.6466")


FORMULAE = (
    Formula(
        "Mosteller",
        "square root of (height in cm x weight in kg / 3600)",
        "Mosteller RD, N Engl J Med 1987;317:1098",
        _mosteller,
    ),
    Formula(
        "Haycock",
        "0.024265 x weight in kg to the power 0.5378 x height in cm to the power 0.3964",
        "Haycock GB, Schwartz GJ, Wisotsky DH, J Pediatr 1978;93:62-6",
        _haycock,
    ),
    Formula(
        "Du Bois",
        "0.007184 x weight in kg to the power 0.425 x height in cm to the power 0.725; found to read up to 20 % low in obesity",
        "Du Bois D, Du Bois EF, Arch Intern Med 1916;17:863-71; obesity: Livingston EH, Lee S, Am J Physiol Endocrinol Metab 2001",
        _du_bois,
    ),
    Formula(
        "Gehan and George",
        "0.0235 x height in cm to the power 0.42246 x weight in kg to the power 0.51456",
        "Gehan EA, George SL, Cancer Chemother Rep 1970;54:225-35",
        _gehan_george,
    ),
    Formula(
        "Boyd",
        "0.0003207 x height in cm to the power 0.3 x weight in g to the power (0.7285 - 0.0188 x its logarithm to base 10)",
        "Boyd E, The growth of the surface area of the human body, University of Minnesota Press 1935",
        _boyd,
    ),
    Formula(
        "by weight alone",
        "0.1173 x weight in kg to the power 0.6466; below 10 kg 0.1037 x weight in kg to the power 0.6724",
        "Livingston EH, Lee S, Am J Physiol Endocrinol Metab 2001 (abstract)",
        _weight_only,
        by_height=False,
    ),
)


def area_by(formula: Formula, height: Quantity | None, weight: Quantity) -> Quantity:
    """The area by one formula, rounded to 0.0001 m2.

    Args:
        height: may be None only where the formula goes by weight alone.
    """
    centimetres = _number(height.to("cm")) if height else Decimal(0)
    with localcontext(FIGURES):
        area = formula.area(centimetres, _number(weight.to("kg")))
        steps = int((area * STEP).to_integral_value(ROUND_HALF_UP))
    return Quantity(steps * _UNIT, "surface", "m2")


def _number(quantity: Quantity) -> Decimal:
    with localcontext(FIGURES):
        return Decimal(quantity.number.numerator) / quantity.number.denominator
