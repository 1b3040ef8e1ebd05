"""pint quantities are welcome at the Python front door, if they are exact; they go through the same strict reading."""

from __future__ import annotations

from decimal import Decimal
from fractions import Fraction

import pint
import pytest

from dosecheck import Child, InputError, Order

UREG = pint.UnitRegistry(non_int_type=Decimal)


@pytest.mark.parametrize(
    "quantity, text",
    [
        (UREG.Quantity("14.2 kg"), "14.2 kg"), (UREG.Quantity("9500 g"), "9500 g"), (UREG.Quantity("31 lb"), "31 lb"),
        (UREG.Quantity(Fraction(57, 4), "kg"), "14.25 kg"), (UREG.Quantity(12, "kg"), "12 kg"),
    ],
)  # fmt: skip
def test_weights(quantity: pint.Quantity, text: str) -> None:
    assert Child(weight=quantity).weight == Child(weight=text).weight


@pytest.mark.parametrize(
    "text, same", [("240 mg", "240 mg"), ("15 mg/kg", "15 mg/kg"), ("2.5 ml", "2.5 mL"), ("5 microgram/kg/minute", "5 micrograms/kg/min")]
)
def test_doses(text: str, same: str) -> None:
    assert Order(dose=UREG.Quantity(text)).dose == Order(dose=same).dose


@pytest.mark.parametrize(
    "quantity", [pint.UnitRegistry().Quantity("14.2 kg"), UREG.Quantity(Fraction(1, 3), "kg"), UREG.Quantity("3 m"), UREG.Quantity("-3 kg")]
)
def test_inexact_or_unfit_quantities_are_refused(quantity: pint.Quantity) -> None:
    with pytest.raises(InputError):
        Child(weight=quantity)
