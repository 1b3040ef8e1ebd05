"""A day's dose shared out: told outright, by weight, and then into mL.  From doses a day, and from daily maxima per kg."""

from __future__ import annotations

from collections.abc import Iterator

from dosecheck.drill.chain import pose
from dosecheck.drill.dice import Dice
from dosecheck.drill.links import Figures
from dosecheck.drill.pool import Pool, by_kg, draw_child, neat, plain_text, said_of, to_hand
from dosecheck.drill.question import Question
from dosecheck.formulary.medicine import Regimen
from dosecheck.quantity import Quantity
from dosecheck.reading import read_dose, read_time, read_weight

_SHORTEST = read_time("4 hours")  # a closer gap is that of an emergency, whose doses nobody shares out
_COUNTS = (3, 4)


def draw(pool: Pool, dice: Dice, level: int) -> Question | None:
    offers = tuple(offer for offer in pool.plain if any(_daily(offer.regimen)))
    offers = pool.with_products(offers, ("volume",)) if level == 3 else offers
    if not offers:
        return None
    offer = dice.pick(offers)
    figure, counts, ceiling = dice.pick(tuple(_daily(offer.regimen)))
    child, count = draw_child(dice, offer.regimen, whole_kg=level == 1), dice.pick(counts)
    if child is None:
        return None
    day = figure * read_weight(child.weight)
    said = {**said_of(pool, offer, child), "ceiling": ceiling}
    figures = Figures(dose=f"{plain_text(figure)} a day", weight=child.weight, doses_a_day=count, **said)
    if level == 1:
        figures = figures._replace(dose=f"{plain_text(day)} a day", weight="", child="", age="")
    if level == 3:
        figures = figures._replace(ask="product", strength=offer.product.strength_text, product=offer.product.name)
    question = pose(figures, "shared-dose", level)
    if not neat(day) or not neat(question.answer) or (level == 3 and not to_hand(offer, question.answer)):
        return None
    found = pool.figures(offer, child, count)
    return question if found and found.high and (day / count).value <= found.high.value else None


def _daily(regimen: Regimen) -> Iterator[tuple[Quantity, tuple[int, ...], bool]]:
    """(a figure per kg a day, the numbers of doses it may be shared into, whether it is a ceiling)."""
    counts = tuple(n for n in regimen.entry.get("doses_a_day", []) if n > 1)
    if regimen.per == "day":
        if counts and by_kg(regimen):
            yield regimen.span.high, counts, not regimen.span.single_figure
    elif isinstance(regimen.entry.get("max_daily"), list) and "min_gap" in regimen.entry:
        gap = read_time(regimen.entry["min_gap"])
        fitting = tuple(n for n in counts or _COUNTS if n <= regimen.entry.get("max_doses", n) and gap * n <= read_time("24 hours"))
        for text in regimen.entry["max_daily"] if gap >= _SHORTEST and fitting else ():
            if "/kg" in text:
                yield read_dose(text).high, fitting, True
