"""How often: the doses that a gap lets into 24 hours, and what they come to, told outright and by weight."""

from __future__ import annotations

from dosecheck.drill.dice import Dice
from dosecheck.drill.pool import Pool, draw_child, name_of, neat, plain_text
from dosecheck.drill.question import Question, Trap
from dosecheck.drill.traps import power_traps
from dosecheck.formulary.medicine import Regimen
from dosecheck.quantity import Quantity
from dosecheck.reading import read_weight
from dosecheck.records import Order
from dosecheck.rules.facts import doses_in_a_day
from dosecheck.rules.present import how_often
from dosecheck.showing import show_seconds
from dosecheck.working import BY, TIMES, Step

_EVEN = (4, 6, 8, 12)
_UNEVEN = (5, 7, 9, 10)  # the last of these is begun within 24 hours, and counts


def draw(pool: Pool, dice: Dice, level: int) -> Question | None:
    offers = tuple(offer for offer in pool.by_weight if _gaps(offer.regimen, level))
    if not offers:
        return None
    offer = dice.pick(offers)
    child = draw_child(dice, offer.regimen, whole_kg=level < 3)
    if child is None:
        return None
    hours = dice.pick(_gaps(offer.regimen, level))
    order = Order(every=f"{hours} hours")
    most, _, gap = doses_in_a_day(order)
    count = Quantity(most, "dose", "doses")
    counting = Step("doses begun within any 24 hours", ("24 hours", BY, show_seconds(gap)), count, "rounded up")
    name = name_of(offer.medicine)
    figure, dose = offer.regimen.span.high, offer.regimen.span.high * read_weight(child.weight)
    given = {"medicine": name, "every": f"{hours} hours"}
    shared = {"kind": "gaps", "level": level, "source": pool.formulary.source(offer.regimen.source)}
    every = how_often(order).partition(",")[0]
    if level == 1:
        text = f"{name[0].upper()}{name[1:]}, {offer.regimen.route}, one dose {every}."
        ask = "How many doses may fall in any 24 hours? Write the number and the unit, the exact figure."
        return Question(text=text, ask=ask, answer=count, steps=(counting,), traps=_fence(count), given=tuple(given.items()), **shared)
    answer = dose * most
    found = pool.figures(offer, child, int(most))
    if not neat(dose) or not neat(answer) or found is None or found.high is None or dose.value > found.high.value:
        return None
    told = plain_text(dose) if level == 2 else f"{plain_text(figure)} for one dose"
    who = f"{child.id}, {child.age} old, weighs {child.weight}. " if level == 3 else ""
    given |= {"dose": told.removesuffix(" for one dose")} | (
        {"child": child.id, "age": child.age, "weight": child.weight} if level == 3 else {}
    )
    by_weight = (Step("by weight", (figure, TIMES, read_weight(child.weight)), dose),) if level == 3 else ()
    return Question(
        text=f"{who}{name[0].upper()}{name[1:]}, {offer.regimen.route}: {told}, {every}.",
        ask=f"How much is that in 24 hours, in {answer.unit}? Write the number and the unit, the exact figure.",
        answer=answer,
        steps=(*by_weight, counting, Step("in 24 hours", (dose, TIMES, most), answer)),
        traps=(
            *power_traps(),
            *_fence(count),
            Trap("one-dose", "that is one dose: multiply by the doses in 24 hours", 1 / most),
            *_weight(child.weight, level),
        ),
        given=tuple(given.items()),
        **shared,
    )


def _gaps(regimen: Regimen, level: int) -> tuple[int, ...]:
    """Whole hours that the regimen's gap and numbers of doses allow, and that make two doses or more."""
    told = regimen.entry.get("min_gap", "")
    if not told.endswith(" hours"):
        return ()
    most, counts = regimen.entry.get("max_doses", 24), regimen.entry.get("doses_a_day")
    hours = _EVEN + _UNEVEN if level == 1 else _EVEN
    return tuple(h for h in hours if h >= int(told.split()[0]) and -(-24 // h) <= most and (not counts or -(-24 // h) in counts))


def _fence(count: Quantity) -> tuple[Trap, ...]:
    """One too many, as posts are more than gaps, or one too few."""
    number = count.number
    more = Trap("one-too-many", "you counted one dose too many: the dose after 24 hours belongs to the next day", (number + 1) / number)
    fewer = Trap("one-too-few", "you counted one dose too few: the first dose counts", (number - 1) / number)
    return (more, fewer) if number > 1 else (more,)


def _weight(weight: str, level: int) -> tuple[Trap, ...]:
    kg = read_weight(weight).to("kg").number
    return (Trap("per-kg-as-dose", "you left the weight out: multiply by it", 1 / kg),) if level == 3 else ()
