"""Powders: the room that the powder itself takes, in the water to add, the strength, and the volume for a dose.

The vials and their displacement are the exercise's own figures, told in the question; a real vial's leaflet says its own.
"""

from __future__ import annotations

from fractions import Fraction

from dosecheck.drill.dice import Dice
from dosecheck.drill.over_sums import OfSum, pose
from dosecheck.drill.pool import Pool, neat, plain_text
from dosecheck.drill.question import Question, Trap
from dosecheck.drill.traps import strength_traps
from dosecheck.formulary.load import Formulary
from dosecheck.quantity import Quantity
from dosecheck.reading import read_amount, read_volume

_VIALS = (100, 250, 300, 500, 600, 1000)
_FINALS = (2, 4, 5, 10, 20)
_FORGOTTEN = "you forgot the room that the powder takes"


def draw(pool: Pool, dice: Dice, level: int) -> Question | None:
    vial, final = f"{dice.pick(_VIALS)} mg", f"{dice.pick(_FINALS)} mL"
    displaced = Quantity(read_volume("0.1 mL").value * dice.whole(1, 9), "volume", "mL")
    if displaced * 5 > read_volume(final):
        return None
    figures = {"vial": vial, "displacement": plain_text(displaced), "final": final}
    if level == 1:
        return pose_water(figures, pool.formulary)
    water = Quantity(read_volume(final).value - displaced.value, "volume", "mL")
    figures = {"vial": vial, "displacement": plain_text(displaced), "diluent": plain_text(water)}
    mixed = f"{_powder(figures)} You add {figures['diluent']} of water."
    less = Trap("no-displacement", _FORGOTTEN, read_volume(final).value / water.value)
    if level == 2:
        question = pose(
            OfSum("reconstitute", figures, "strength", mixed, "medicine is in 1 mL", "mg/mL"), "displacement", 2, pool.formulary, (less,)
        )
        return question if question and neat(question.answer) else None
    dose = read_amount(vial, ("mass",), "vial", vial) * Fraction(dice.whole(1, 9), 10)
    asked = OfSum(
        "reconstitute",
        {**figures, "dose": plain_text(dose)},
        "volume for the dose",
        f"{mixed} The dose is {plain_text(dose)}.",
        "do you draw up",
        "mL",
    )
    back = Trap("no-displacement", _FORGOTTEN, water.value / read_volume(final).value)
    turned = strength_traps(dose, read_amount(vial, ("mass",), "vial", vial), read_volume(final))
    question = pose(asked, "displacement", 3, pool.formulary, (back, *turned))
    return question if question and neat(question.answer) else None


def pose_water(figures: dict[str, str], formulary: Formulary) -> Question | None:
    """The water to add to a `vial` of that `displacement` to make `final`."""
    text = f"{_powder(figures)} It is to make {figures['final']}."
    final, displaced = read_volume(figures["final"]), read_volume(figures["displacement"])
    water = final.value - displaced.value
    slips = (
        Trap("no-displacement", _FORGOTTEN, final.value / water),
        Trap("added-displacement", "you added the powder's room: take it off", 1 + 2 * displaced.value / water),
    )
    return pose(OfSum("reconstitute", figures, "diluent", text, "water do you add", "mL"), "displacement", 1, formulary, slips)


def _powder(figures: dict[str, str]) -> str:
    return f"A vial holds {figures['vial']} of powder, which takes the room of {figures['displacement']}."
