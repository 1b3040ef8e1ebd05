"""Is the weight that a sum was given hard to believe: at any age, or at the age that was told?

The z-limits are those of the shipped policy, over both sexes; a site's own policy counts for orders, not here.
"""

from __future__ import annotations

from decimal import Decimal

from dosecheck.body.age import Age, say_age
from dosecheck.body.believable import GRAM, weight_limits
from dosecheck.body.growth import SEXES
from dosecheck.formulary.weight_z import ZBand, first_day
from dosecheck.quantity import UNITS, Quantity
from dosecheck.reading import read_weight
from dosecheck.showing import show, show_weight
from dosecheck.sums.frame import rounded

BANDS = tuple(
    ZBand(first_day(age), Decimal(low), Decimal(high))
    for age, low, high in (("0 months", "-4", "4"), ("5 years", "-3.5", "4"), ("8 years", "-3.5", "3.5"), ("10 years", "-3.5", "2.5"))
)
REFERENCE = "who"
_LEAST, _MOST = read_weight("0.5 kg"), read_weight("120 kg")  # our own lines, where no age is told
_TENTH = read_weight("0.1 kg")
_POUND = UNITS["weight"]["lb"]


def weight_doubt(weight: Quantity, age: Age | None) -> str:
    """Why the weight is hard to believe; "" where it is not."""
    low, high = _limits(age)
    if low <= weight <= high:
        return ""
    at = f" at {say_age(age)}" if age else ""
    pounds = Quantity(weight.value * _POUND / UNITS["weight"]["kg"], "weight", "kg")
    hint = f" If it is in pounds, it is {show(pounds)}." if weight.unit == "kg" and low <= pounds <= high and weight > high else ""
    return (
        f"{show_weight(weight)} is hard to believe{at} ({_about(low)} to {_about(high)} would not be asked about): weigh again, and look at "
        f"the unit{' and the age' if age else ''}.{hint}"
    )


def _about(limit: Quantity) -> str:
    """To 0.1 kg, for the eye alone: the weight is compared with the limit itself."""
    return show(rounded(limit, _TENTH))


def _limits(age: Age | None) -> tuple[Quantity, Quantity]:
    """What is believed: by the growth reference where it reaches, else our own lines."""
    found = weight_limits(BANDS, REFERENCE, SEXES, (age.days_lo, age.days_hi)) if age else None
    ends = (found.low, found.high) if found else (None, None)
    return tuple(own if grams is None else Quantity(grams * GRAM, "weight", "kg") for grams, own in zip(ends, (_LEAST, _MOST), strict=True))
