"""Inhalers: micrograms a day, and how many days one lasts; how many puffs it holds is the exercise's own figure."""

from __future__ import annotations

from fractions import Fraction

from dosecheck.drill.dice import Dice
from dosecheck.drill.over_sums import OfSum, pose
from dosecheck.drill.pool import Pool, name_of
from dosecheck.drill.question import Question, Trap

_STEADY = "corticosteroid"  # the group whose inhalers are taken morning and evening
_HOLDS = (60, 100, 120, 200)


def draw(pool: Pool, dice: Dice, level: int) -> Question | None:
    inhalers = [(m, p) for m in pool.formulary.medicines() for p in m.products if p.below == "puff" and len(p.strengths) == 1]
    if not inhalers:
        return None
    medicine, product = dice.pick(inhalers)
    puffs, times = dice.whole(1, 4), dice.pick((2,) if _STEADY in medicine.ingredients[0].groups else (2, 3, 4))
    dose = f"{puffs} puff{'s' * (puffs != 1)} {'twice' if times == 2 else f'{times} times'} a day"
    text = f"{name_of(medicine).capitalize()}, {product.name}: {dose}."
    if level == 1:
        figures = {"medicine": medicine.id, "dose": dose, "product": product.id}
        asked = OfSum("inhaler-day", figures, "daily dose", text, "is that", "micrograms/day")
        return pose(asked, "inhaler", 1, pool.formulary, tuple(_missed(puffs, times)))
    holds, used = dice.pick(_HOLDS), dice.whole(2, 30) if level == 3 else 0
    left = holds - used
    if left % (puffs * times):
        return None
    figures = {"dose": dose, "holds": f"{holds} puffs"} | ({"used": f"{used} puffs"} if used else {})
    text += f" The inhaler holds {holds} puffs" + (f", of which {used} are used." if used else ".")
    slips = [trap._replace(factor=1 / trap.factor, says=trap.says) for trap in _missed(puffs, times)]
    slips += [Trap("used-forgotten", "you forgot the puffs that are used", Fraction(holds, left))] if used else []
    return pose(
        OfSum("canister", figures, "lasts", text, "does it last", "days", how="long"), "inhaler", level, pool.formulary, tuple(slips)
    )


def _missed(puffs: int, times: int) -> list[Trap]:
    """One of the two numbers left out; wrong / right for a daily amount."""
    traps = [Trap("times-forgotten", f"you left out that it is {times} times a day", Fraction(1, times))]
    return traps + ([Trap("puffs-forgotten", f"you left out that it is {puffs} puffs each time", Fraction(1, puffs))] if puffs > 1 else [])
