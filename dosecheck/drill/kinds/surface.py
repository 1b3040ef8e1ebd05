"""Body surface by the formula that the question tells, and doses by it; the doses are the exercise's own."""

from __future__ import annotations

from fractions import Fraction

from dosecheck.body.surface import FORMULAE, ROUNDED, rounded_root
from dosecheck.drill.chain import MOSTELLER, pose
from dosecheck.drill.dice import Dice
from dosecheck.drill.links import Figures
from dosecheck.drill.pool import DrawnChild, Pool, draw_child
from dosecheck.drill.question import Question, Trap
from dosecheck.drill.traps import power_traps
from dosecheck.quantity import Quantity
from dosecheck.reading import read_amount
from dosecheck.records import Child
from dosecheck.rules.facts import surface_squared
from dosecheck.working import Step

_DOSES = (25, 30, 50, 60, 75, 100, 150, 250, 375, 500)
_SOURCE = f"{FORMULAE[0].source}: {FORMULAE[0].said}"


def draw(pool: Pool, dice: Dice, level: int) -> Question | None:
    child = draw_child(dice, None, whole_kg=True)
    if child is None:
        return None
    if level == 1:
        return area(child)
    day, count = (" a day", dice.pick((2, 3, 4))) if level == 3 else ("", 0)
    figures = Figures(
        dose=f"{dice.pick(_DOSES)} mg/m2{day}",
        child=child.id,
        age=child.age,
        weight=child.weight,
        height=child.height,
        doses_a_day=count,
        step="0.1 mg",
        source=_SOURCE,
    )
    return pose(figures, "surface", level)


def area(child: DrawnChild) -> Question:
    """The surface itself, rounded to 0.01 m2."""
    told = Child(weight=child.weight, height=child.height)
    squared = surface_squared(told)
    answer = Quantity(rounded_root(squared), "surface", "m2")
    number, product = answer.number, told.height.to("cm").number * told.weight.to("kg").number
    traps = (
        Trap("no-root", "you forgot the square root", product / 3600 / number),
        Trap("no-division", "you forgot to divide by 3600", 60 * Fraction(1)),
        Trap("metres-for-cm", "you took the height in metres", Fraction(1, 10)),
    )
    return Question(
        kind="surface",
        level=1,
        text=f"{child.id}, {child.age} old, weighs {child.weight} and is {child.height} tall. {MOSTELLER}",
        ask="How much is that, in m2? Write the number and the unit, rounded to 0.01 m2.",
        answer=answer,
        steps=(Step("body surface", ("square root of", told.height, "x", told.weight, "/ 3600"), answer, ROUNDED),),
        given=(("child", child.id), ("age", child.age), ("weight", child.weight), ("height", child.height)),
        source=_SOURCE,
        step=read_amount("0.01 m2", ("surface",), "rounding", "0.01 m2"),
        traps=(*power_traps(), *traps),
    )
