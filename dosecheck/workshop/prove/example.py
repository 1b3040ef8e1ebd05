"""A counter-example as an order that a person can run, and what the check says of it."""

from __future__ import annotations

import shlex
from fractions import Fraction
from typing import NamedTuple

from dosecheck.errors import InputError
from dosecheck.formulary.load import Formulary
from dosecheck.formulary.medicine import Medicine, Regimen
from dosecheck.quantity import Quantity
from dosecheck.records import Child, Order
from dosecheck.rules.check import check_order
from dosecheck.showing import show_number

_TERM = 280  # days: 40 weeks


class Example(NamedTuple):
    """`command` to paste; `outcome` of the engine."""

    command: str
    outcome: str


def example_of(formulary: Formulary, medicine: Medicine, regimen: Regimen, weight: Fraction, dose: Fraction, doses: int) -> Example | None:
    """None where an order cannot say it: bands of kidney function, or a number that does not end within six decimals."""
    child = _child(regimen, weight)
    unit = (regimen.span.high or regimen.span.low).unit.split("/")[0]
    size = _plain(Quantity(dose, regimen.kind, unit), down=True)
    if child is None or size is None or regimen.span.continuous:
        return None
    fields = {"medicine": medicine.id, "route": regimen.route, "for": regimen.purposes[0], "dose": size, "times-a-day": str(doses), **child}
    fields |= {"step": regimen.step} if regimen.step else {}
    fields |= {"product": regimen.products[0]} if regimen.products else {}
    conditions = sorted(regimen.conditions)
    words = [word for name, text in fields.items() for word in (f"--{name}", text)]
    words += [word for text in conditions for word in ("--condition", text)]
    return Example(shlex.join(["dosecheck", "order", "--formulary", formulary.folder, *words]), _outcome(formulary, fields, conditions))


def _outcome(formulary: Formulary, fields: dict[str, str], conditions: list[str]) -> str:
    of_child = ("weight", "age", "gestation", "on")
    texts = {
        name.replace("-", "_").replace("for", "for_") if name == "for" else name.replace("-", "_"): text for name, text in fields.items()
    }
    try:
        order = Order(**{name: text for name, text in texts.items() if name not in of_child}, condition=";".join(conditions) or None)
        return check_order(order, Child(**{name: text for name, text in texts.items() if name in of_child}), formulary).outcome
    except InputError:
        return "unreadable"


def _child(regimen: Regimen, weight: Fraction) -> dict[str, str] | None:
    kilograms = _plain(Quantity(weight, "weight", "kg"))
    age, gestation = 0, None
    unit = "days"
    for band in regimen.bands:
        edge = band.low if band.low is not None else max((band.high or 1) - 1, 0)
        if band.fact in ("months", "days", "corrected months", "corrected days"):
            unit = band.fact.rpartition(" ")[2]
            age, gestation = edge, _TERM if "corrected" in band.fact else gestation
        elif band.fact == "gestation":
            gestation = edge
        elif band.fact == "postmenstrual days":
            gestation = min(edge, _TERM)
            age, unit = edge - gestation, "days"
        elif band.fact == "egfr":
            return None
    if kilograms is None:
        return None
    told = {"weight": kilograms, "age": f"{age} {unit}", "on": str(regimen.valid_from)}
    return told | ({"gestation": f"{gestation // 7} weeks {gestation % 7} days"} if gestation is not None else {})


def _plain(quantity: Quantity, down: bool = False) -> str | None:
    """The amount with at most six decimals; rounded down where that is allowed, None where it would not be exact."""
    number = quantity.number
    if down:
        number = Fraction(int(number * 10**6), 10**6)
    return f"{show_number(number).replace(',', '')} {quantity.unit}" if number and 10**6 % number.denominator == 0 else None
