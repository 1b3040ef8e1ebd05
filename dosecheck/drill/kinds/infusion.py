"""A continuous infusion into mL/h, by time, by weight and time, and the way back from the pump to the dose."""

from __future__ import annotations

from fractions import Fraction

from dosecheck.drill.dice import Dice
from dosecheck.drill.over_sums import Misread, OfSum, pose
from dosecheck.drill.pool import Offer, Pool, draw_child, name_of, plain_text
from dosecheck.drill.question import Question, Trap
from dosecheck.drill.traps import minute_for_hour
from dosecheck.formulary.load import Formulary
from dosecheck.reading import read_weight


def draw(pool: Pool, dice: Dice, level: int) -> Question | None:
    if not pool.infusions:
        return None
    offer = dice.pick(pool.infusions)
    child = draw_child(dice, offer.regimen, whole_kg=level != 2)
    if child is None:
        return None
    span = offer.regimen.span
    dose = span.low * dice.whole(1, max(1, int(span.high.value / span.low.value)))
    figures = {"dose": plain_text(dose), "strength": offer.product.strength_text, "weight": child.weight}
    if level == 1:
        figures |= {"dose": plain_text(dose * read_weight(child.weight)), "weight": ""}
    if level == 3:
        return _back(pool, offer, figures, dose.unit, f"{child.id}, {child.age} old, weighs {child.weight}.")
    who = f"{child.id}, {child.age} old, weighs {child.weight}. " if level == 2 else ""
    question = pose_rate(figures, f"{who}{_name(offer)}", pool.formulary, pool.formulary.source(offer.regimen.source))
    return question if question and question.answer.number >= 1 else None


def pose_rate(figures: dict[str, str], who: str, formulary: Formulary, source: str = "") -> Question | None:
    """mL/h from `dose`, `strength` and, for a dose by weight, `weight`; `who` begins the question."""
    level = 2 if figures["weight"] else 1
    text = f"{who} at {figures['dose']}. The syringe holds {figures['strength']}."
    asked = OfSum("infusion-rate", figures, "rate", text, "is the rate", "mL/h", "0.1 mL/h", source)
    return pose(asked, "infusion", level, formulary, _slips(figures, level))


def _back(pool: Pool, offer: Offer, figures: dict[str, str], unit: str, who: str) -> Question | None:
    """From mL/h to the dose, where the rate of the dose is one that a pump is set to."""
    there = pose(OfSum("infusion-rate", figures, "rate", "", "", "mL/h"), "infusion", 3, pool.formulary)
    if there is None or (there.answer.number * 10).denominator != 1 or there.answer.number < 1:
        return None
    rate = plain_text(there.answer)
    text = f"{who} {_name(offer)} runs at {rate}. The syringe holds {offer.product.strength_text}."
    result = "by the minute" if unit.endswith("/min") else "dose by weight"
    back = {"rate": rate, "strength": figures["strength"], "weight": figures["weight"]}
    asked = OfSum("infusion-dose", back, result, text, "is the dose", unit, source=pool.formulary.source(offer.regimen.source))
    question = pose(asked, "infusion", 3, pool.formulary, _slips(figures, 3))
    return question if question and (question.answer.number * 1000).denominator == 1 else None


def _name(offer: Offer) -> str:
    name = name_of(offer.medicine)
    return f"{name[0].upper()}{name[1:]} by infusion"


def _slips(figures: dict[str, str], level: int) -> tuple[Misread | Trap, ...]:
    kg = read_weight(figures["weight"]).to("kg").number if figures["weight"] else None
    sixty = [minute_for_hour(Fraction(60)), minute_for_hour(Fraction(1, 60))]
    if level == 3:
        return (*sixty, Trap("no-weight", "that is for the whole child: divide by the weight", kg))
    if kg is None:
        return tuple(sixty)
    return (*sixty, Trap("per-kg-as-dose", "you left the weight out: multiply by it", 1 / kg))
