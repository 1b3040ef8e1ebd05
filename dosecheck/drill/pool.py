"""What a formulary offers the drill: plain regimens with their products, and children drawn from the growth reference.

Plain: one ingredient, no condition, no step, single doses, bands of age and weight alone.  Children are from 1 month
on, within about one and a half standard deviations of the median, and carry invented ids.
"""

from __future__ import annotations

from collections.abc import Iterator
from decimal import Decimal
from fractions import Fraction
from functools import cached_property
from typing import NamedTuple

from dosecheck.body.growth import lms_at
from dosecheck.body.lms import value_at
from dosecheck.drill.dice import Dice
from dosecheck.drill.question import CannotFill
from dosecheck.formulary.load import Formulary
from dosecheck.formulary.medicine import Medicine, Product, Regimen
from dosecheck.quantity import UNITS, Quantity
from dosecheck.reading import read_volume
from dosecheck.records import Child, Order
from dosecheck.rules.amounts import Amount
from dosecheck.rules.reckon import Figures, reckon
from dosecheck.rules.supply import odd_amounts
from dosecheck.showing import show_as_asked, show_number

TRIES = 3000
_PLAIN_FACTS = {"months", "days", "weight"}
_Z = tuple(map(Decimal, ("-1.5", "-1", "-0.5", "0", "0", "0.5", "1", "1.5")))
_LAST_MONTH = 215  # before the 18th birthday
_SURE_MONTH = 3  # below it an untold gestation is a query
_POURED = read_volume("25 mL")  # for one dose; more would be possible, and is seldom given
_KG = UNITS["weight"]["kg"]


class Offer(NamedTuple):
    """A regimen of a medicine, with one product that suits it, or none."""

    medicine: Medicine
    regimen: Regimen
    product: Product | None = None


class DrawnChild(NamedTuple):
    """A child as a question tells it."""

    id: str
    sex: str
    age: str
    weight: str
    height: str


class Pool:
    """Everything of one formulary that questions are made from."""

    def __init__(self, formulary: Formulary) -> None:
        self.formulary = formulary

    @cached_property
    def plain(self) -> tuple[Offer, ...]:
        """Every plain regimen, in the formulary's order."""
        return tuple(Offer(m, r) for m in self.formulary.medicines() for r in _newest(m) if _is_plain(m, r))

    @cached_property
    def by_weight(self) -> tuple[Offer, ...]:
        """Plain regimens with a dose per kg for each dose."""
        return tuple(o for o in self.plain if o.regimen.per == "dose" and by_kg(o.regimen))

    @cached_property
    def infusions(self) -> tuple[Offer, ...]:
        """Infusions by weight and time with a low and a high end, each once for each product of its route by volume."""
        found = (Offer(m, r) for m in self.formulary.medicines() for r in _newest(m) if _is_infusion(m, r))
        return self.with_products(tuple(found), ("volume",))

    def with_products(self, offers: tuple[Offer, ...], forms: tuple[str, ...]) -> tuple[Offer, ...]:
        """Each offer once for each product of the regimen's route whose strength is in one of `forms` ("volume", "tablet")."""
        return tuple(o._replace(product=p) for o in offers for p in products_of(o) if p.below in forms)

    def figures(self, offer: Offer, child: DrawnChild, doses: int | None = None) -> Figures | None:
        """What the engine says of this regimen for this child; None where it does not fit, or something stands in the way."""
        regimen = offer.regimen
        order = Order(medicine=offer.medicine.id, route=regimen.route, for_=regimen.purposes[0], times_a_day=doses)
        found = reckon(order, Child(weight=child.weight, age=child.age), self.formulary)
        if any(f.outcome == "not-checked" for f in found.findings):
            return None
        return next((f for f in found.figures if f.regimen.id == regimen.id), None)


def by_kg(regimen: Regimen) -> bool:
    return regimen.span.high is not None and "weight" in regimen.span.high.kind


def products_of(offer: Offer) -> Iterator[Product]:
    regimen = offer.regimen
    for product in offer.medicine.products:
        strength = product.strengths.get(regimen.ingredient)
        suits = regimen.route in product.routes and product.release == regimen.release
        if suits and strength is not None and strength.kind.split("/")[0] == regimen.kind:
            yield product


def draw_child(dice: Dice, regimen: Regimen | None, whole_kg: bool) -> DrawnChild | None:
    """A child inside the regimen's bands, or None where this draw misses them; of any age where there is no regimen."""
    months = dice.whole(*_months(regimen))
    if months >= 24:
        months -= months % 12
    sex = dice.pick(("female", "male"))
    middle = months * 30 + (180 if months >= 24 else 15)
    z = dice.pick(_Z)
    value, height = (_at(sex, middle, measure, by) for measure, by in (("weight", z), ("height", z / 2)))
    if value is None or height is None:
        return None
    step = Fraction(1) if whole_kg else Fraction(1, 10) if value < 20 else Fraction(1, 2)
    weight = round(Fraction(value) / step) * step
    age = f"{months // 12} years" if months >= 24 else f"{months} month{'s' * (months != 1)}"
    child = DrawnChild(f"SM-{dice.whole(1, 999):03d}", sex, age, f"{show_number(weight)} kg", f"{round(height)} cm")
    return child if regimen is None or _inside(regimen, months, weight) else None


def _at(sex: str, day: int, measure: str, z: Decimal) -> Decimal | None:
    lms = lms_at("who", sex, day, measure)
    return lms and value_at(z, lms)


def _months(regimen: Regimen | None) -> tuple[int, int]:
    """The whole months that the regimen's band of age has, from 3 months on where it goes so far, else from 1."""
    least, most = 1, _LAST_MONTH
    for band in regimen.bands if regimen else ():
        if band.fact == "months":
            least, most = max(least, band.low or 0), min(most, (band.high or 999) - 1)
    return (max(least, _SURE_MONTH) if most >= _SURE_MONTH else least), max(least, most)


def _inside(regimen: Regimen, months: int, weight: Fraction) -> bool:
    last = months + 11 if months >= 24 else months
    at = {"months": (months, last), "days": (months * 31, last * 31 + 30), "weight": (weight * _KG, weight * _KG)}
    return weight > 0 and all(band.holds(at[band.fact]) for band in regimen.bands)


def _newest(medicine: Medicine) -> Iterator[Regimen]:
    """Of each id the version in force when no date is told."""
    for regimen in medicine.regimens:
        if not any(other.id == regimen.id and other.valid_from > regimen.valid_from for other in medicine.regimens):
            yield regimen


def _is_plain(medicine: Medicine, regimen: Regimen) -> bool:
    return (
        len(medicine.ingredients) == 1
        and not medicine.basis_stated
        and not regimen.conditions
        and not regimen.step
        and not regimen.products
        and regimen.release == "immediate"
        and regimen.goes_by in ("", "actual")
        and not regimen.span.continuous
        and "surface" not in (regimen.span.high or regimen.span.low).kind
        and {band.fact for band in regimen.bands} <= _PLAIN_FACTS
    )


def nothing(kind: str, needs: str) -> CannotFill:
    return CannotFill(f'This formulary has nothing to make a question of the kind "{kind}" from: it needs {needs}.')


def _is_infusion(medicine: Medicine, regimen: Regimen) -> bool:
    return (
        len(medicine.ingredients) == 1
        and regimen.span.continuous
        and by_kg(regimen)
        and regimen.span.low is not None
        and not regimen.conditions
        and {band.fact for band in regimen.bands} <= _PLAIN_FACTS
    )


def said_of(pool: Pool, offer: Offer, child: DrawnChild) -> dict[str, str]:
    """The medicine, the child and the source as every dose question tells them."""
    return {
        "medicine": name_of(offer.medicine),
        "route": offer.regimen.route,
        "child": child.id,
        "age": child.age,
        "ceiling": not offer.regimen.span.single_figure,
        "source": pool.formulary.source(offer.regimen.source),
    }


def name_of(medicine: Medicine) -> str:
    """As it is said: "calcium chloride", not the id that joins its words."""
    spaced = medicine.id.replace("-", " ")
    return spaced if spaced in medicine.names else medicine.id


def neat(answer: Quantity) -> bool:
    """At most two decimals and four figures, in the unit in which it is asked."""
    number = answer.number
    return (number * 100).denominator == 1 and Fraction(1, 10) <= number < 10_000


def to_hand(offer: Offer, share: Quantity) -> bool:
    """A volume or a number of tablets that the product's steps or parts make exactly, and that a hand would give."""
    amount = offer.product.strengths[offer.regimen.ingredient] * share
    exact = not odd_amounts(offer.product, offer.regimen, Amount(amount, amount, ()))
    return exact and neat(share) and (share.kind != "volume" or share <= _POURED)


def plain_text(quantity: Quantity) -> str:
    """As an order would write it, without marks of thousands."""
    return show_as_asked(quantity).replace(",", "")
