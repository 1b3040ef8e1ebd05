"""Percent and ratio strengths: into mg/mL, into what a volume holds, and what is left of them when they are diluted."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

from dosecheck.drill.dice import Dice
from dosecheck.drill.over_sums import Misread, OfSum, pose
from dosecheck.drill.pool import Pool, neat
from dosecheck.drill.question import Question, Trap
from dosecheck.formulary.load import Formulary
from dosecheck.reading import read_strength, read_volume
from dosecheck.showing import show_as_asked
from dosecheck.working import Step

_STRENGTHS = ("0.1 %", "0.2 %", "0.25 %", "0.45 %", "0.5 %", "0.9 %", "1 %", "2 %", "5 %", "10 %", "20 %", "50 %")
_RATIOS = ("1 in 100", "1 in 200", "1 in 500", "1 in 1000", "1 in 2000", "1 in 10000")


def draw(pool: Pool, dice: Dice, level: int) -> Question | None:
    strength = dice.pick(_STRENGTHS + _RATIOS)
    volume = dice.pick((2, 3, 4, 5, 10, 15, 20, 25))
    if level == 3:
        return _diluted(pool, strength, volume, dice.pick((2, 4, 5, 10)))
    question = pose_strength(strength, f"{volume} mL" if level == 2 else "", pool.formulary)
    return question if question and neat(question.answer) else None


def pose_strength(strength: str, volume: str, formulary: Formulary) -> Question | None:
    """What 1 mL holds; or what `volume` holds, where there is one."""
    figures = {"strength": strength} | ({"volume": volume} if volume else {})
    result, unit, what = ("the volume holds", "mg", "does it hold") if volume else ("in one mL", "mg/mL", "is that")
    text = f"The strength of a solution is {strength}." + (f" You have {volume} of it." if volume else "")
    slips = (*_slips(strength), *([_volume(read_volume(volume).to("mL").number)] if volume else ()))
    level = 2 if volume else 1
    question = pose(OfSum("strength", figures, result, text, what, unit), "strength", level, formulary, slips)
    return question and replace(question, steps=_steps(question, strength, level))


def _steps(question: Question, strength: str, level: int) -> tuple[Step, ...]:
    """The rule, what 1 mL holds, and what the volume holds: the sum tells more than is asked here."""
    rule = (
        "1 % is 1 g in 100 mL, which is 10 mg in 1 mL" if strength.endswith("%") else "1 in 1000 is 1 g in 1,000 mL, which is 1 mg in 1 mL"
    )
    in_one = Step("in 1 mL", (strength, "is", show_as_asked(read_strength(strength).to("mg/mL"))))
    return (Step("the rule", (rule,)), in_one, *(question.steps[-1:] if level == 2 else ()))


def _diluted(pool: Pool, strength: str, volume: int, times: int) -> Question | None:
    added = volume * (times - 1)
    figures = {"strength": strength, "volume": f"{volume} mL", "added": f"{added} mL"}
    text = f"To {volume} mL of a solution of {strength} you add {added} mL of diluent."
    whole = Misread(
        "added-as-whole", f"you divided by what was added: the whole is {volume + added} mL", {"added": "", "final": f"{added} mL"}
    )
    turned = Trap("other-way", "you went the other way: a diluted solution is weaker", Fraction(times) ** 2, before=False)
    slips = (whole, turned, *_slips(strength))
    question = pose(OfSum("dilute", figures, "strength", text, "is the new strength", "mg/mL"), "strength", 3, pool.formulary, slips)
    return question if question and neat(question.answer) else None


def _volume(millilitres: Fraction) -> Trap:
    return Trap("per-mL-as-amount", "that is what 1 mL holds: multiply by the volume", 1 / millilitres)


def _slips(strength: str) -> tuple[Trap, ...]:
    """The figure of the per cent (or of the ratio) itself taken as mg/mL."""
    right = read_strength(strength).to("mg/mL").number
    if strength.endswith("%"):
        number = Fraction(strength.removesuffix(" %"))
        return (Trap("percent-as-mg", "1 % is 1 g in 100 mL, which is 10 mg in 1 mL", number / right),)
    number = Fraction(strength.removeprefix("1 in "))
    return (Trap("ratio-as-mg", "1 in 1000 is 1 g in 1,000 mL, which is 1 mg in 1 mL", number / right),)
