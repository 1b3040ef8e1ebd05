"""The commonest sum of all, link by link: figure x weight, shared out over the day's doses, held by a maximum, into mL or tablets.

A question is posed from its figures as text, whether they were drawn from the formulary or copied from a textbook: they
are compiled as one regimen and one product, and every link is the engine's own function.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import replace
from datetime import date
from fractions import Fraction
from typing import Any, NamedTuple

from dosecheck.body.surface import rounded_root
from dosecheck.drill.question import Question, Trap
from dosecheck.drill.traps import (
    divided_twice,
    known_traps,
    maximum_traps,
    pounds_turned,
    power_traps,
    strength_traps,
    weight_divided,
)
from dosecheck.errors import Fault, InputError
from dosecheck.formulary.limits import Policy
from dosecheck.formulary.medicine import Medicine, compile_medicine
from dosecheck.quantity import COUNTED, UNITS, Quantity, counted_unit
from dosecheck.reading import Dose, read_amount, read_dose, read_volume
from dosecheck.records import Child, Order
from dosecheck.rules.amounts import Amount, Given, amount_of
from dosecheck.rules.explain import limit_step, most_for_one_dose
from dosecheck.rules.facts import common_facts, ratio, surface_squared
from dosecheck.rules.slips import Situation
from dosecheck.rules.supply import share_of
from dosecheck.showing import show, show_as_asked, show_share, show_unit
from dosecheck.working import BY, Step

_LABELS = {"weight": "by weight", "surface": "by surface"}
_TOLD = ("medicine", "route", "child", "age", "weight", "height", "dose", "doses_a_day", "max_single", "max_daily", "strength", "product")
_KG_PER_LB = Fraction(UNITS["weight"]["lb"], UNITS["weight"]["kg"])
_POUNDS_MARGIN = Fraction(1, 200)  # so that 2.2 lb to the kg is as right as the exact figure

_SURFACE_MARGIN = Fraction(1, 100)  # so that a surface rounded to 0.01 m2 on the way is as right
MOSTELLER = "Body surface in m2: the square root of height in cm x weight in kg / 3600."


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


def pose(figures: Figures, kind: str, level: int) -> Question:
    """The question for these figures.

    Raises:
        TextError, InputError: a figure that cannot be read, or that the chain needs and does not have.
    """
    dose = read_dose(figures.dose)
    medicine = _compiled(figures, dose)
    child = Child(weight=figures.weight or None, height=figures.height or None, age=figures.age or None)
    links = _links(figures, dose, medicine, child)
    in_pounds = child.weight is not None and child.weight.unit == "lb"
    margin = links.answer * (_POUNDS_MARGIN if in_pounds else _SURFACE_MARGIN) if in_pounds or child.height else None
    step = _step(figures, links.answer) if figures.step else None
    return Question(
        kind=kind,
        level=level,
        text=_text(figures, dose, child),
        ask=_ask(figures, links.answer, margin),
        answer=links.answer,
        steps=links.steps,
        given=tuple((name, str(value)) for name in _TOLD if (value := getattr(figures, name))),
        source=figures.source,
        free=links.free,
        most=links.most,
        step=step,
        within=margin,
        other=Fraction(10, 22) / _KG_PER_LB if in_pounds else Fraction(1),
        traps=tuple(_traps(figures, dose, medicine, child, links)),
    )


# ---- the engine's links ----


def _compiled(figures: Figures, dose: Dose) -> Medicine:
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


def _links(figures: Figures, dose: Dose, medicine: Medicine, child: Child) -> Links:
    regimen, doses = medicine.regimens[0], Fraction(figures.doses_a_day or 1)
    product = medicine.products[0] if medicine.products else None
    steps = [Step("weight in kg", (child.weight,), child.weight.to("kg"))] if child.weight and child.weight.unit != "kg" else []
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
    strength = _strength(medicine)
    answer, alike = share_of(amount, strength), strength.to(f"{amount.unit}/{strength.unit.partition('/')[2]}")
    steps.append(Step("divided by what the product holds", (amount, BY, alike), answer))
    return Links(share_of(free, strength), most and share_of(most, strength), answer, tuple(steps), amount, maximum)


def _strength(medicine: Medicine) -> Quantity:
    if not medicine.products:
        raise InputError([Fault("strength", "", "A volume or a number of tablets needs a strength.", 'Write it as "120 mg in 5 mL".')])
    return next(iter(medicine.products[0].strengths.values()))


def _step(figures: Figures, answer: Quantity) -> Quantity:
    return read_amount(figures.step, (answer.kind,), "rounding", "0.1 mL")


# ---- the words ----


def _text(figures: Figures, dose: Dose, child: Child) -> str:
    """ "SM-014, 3 years old, weighs 14.2 kg. Paracetamol by mouth: 15 mg/kg for one dose, at most 1 g." """
    who = figures.child or "A child"
    age = f", {figures.age} old," if figures.age else ""
    tall = f" and is {show(child.height)} tall" if child.height else ""
    sentences = [f"{who}{age} weighs {show(child.weight)}{tall}."] if child.weight else []
    sentences += [MOSTELLER] if child.height else []
    if child.weight and child.weight.unit != "kg":
        sentences.append("Take 1 kg as 2.2 lb.")
    name = figures.medicine[0].upper() + figures.medicine[1:]
    route = f", {figures.route}" if figures.route else ""
    share = f", in {figures.doses_a_day} equal doses" if dose.per == "day" else ""
    each = "" if dose.per == "day" or figures.ceiling else " for one dose"
    single = "" if each else " for one dose"
    most = [f"{text}{words}" for text, words in ((figures.max_single, single), (figures.max_daily, " in 24 hours")) if text]
    if figures.max_daily and dose.per != "day":
        share = f", {figures.doses_a_day} times a day"
    held = f", and never more than {' or '.join(most)}" if most else ""
    figure = f"{show(dose.high)}{' a day' if dose.per == 'day' else ''}"
    sentences.append(f"{name}{route}: {'at most ' if figures.ceiling else ''}{figure}{each}{share}{held}.")
    if figures.strength and figures.ask == "product":
        others = f"; also on the shelf: {' and '.join(figures.others)}" if figures.others else ""
        sentences.append(f"In hand: {figures.product or figures.strength}{others}.")
    return " ".join(sentences)


def _ask(figures: Figures, answer: Quantity, margin: Quantity | None) -> str:
    """What to write, and how exactly."""
    verb = "may one dose be at most" if figures.ceiling else "is one dose"
    exact = f"rounded to {figures.step}" if figures.step else "the exact figure"
    within = f" (within {show_share(margin.value / answer.value)} is right)" if margin else ""
    unit = show_unit(answer.unit)
    asked = f"How many {unit} {verb}?" if answer.kind in COUNTED else f"How much {verb}, in {unit}?"
    return f"{asked} Write the number and the unit, {exact}{within}."


# ---- the slips ----


def _traps(figures: Figures, dose: Dose, medicine: Medicine, child: Child, links: Links) -> Iterator[Trap]:
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
        yield from pounds_turned(_KG_PER_LB)
    if figures.doses_a_day > 1:
        yield divided_twice(figures.doses_a_day)
    if links.most:
        yield from maximum_traps(links.free, links.most, links.maximum)
    if figures.ask == "product":
        yield from strength_traps(links.amount, *_held(figures, _strength(medicine)))


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
    counted = product is not None and product.below in COUNTED
    return Situation(
        weight_kg=child.weight.to("kg").number if child.weight else None,
        age_years=child.age.years if child.age else None,
        doses=Fraction(figures.doses_a_day) if dose.per == "day" else None,
        regimen=medicine.regimens[0],
        medicine=medicine,
        product=product,
        ordered_in=product.below if counted or product else "mass",
        per_kg_written=False,
        continuous=False,
    )
