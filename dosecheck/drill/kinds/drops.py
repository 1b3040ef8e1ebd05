"""Drops a minute by the giving set: from mL/h, from a volume and a time, and back to mL/h."""

from __future__ import annotations

from fractions import Fraction

from dosecheck.drill.dice import Dice
from dosecheck.drill.over_sums import Misread, OfSum, pose
from dosecheck.drill.pool import Pool
from dosecheck.drill.question import Question
from dosecheck.drill.traps import minute_for_hour
from dosecheck.formulary.load import Formulary

_SETS = (20, 15, 60)  # clear fluid, blood, burette: the sets that the sum's source names
_HOURS = (2, 3, 4, 5, 6, 8, 10, 12)


def draw(pool: Pool, dice: Dice, level: int) -> Question | None:
    drops, hours = dice.pick(_SETS), dice.pick(_HOURS)
    rate = 5 * dice.whole(3, 25)
    volume = rate * hours if dice.pick((True, False)) else 50 * dice.whole(2, 20)
    told = (
        {"rate": f"{rate} mL/h"},
        {"volume": f"{volume} mL", "time": f"{hours} hours"},
        {"drops": f"{dice.whole(8, 60)} drops/min"},
    )
    question = pose_drip({"set": f"{drops} drops/mL", **told[level - 1]}, level, pool.formulary)
    return question if question and (level == 3 or 5 <= question.answer.number <= 120) else None


def pose_drip(figures: dict[str, str], level: int, formulary: Formulary) -> Question | None:
    """Args: figures: `set` with `rate`, with `volume` and `time`, or with `drops`."""
    told = {
        "rate": "A drip runs at {rate}.",
        "volume": "A drip of {volume} is to run in {time}.",
        "drops": "You count {drops}.",
    }
    text = next(words for name, words in told.items() if name in figures).format_map(figures)
    text = f"{text} The giving set makes {figures['set']}."
    others = [f"{drops} drops/mL" for drops in _SETS if f"{drops} drops/mL" != figures["set"]]
    slips = [Misread("other-set", f"you took a giving set of {other}", {"set": other}) for other in others]
    slips += [minute_for_hour(Fraction(60)), minute_for_hour(Fraction(1, 60))]
    if "drops" in figures:
        asked = OfSum("drops-rate", figures, "rate", text, "is the rate", "mL/h", "0.1 mL/h")
    else:
        asked = OfSum("drops", figures, "drops", text, "is that", "drops/min", "1 drop/min")
    return pose(asked, "drops", level, formulary, tuple(slips))
