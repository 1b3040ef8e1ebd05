"""mg/kg into the dose of one child; at the third level the weight is told in pounds."""

from __future__ import annotations

from fractions import Fraction

from dosecheck.drill.chain import pose
from dosecheck.drill.dice import Dice
from dosecheck.drill.links import Figures
from dosecheck.drill.pool import Offer, Pool, draw_child, neat, plain_text, said_of
from dosecheck.drill.question import Question
from dosecheck.quantity import UNITS
from dosecheck.reading import read_weight


def draw(pool: Pool, dice: Dice, level: int) -> Question | None:
    offers = tuple(offer for offer in pool.by_weight if not offer.regimen.entry.get("max_single"))
    if not offers:
        return None
    offer = dice.pick(offers)
    child = draw_child(dice, offer.regimen, whole_kg=level == 1)
    if child is None or pool.figures(offer, child) is None:
        return None
    figures = Figures(
        dose=plain_text(offer.regimen.span.high),
        weight=_in_pounds(child.weight) if level == 3 else child.weight,
        **said_of(pool, offer, child),
    )
    question = pose(figures._replace(step=_step(offer)) if level == 3 else figures, "dose-by-weight", level)
    return question if level == 3 or neat(question.answer) else None


def _in_pounds(weight: str) -> str:
    """The nearest whole pound."""
    return f"{round(Fraction(read_weight(weight).value, UNITS['weight']['lb']))} lb"


def _step(offer: Offer) -> str:
    """Whole units of the regimen, or hundredths where a whole unit would be coarse."""
    figure = offer.regimen.span.high
    unit = figure.unit.split("/")[0]
    return f"1 {unit}" if figure.number >= 2 else f"0.01 {unit}"
