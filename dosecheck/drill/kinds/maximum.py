"""Whether a maximum holds the dose down: in two questions of three it does, in the third it does not."""

from __future__ import annotations

from dosecheck.drill.chain import pose
from dosecheck.drill.dice import Dice
from dosecheck.drill.links import Figures
from dosecheck.drill.pool import Offer, Pool, draw_child, neat, plain_text, said_of, to_hand
from dosecheck.drill.question import Question


def draw(pool: Pool, dice: Dice, level: int) -> Question | None:
    offers = tuple(offer for offer in pool.by_weight if single_maximum(offer))
    return draw_held(pool, dice, level, "maximum", pool.with_products(offers, ("volume",)) if level == 3 else offers)


def draw_held(pool: Pool, dice: Dice, level: int, kind: str, offers: tuple[Offer, ...]) -> Question | None:
    """One of `offers`, whose product (if it has one) is what the dose is to be given in."""
    if not offers:
        return None
    offer, binds = dice.pick(offers), dice.pick((True, True, False))
    child = draw_child(dice, offer.regimen, whole_kg=level == 1)
    if child is None:
        return None
    figures = Figures(
        dose=plain_text(offer.regimen.span.high), weight=child.weight, max_single=single_maximum(offer), **said_of(pool, offer, child)
    )
    if offer.product:
        figures = figures._replace(ask="product", strength=offer.product.strength_text, product=offer.product.name)
    question = pose(figures, kind, level)
    fits = binds == (question.most < question.free) and neat(question.answer) and (binds or neat(question.free))
    if not fits or (offer.product and not to_hand(offer, question.answer)):
        return None
    found = pool.figures(offer, child)
    amount = offer.product.strengths[offer.regimen.ingredient] * question.answer if offer.product else question.answer
    return question if found and found.high and amount.value == found.high.value else None


def single_maximum(offer: Offer) -> str:
    """The maximum of one dose that is no figure per kg."""
    return next((text for text in offer.regimen.entry.get("max_single", []) if "/" not in text), "")
