"""A dose into what is measured out: mL of a liquid, or tablets (`tablets.py`)."""

from __future__ import annotations

from dosecheck.drill.chain import pose
from dosecheck.drill.dice import Dice
from dosecheck.drill.links import Figures
from dosecheck.drill.pool import DrawnChild, Offer, Pool, draw_child, plain_text, products_of, said_of, to_hand
from dosecheck.drill.question import Question
from dosecheck.rules.reckon import Figures as Reckoned


def draw(pool: Pool, dice: Dice, level: int) -> Question | None:
    return draw_product(pool, dice, level, "volume", "volume")


def draw_product(pool: Pool, dice: Dice, level: int, kind: str, below: str) -> Question | None:
    """At the first level the dose told is one that the engine itself proposes as measurable."""
    offers = pool.with_products(pool.by_weight, (below,))
    if level == 3:
        offers = tuple(offer for offer in offers if _others(offer))
    if not offers:
        return None
    offer = dice.pick(offers)
    child = draw_child(dice, offer.regimen, whole_kg=level == 1 or below != "volume")
    if child is None:
        return None
    figures = _told(pool, offer, child)
    question = pose(figures._replace(others=_others(offer)) if level == 3 else figures, kind, level) if level > 1 else None
    if question and not to_hand(offer, question.answer):
        return None
    found = pool.figures(offer, child)
    if found is None or found.high is None:
        return None
    if level == 1:
        return _of_proposal(figures, offer, found, kind)
    return question if offer.product.strengths[offer.regimen.ingredient].value * question.answer.value <= found.high.value else None


def _told(pool: Pool, offer: Offer, child: DrawnChild) -> Figures:
    product, dose = offer.product, plain_text(offer.regimen.span.high)
    said = said_of(pool, offer, child)
    return Figures(dose=dose, weight=child.weight, strength=product.strength_text, product=product.name, ask="product", **said)


def _of_proposal(figures: Figures, offer: Offer, found: Reckoned, kind: str) -> Question | None:
    proposed = next((p for p in found.products if p.product == offer.product.id and p.amount), None)
    if proposed is None:
        return None
    question = pose(figures._replace(dose=plain_text(proposed.amount), weight="", age="", child="", ceiling=False), kind, 1)
    return question if to_hand(offer, question.answer) else None


def _others(offer: Offer) -> tuple[str, ...]:
    """Other strengths of the same sort, which a hand may take by mistake."""
    product = offer.product
    texts = (p.strength_text for p in products_of(offer) if p.below == product.below and p.strengths != product.strengths)
    return tuple(dict.fromkeys(texts))
