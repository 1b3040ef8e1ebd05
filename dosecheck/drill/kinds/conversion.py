"""One unit into another: amounts of medicine, as products of the formulary hold them, and plain volumes."""

from __future__ import annotations

from fractions import Fraction

from dosecheck.drill.dice import Dice
from dosecheck.drill.pool import Pool, name_of
from dosecheck.drill.question import Question
from dosecheck.drill.traps import other_way, power_traps
from dosecheck.errors import Fault, InputError
from dosecheck.quantity import UNITS, Quantity, factor
from dosecheck.reading.figures import reader_of
from dosecheck.showing import show_as_asked, show_number, show_unit
from dosecheck.working import BY, TIMES, Step

_KINDS = ("mass", "volume", "weight", "activity", "substance", "time", "length")
_PAIRS = {
    1: (("g", "mg"), ("mg", "g"), ("mg", "micrograms"), ("micrograms", "mg"), ("L", "mL"), ("mL", "L")),
    2: (("g", "mg"), ("mg", "g"), ("mg", "micrograms"), ("micrograms", "mg"), ("micrograms", "nanograms"), ("nanograms", "micrograms")),
    3: (("g", "micrograms"), ("micrograms", "g"), ("mg", "nanograms"), ("nanograms", "mg")),
}
_WHOLE = (2, 5, 25, 50, 75, 125, 150, 200, 250, 400, 500, 600, 750, 900)


def draw(pool: Pool, dice: Dice, level: int) -> Question | None:
    unit, other = dice.pick(_PAIRS[level])
    names = _dosed_in(pool, {unit, other})
    if not names:
        return None
    kind = "volume" if unit in ("L", "mL") else "mass"
    number = Fraction(dice.pick(_WHOLE)) if level == 1 else Fraction(dice.whole(11, 999), dice.pick((10, 100)))
    ratio = factor(unit, kind) / factor(other, kind)
    while number * ratio >= 10_000 or (ratio > 1 and number >= 10):
        number /= 10
    if number * ratio < Fraction(1, 10_000):
        return None
    of = f" of {dice.pick(names)}" if kind == "mass" else ""
    return pose(f"{show_number(number)} {show_unit(unit, number)}", other, of=of, level=level)


def _dosed_in(pool: Pool, units: set[str]) -> tuple[str, ...]:
    """Medicines whose figures are in one of the units; of any mass where none is."""
    figures = [(name_of(offer.medicine), offer.regimen.span.high or offer.regimen.span.low) for offer in pool.plain]
    by_mass = [(name, figure.unit.split("/")[0]) for name, figure in figures if figure.kind.startswith("mass")]
    return tuple(dict.fromkeys(name for name, unit in by_mass if unit in units)) or tuple(dict.fromkeys(name for name, _ in by_mass))


def pose(amount: str, unit: str, kind: str = "conversion", level: int = 1, of: str = "", source: str = "") -> Question:
    """Args: amount: "0.25 g"; unit: what it is to be written in.

    Raises:
        TextError, InputError: the amount cannot be read, or has no such unit.
    """
    told = _read(amount, unit)
    answer = told.to(unit)
    ratio = answer.number / told.number
    sign, times = (TIMES, ratio) if ratio > 1 else (BY, 1 / ratio)
    larger, smaller = (told.unit, unit) if ratio > 1 else (unit, told.unit)
    each = f"1 {show_unit(larger, 1)} is {show_number(times)} {show_unit(smaller, times)}"
    word = "multiply" if ratio > 1 else "divide"
    return Question(
        kind=kind,
        level=level,
        text=f"The amount is {amount}{of}.",
        ask=f"How much is that in {show_unit(unit)}? Write the number and the unit, the exact figure.",
        answer=answer,
        steps=(Step("the units", (each,)), Step(f"in {show_unit(unit)}", (told.number, sign, times, "=", show_as_asked(answer)))),
        given=(("amount", amount), ("unit", unit)),
        source=source,
        traps=(*power_traps(), other_way(f"{word} by {show_number(times)}", 1 / ratio**2)),
    )


def _read(amount: str, unit: str) -> Quantity:
    fitting = [kind for kind in _KINDS if unit in UNITS[kind]]
    if not fitting:
        raise InputError([Fault("unit", unit, "There is no such unit.", 'Write it as "mg".')])
    return reader_of(tuple(fitting), "amount", "0.25 g")(amount)
