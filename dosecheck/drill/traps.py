"""The slips as a learner makes them, each with what to say of it: those that a check knows, and a few that only a learner has.

The factors of the first sort are `rules/slips.py`'s own.  What is said is a clause: "213 mg: " goes before it.
"""

from __future__ import annotations

from collections.abc import Iterator
from fractions import Fraction

from dosecheck.drill.question import Trap
from dosecheck.quantity import Quantity
from dosecheck.rules.slips import SLIPS, Situation
from dosecheck.showing import show

TENFOLD, THOUSANDFOLD = "tenfold", "thousandfold"
_WORDS = {
    "pounds": "you took the pounds as kilograms",
    "per-kg-as-dose": "that is the figure for 1 kg: multiply it by the weight",
    "age-as-weight": "you multiplied by the age in years instead of the weight",
    "other-strength": "you used the strength of another product of this medicine",
    "volume-for-mass": "you wrote the milligrams as millilitres: divide by the strength",
}
_AFTER = ("tenfold", "thousandfold", "volume-for-mass", "other-strength")
_UNITS = "look at the unit (milligrams and micrograms, or grams and milligrams)"


def power_traps() -> tuple[Trap, ...]:
    """The decimal point and the thousand, which threaten every number."""
    return (
        Trap(TENFOLD, "it is ten times the answer: look at the decimal point", Fraction(10), before=False),
        Trap(TENFOLD, "it is a tenth of the answer: look at the decimal point", Fraction(1, 10), before=False),
        Trap("hundredfold", "it is a hundred times the answer: look at the zeros", Fraction(100), before=False),
        Trap("hundredfold", "it is a hundredth of the answer: look at the zeros", Fraction(1, 100), before=False),
        Trap(THOUSANDFOLD, f"it is a thousand times the answer: {_UNITS}", Fraction(1000), before=False),
        Trap(THOUSANDFOLD, f"it is a thousandth of the answer: {_UNITS}", Fraction(1, 1000), before=False),
    )


def known_traps(situation: Situation, doses: int | None) -> Iterator[Trap]:
    """The check's own slips as they would go in this situation; those of `power_traps` aside."""
    for slip in SLIPS:
        if slip.name in (TENFOLD, THOUSANDFOLD):
            continue
        for factor in slip.factors(situation):
            if slip.name == "day-at-once" and doses:
                yield undivided(doses)
            elif slip.name == "minute-for-hour":
                yield minute_for_hour(factor)
            elif factor != 1 and slip.name in _WORDS:
                yield Trap(slip.name, _WORDS[slip.name], factor, slip.name not in _AFTER)


def undivided(doses: int) -> Trap:
    return Trap("day-at-once", f"that is for the whole day: share it out over the {doses} doses", Fraction(doses))


def divided_twice(doses: int) -> Trap:
    return Trap("divided-twice", "you divided by the doses twice", Fraction(1, doses))


def minute_for_hour(factor: Fraction) -> Trap:
    size = "60 times" if factor > 1 else "a sixtieth of"
    return Trap("minute-for-hour", f"it is {size} the answer: minutes and hours are mixed up", factor)


def weight_divided(weight_kg: Fraction) -> Trap:
    return Trap("weight-divided", "you divided by the weight: multiply by it", 1 / weight_kg**2)


def pounds_turned(kg_per_lb: Fraction) -> Iterator[Trap]:
    """Pounds multiplied by 2.2 (or by the exact figure) instead of divided."""
    for times in (Fraction(22, 10), 1 / kg_per_lb):
        yield Trap("pounds-turned", "you multiplied the pounds by 2.2: divide by it", times / kg_per_lb)


def maximum_traps(free: Quantity, most: Quantity, figure: str) -> Iterator[Trap]:
    """The maximum forgotten where it binds, or taken where it does not."""
    if most < free:
        yield Trap("no-maximum", f"you forgot the maximum of {figure}", lifts=True)
    elif most.value != free.value:
        yield Trap("maximum-anyway", f"that is the maximum of {figure}, and the reckoned dose is below it", most.value / free.value)


def strength_traps(amount: Quantity, held: Quantity, volume: Quantity) -> Iterator[Trap]:
    """With "120 mg in 5 mL" (`held` in `volume`): the 5 mL forgotten, or the fraction upside down."""
    if volume.number != 1:
        yield Trap(
            "strength-volume", f"the strength is in {show(volume)}, not in 1 {volume.unit.rstrip('s')}", 1 / volume.number, before=False
        )
    if amount.value != held.value:
        yield Trap(
            "upside-down",
            f"you turned the fraction round: divide what is ordered by what the product holds ({show(held)})",
            (held.value / amount.value) ** 2,
            before=False,
        )


def other_way(what: str, factor: Fraction) -> Trap:
    """Multiplied where one divides, or the reverse; `factor` is wrong / right."""
    return Trap("other-way", f"you went the other way: {what}", factor, before=False)
