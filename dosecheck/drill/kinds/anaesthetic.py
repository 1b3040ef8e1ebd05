"""The most of a local anaesthetic by the formulary: in mg, in mL, and what is left of it after another agent."""

from __future__ import annotations

from dosecheck.drill.dice import Dice
from dosecheck.drill.over_sums import OfSum, pose
from dosecheck.drill.pool import Offer, Pool, draw_child, name_of, neat, plain_text
from dosecheck.drill.question import Question, Trap
from dosecheck.reading import read_weight
from dosecheck.sums.anaesthetic import ROUTE


def draw(pool: Pool, dice: Dice, level: int) -> Question | None:
    offers = pool.with_products(tuple(offer for offer in pool.by_weight if offer.regimen.route == ROUTE), ("volume",))
    if not offers:
        return None
    offer = dice.pick(offers)
    child = draw_child(dice, offer.regimen, whole_kg=True)
    others = [other for other in offers if other.medicine.id != offer.medicine.id]
    if child is None or (level == 3 and not others):
        return None
    strength = offer.product.strength_text
    figures = {"weight": child.weight, "age": child.age, "medicine": offer.medicine.id, "strength": strength}
    told = [f"{child.id}, {child.age} old, weighs {child.weight}.", _figure(offer), f"In hand: {strength}." if level > 1 else ""]
    if level == 3:
        other, given = dice.pick(others), f"{dice.whole(1, 8)} mL"
        figures |= {"other": other.medicine.id, "other_strength": other.product.strength_text, "other_volume": given}
        told += [f"{given} of {name_of(other.medicine)} {other.product.strength_text} is already given.", _figure(other), _PARTS]
    result = f"at most of {offer.medicine.id}" if level == 1 else "at most"
    what, unit = ("may be given at most", "mg") if level == 1 else ("may be given at most", "mL")
    step = "0.1 mL" if level == 3 else ""
    source = pool.formulary.source(offer.regimen.source)
    asked = OfSum("local-anaesthetic", figures, result, " ".join(filter(None, told)), what, unit, step, source, down=True)
    question = pose(asked, "anaesthetic", level, pool.formulary, _slips(child.weight, level))
    return question if question and neat(question.answer) and _exact(question, level) else None


_PARTS = "Two agents add up as parts of their own most; round down."


def _figure(offer: Offer) -> str:
    """ "Lidocaine: at most 4.5 mg/kg, and never more than 300 mg." """
    name, most = name_of(offer.medicine), offer.regimen.entry.get("max_single", [])
    never = f", and never more than {' or '.join(most)}" if most else ""
    return f"{name[0].upper()}{name[1:]}: at most {plain_text(offer.regimen.span.high)}{never}."


def _exact(question: Question, level: int) -> bool:
    """Where no rounding is stated the sum rounded nothing."""
    return level == 3 or question.steps[-1].result == question.answer


def _slips(weight: str, level: int) -> tuple[Trap, ...]:
    kg = read_weight(weight).to("kg").number
    return (Trap("per-kg-as-dose", "that is for 1 kg: multiply by the weight", 1 / kg),)
