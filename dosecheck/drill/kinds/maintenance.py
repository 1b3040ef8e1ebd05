"""Maintenance fluid by the rule that the question names: a day's, an hour's by the hourly rule, an hour's out of the day's."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

from dosecheck.drill.dice import Dice
from dosecheck.drill.over_sums import OfSum, pose
from dosecheck.drill.pool import Pool
from dosecheck.drill.question import Question, Trap
from dosecheck.formulary.load import Formulary

_RULES = {
    1: ("100-50-20", "a day", "mL/day", "100 mL/kg a day for the first 10 kg, 50 for the next 10 kg, 20 for each further kg"),
    2: ("4-2-1", "by the hour", "mL/h", "4 mL/kg/h for the first 10 kg, 2 for the next 10 kg, 1 for each further kg"),
    3: ("100-50-20", "by the hour", "mL/h", "100 mL/kg a day for the first 10 kg, 50 for the next 10 kg, 20 for each further kg"),
}


def draw(pool: Pool, dice: Dice, level: int) -> Question | None:
    weight = dice.whole(6, 45)
    return pose_fluid(weight, level, f"SM-{dice.whole(1, 999):03d}", pool.formulary)


def pose_fluid(weight: int, level: int, child: str, formulary: Formulary) -> Question | None:
    """Args: weight: in whole kg; level: says the rule, and whether it is a day's or an hour's."""
    rule, result, unit, said = _RULES[level]
    text = f"{child} weighs {weight} kg. Maintenance fluid: {said}."
    asked = OfSum(
        "maintenance-fluid", {"weight": f"{weight} kg", "rule": rule}, result, text, "fluid is that", unit, "0.1 mL/h" if level == 3 else ""
    )
    question = pose(asked, "maintenance", level, formulary)
    if question is None:
        return None
    return _with_traps(question, weight, rule, level)


def _with_traps(question: Question, weight: int, rule: str, level: int) -> Question:
    """The whole weight at the rate of one band, and day and hour mixed up."""
    each = [Fraction(number) / (24 if level == 3 else 1) for number in rule.split("-")]
    right = question.answer.number
    names = ("first", "second", "third")
    bands = [1] if weight <= 10 else [1, 2] if weight <= 20 else [1, 2, 3]
    traps = [
        Trap("one-band", f"you took the whole weight at the rate of the {names[band - 1]} band", each[band - 1] * weight / right)
        for band in bands
        if weight > 10
    ]
    traps += [Trap("day-for-hour", "you gave a day's fluid for an hour's: divide by 24", Fraction(24))] if level == 3 else []
    return replace(question, traps=(*question.traps, *traps))
