"""The commonest sum of all: figure x weight, shared out over the day's doses, held by a maximum, into mL or tablets.

Posed from its figures as text; the arithmetic is in `links.py`, the slips in `link_traps.py`, here are the words.
"""

from __future__ import annotations

from fractions import Fraction

from dosecheck.drill.link_traps import KG_PER_LB, link_traps
from dosecheck.drill.links import Figures, compiled, reckon_links
from dosecheck.drill.question import Question
from dosecheck.quantity import COUNTED, Quantity
from dosecheck.reading import Dose, read_amount, read_dose
from dosecheck.records import Child
from dosecheck.showing import show, show_share, show_unit

_TOLD = ("medicine", "route", "child", "age", "weight", "height", "dose", "doses_a_day", "max_single", "max_daily", "strength", "product")
_POUNDS_MARGIN = Fraction(1, 200)  # so that 2.2 lb to the kg is as right as the exact figure
_SURFACE_MARGIN = Fraction(1, 100)  # so that a surface rounded to 0.01 m2 on the way is as right
MOSTELLER = "Body surface in m2: the square root of height in cm x weight in kg / 3600."


def pose(figures: Figures, kind: str, level: int) -> Question:
    """The question for these figures.

    Raises:
        TextError, InputError: a figure that cannot be read, or that the chain needs and does not have.
    """
    dose = read_dose(figures.dose)
    medicine = compiled(figures, dose)
    child = Child(weight=figures.weight or None, height=figures.height or None, age=figures.age or None)
    links = reckon_links(figures, dose, medicine, child)
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
        other=Fraction(10, 22) / KG_PER_LB if in_pounds else Fraction(1),
        traps=tuple(link_traps(figures, dose, medicine, child, links)),
    )


def _step(figures: Figures, answer: Quantity) -> Quantity:
    return read_amount(figures.step, (answer.kind,), "rounding", "0.1 mL")


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
