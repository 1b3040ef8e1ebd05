"""A counter-example as an order that a person can run, and what the check says of it."""

from __future__ import annotations

import shlex
from fractions import Fraction
from typing import NamedTuple

from dosecheck.body.believable import GRAM, sure_limits
from dosecheck.errors import InputError
from dosecheck.formulary.cells import Band, days_to_complete
from dosecheck.formulary.load import Formulary
from dosecheck.formulary.medicine import Medicine, Regimen
from dosecheck.quantity import Quantity
from dosecheck.records import QUERY, STOP, Child, Order
from dosecheck.rules.check import check_order
from dosecheck.showing import show_number

_TERM = 280  # days: 40 weeks
_LAST_MONTH = 216


class Example(NamedTuple):
    """`command` to paste; `outcome` and `codes` of what the engine finds."""

    command: str
    outcome: str
    codes: tuple[str, ...]

    @property
    def confirms(self) -> bool:
        """The engine finds the dose itself too large or too small."""
        return self.outcome in (QUERY, STOP) and any(code.startswith(("dose-", "day-")) for code in self.codes)


def example_of(formulary: Formulary, medicine: Medicine, regimen: Regimen, weight: Fraction, dose: Fraction, doses: int) -> Example | None:
    """None where an order cannot say it: bands of kidney function, or a number that does not end within six decimals."""
    child = _child(formulary, regimen, weight)
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
    return Example(shlex.join(["dosecheck", "order", "--formulary", formulary.folder, *words]), *_found(formulary, fields, conditions))


def _found(formulary: Formulary, fields: dict[str, str], conditions: list[str]) -> tuple[str, tuple[str, ...]]:
    of_child = ("weight", "age", "gestation", "on")
    texts = {
        name.replace("-", "_").replace("for", "for_") if name == "for" else name.replace("-", "_"): text for name, text in fields.items()
    }
    try:
        order = Order(**{name: text for name, text in texts.items() if name not in of_child}, condition=";".join(conditions) or None)
        verdict = check_order(order, Child(**{name: text for name, text in texts.items() if name in of_child}), formulary)
    except InputError:
        return "unreadable", ()
    return verdict.outcome, tuple(finding.code for finding in verdict.findings if finding.outcome)


def _child(formulary: Formulary, regimen: Regimen, weight: Fraction) -> dict[str, str] | None:
    kilograms = _plain(Quantity(weight, "weight", "kg"))
    age, unit, gestation = _usual_age(formulary, regimen, weight), "months", None
    for band in regimen.bands:
        edge = band.low if band.low is not None else max((band.high or 1) - 1, 0)
        if band.fact in ("months", "days", "corrected months", "corrected days"):
            unit = band.fact.rpartition(" ")[2]
            gestation = _TERM if "corrected" in band.fact else gestation
            age = age if band.fact == "months" and age else edge
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


def _usual_age(formulary: Formulary, regimen: Regimen, weight: Fraction) -> int:
    """Completed months at which the weight is believed, inside the regimen's months; 0 where there are none."""
    band = next((band for band in regimen.bands if band.fact == "months"), Band("months", None, None))
    for months in range(max(band.low or 0, 3), min(band.high or _LAST_MONTH, _LAST_MONTH)):
        days = (days_to_complete(months)[0], days_to_complete(months + 1)[0] - 1)
        limits = sure_limits(formulary.z_bands, formulary.growth_reference, days)
        if limits and (limits.low or 0) * GRAM <= weight <= (limits.high or 10**9) * GRAM:
            return months
    return max(band.low or 0, 0)


def _plain(quantity: Quantity, down: bool = False) -> str | None:
    """The amount with at most six decimals; rounded down where that is allowed, None where it would not be exact."""
    number = quantity.number
    if down:
        number = Fraction(int(number * 10**6), 10**6)
    return f"{show_number(number).replace(',', '')} {quantity.unit}" if number and 10**6 % number.denominator == 0 else None
