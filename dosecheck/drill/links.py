"""The links of the commonest sum, each by the engine's own function: figures as text in, the answer with its working out.

The figures, whether drawn from the formulary or copied from a textbook, are compiled as one regimen and its products,
and go through the conversions and limits that an order would go through.
"""

from __future__ import annotations

import re
from dataclasses import replace
from datetime import date
from fractions import Fraction
from typing import Any, NamedTuple

from dosecheck.errors import Fault, InputError
from dosecheck.formulary.limits import Policy
from dosecheck.formulary.medicine import Medicine, compile_medicine
from dosecheck.quantity import Quantity
from dosecheck.reading import Dose
from dosecheck.records import Child, Order
from dosecheck.rules.amounts import Amount, Given, amount_of
from dosecheck.rules.explain import limit_step, most_for_one_dose
from dosecheck.rules.facts import common_facts, ratio
from dosecheck.rules.supply import share_of
from dosecheck.showing import show_as_asked, show_number, show_unit
from dosecheck.working import BY, Step

_LABELS = {"weight": "by weight", "surface": "by surface"}


class Figures(NamedTuple):
    """What the question tells, as text; empty where it does not.

    dose: "15 mg/kg", "40 mg/kg a day" or "213 mg"; strength: "120 mg in 5 mL"; others: other strengths on the shelf.
    ask: "amount", or "product" for mL or tablets; unit: what the answer is asked in; step: the stated rounding.
    """

    dose: str
    medicine: str = "a medicine"
    route: str = ""
    child: str = ""
    age: str = ""
    weight: str = ""
    height: str = ""
    doses_a_day: int = 0
    max_single: str = ""
    max_daily: str = ""
    strength: str = ""
    product: str = ""
    others: tuple[str, ...] = ()
    ask: str = "amount"
    unit: str = ""
    step: str = ""
    ceiling: bool = False
    source: str = ""


class Links(NamedTuple):
    """What the chain comes to: `free` before the maximum and `most`, the answer, each in the answer's kind."""

    free: Quantity
    most: Quantity | None
    answer: Quantity
    steps: tuple[Step, ...]
    amount: Quantity
    maximum: str


def compiled(figures: Figures, dose: Dose) -> Medicine:
    regimen: dict[str, Any] = {
        "id": "question",
        "valid_from": date(2000, 1, 1),
        "route": figures.route or "oral",
        "for": ["question"],
        "dose": re.sub(r" a day$", "", figures.dose),
        "source": {"id": "question", "place": ""},
    }
    if dose.per == "day":
        if not figures.doses_a_day:
            raise InputError([Fault("doses_a_day", "", "A dose a day needs the number of doses.", "Write doses_a_day = 3.")])
        regimen |= {"per": "day", "doses_a_day": [figures.doses_a_day]}
    regimen |= {key: [text] for key in ("max_single", "max_daily") if (text := getattr(figures, key))}
    strengths = [text for text in (figures.strength, *figures.others) if text]
    products = [
        {"id": f"product-{n}", "name": text, "form": "question", "routes": [figures.route or "oral"], "strength": text}
        for n, text in enumerate(strengths)
    ]
    raw = {"id": "question", "name": "question", "status": "example", "ingredient": [{"id": "question"}]}
    return compile_medicine({**raw, "regimen": [regimen], "product": products}, Policy(Fraction(0), Fraction(0)), "question")


def reckon_links(figures: Figures, dose: Dose, medicine: Medicine, child: Child) -> Links:
    regimen, doses = medicine.regimens[0], Fraction(figures.doses_a_day or 1)
    product = medicine.products[0] if medicine.products else None
    in_pounds = child.weight is not None and child.weight.unit == "lb"  # the house's steps show weights in kg: here the pounds are told
    told = f"{show_number(child.weight.number)} lb x 0.45359237 kg" if in_pounds else ""
    steps = [Step("weight in kg", (told,), child.weight.to("kg"))] if in_pounds else []
    in_kg = replace(child, weight=child.weight.to("kg")) if child.weight else child
    found = amount_of(dose, medicine.ingredients[0], regimen.kind, Given(medicine, product, in_kg, doses))
    if not isinstance(found, Amount):
        raise InputError([Fault("dose", figures.dose, f"The figures do not suffice for it ({found[0]}).", "Look at weight and strength.")])
    label = next((text for name, text in _LABELS.items() if name in dose.kind), "")
    steps += [step._replace(what=label) if step.what == "order" else step for step in found.steps]
    free = found.high.to(figures.unit) if figures.ask == "amount" and figures.unit else found.high
    facts = common_facts(Order(), in_kg) | {"doses": ratio(doses), "average": ratio(doses)}
    maxima = [limit for limit in regimen.limits if limit.name.endswith("maximum")]
    bounds = [(most_for_one_dose(limit, facts), limit) for limit in maxima]
    least, limit = min(bounds, key=lambda bound: bound[0], default=(None, None))
    most = Quantity(least, free.kind, free.unit) if limit else None
    amount = min(free, most) if most else free
    if most:
        steps += limit_step(limit, most, facts, in_kg, in_kg.weight)
        if limit.figure.unit != most.unit and limit.main.measure == "dose":
            steps.append(Step("the maximum, in the same unit", (limit.figure, "=", show_as_asked(most))))
        steps.append(Step("the maximum holds" if most < free else "the maximum allows it", ("the smaller of", free, "and", most), amount))
    maximum = limit.text if limit else ""
    if figures.ask == "amount":
        if amount.unit != found.high.unit and not most:
            steps.append(Step(f"in {show_unit(amount.unit)}", (found.high,), amount))
        return Links(free, most, amount, tuple(steps), amount, maximum)
    strength = strength_of(medicine)
    answer, alike = share_of(amount, strength), strength.to(f"{amount.unit}/{strength.unit.partition('/')[2]}")
    steps.append(Step("divided by what the product holds", (amount, BY, alike), answer))
    return Links(share_of(free, strength), most and share_of(most, strength), answer, tuple(steps), amount, maximum)


def strength_of(medicine: Medicine) -> Quantity:
    if not medicine.products:
        raise InputError([Fault("strength", "", "A volume or a number of tablets needs a strength.", 'Write it as "120 mg in 5 mL".')])
    return next(iter(medicine.products[0].strengths.values()))
