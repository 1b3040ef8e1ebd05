"""A dose into tablets, whole or in the parts into which they divide; at the third level held by a maximum."""

from __future__ import annotations

from dosecheck.drill.dice import Dice
from dosecheck.drill.kinds.maximum import draw_held, single_maximum
from dosecheck.drill.kinds.volume import draw_product
from dosecheck.drill.pool import Pool
from dosecheck.drill.question import Question


def draw(pool: Pool, dice: Dice, level: int) -> Question | None:
    if level < 3:
        return draw_product(pool, dice, level, "tablets", "tablet")
    offers = tuple(offer for offer in pool.with_products(pool.by_weight, ("tablet",)) if single_maximum(offer))
    return draw_held(pool, dice, level, "tablets", offers)
