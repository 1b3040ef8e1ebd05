"""An amount, a child and a solution in hand: amounts by weight, volumes by strength, and what is hard to believe of them.

The thresholds of doubt are common practice without a source; each is only a reason to look again.
"""

from __future__ import annotations

from fractions import Fraction

from dosecheck.errors import Fault, InputError
from dosecheck.quantity import Quantity, factor, kind_of
from dosecheck.reading import read_weight
from dosecheck.reading.figures import read_solution
from dosecheck.showing import show, show_number
from dosecheck.sums.frame import Doubt, Field, Result, rounded
from dosecheck.working import BY, TIMES, Step

_ML = factor("mL", "volume")
_SOLID = factor("g/mL", "mass/volume")
PUMP_STEP = Quantity(Fraction(_ML, 36_000), "volume/time", "mL/h")  # 0.1 mL/h
_FASTEST = 999 * factor("mL/h", "volume/time")
_FAR = Fraction(1, 10)  # how far a rounded rate may lie from the wanted one
_FAST_BY_WEIGHT = 10 * factor("mL/kg/h", "volume/time/weight")
_LEAST_VOLUME, _LARGEST_VOLUME = _ML / 10, 3000 * _ML
_FINE, _COARSE = Quantity(_ML / 100, "volume", "mL"), Quantity(_ML / 10, "volume", "mL")

STRENGTH = Field("strength", read_solution, "1 mg/mL", "what one mL holds: the whole of the medicine in the whole of the volume")
STOCK = Field("strength", read_solution, "10 mg/mL", "what the stock solution holds")
WEIGHT_IF_TOLD = Field("weight", read_weight, "14.2 kg", "the child's weight, when a figure is by weight", needed=False)


def whole_of(amount: Quantity, weight: Quantity | None, what: str) -> tuple[Quantity, list[Step]]:
    """The amount itself, or, where it is by weight, the amount for this child.

    Raises:
        InputError: it is by weight, and no weight is given.
    """
    if "weight" not in amount.kind:
        return amount, []
    if weight is None:
        raise InputError([Fault("weight", "", f"The {what} is by weight, and no weight is given.", 'Write it as "14.2 kg".')])
    whole = amount * weight
    return whole, [Step(what, (amount, TIMES, weight), whole)]


def volume_of(amount: Quantity, strength: Quantity, what: str) -> tuple[Quantity, Step]:
    """The volume (or the volume by time) that holds an amount (or an amount by time).

    Raises:
        InputError: the strength counts something else, such as units for mg.
    """
    if amount.kind.split("/")[0] != strength.kind.split("/")[0]:
        why = f"A strength in {strength.unit} cannot give an amount in {amount.unit}."
        raise InputError([Fault("strength", show(strength), why, "Write both in the same sort of unit.")])
    by_time = "/time" in amount.kind
    volume = Quantity(amount.value / strength.value, "volume/time" if by_time else "volume", "mL/h" if by_time else "mL")
    return volume, Step(what, (amount, BY, strength), volume)


def by_weight(amount: Quantity, weight: Quantity) -> Quantity:
    """The amount over the child's kilograms: "mg/kg/h" of "mg/h"."""
    top, *below = amount.unit.split("/")
    kind = kind_of(*amount.kind.split("/"), "weight")
    return Quantity(amount.value / weight.value, kind, "/".join([top, "kg", *below]))


def to_measure(volume: Quantity, down: bool = False) -> list[Result]:
    """What can be drawn up, in steps of 0.01 mL below 1 mL and of 0.1 mL from there on; none where the volume is such a step."""
    step = _FINE if volume.value < _ML else _COARSE
    measured = rounded(volume, step, down)
    if measured == volume or not measured.value:
        return []
    return [Result("to measure", measured, f"rounded {'down ' if down else ''}to {show(step)}")]


def to_set(rate: Quantity, name: str = "to set") -> list[Result]:
    """The rate as a pump takes it, in steps of 0.1 mL/h; none where that is nothing."""
    pump = rounded(rate, PUMP_STEP)
    return [Result(name, pump, "rounded to 0.1 mL/h")] if pump.value else []


def set_doubts(rate: Quantity) -> list[Doubt]:
    """About a rate that was reckoned, and is set in steps of 0.1 mL/h."""
    pump = rounded(rate, PUMP_STEP)
    if pump.value and abs(pump.value / rate.value - 1) > _FAR:
        text = f"{show(pump)} is more than a tenth away from {show(rate)}: use a weaker solution, or a pump with finer steps."
        return [Doubt("rate-rounded-far", text)]
    return flow_doubts(rate)


def unused_weight(amount: Quantity, weight: Quantity | None, what: str) -> list[Doubt]:
    """A weight beside an amount that is not by weight: "/kg" may have been left out."""
    if weight is None or "weight" in amount.kind:
        return []
    return [Doubt("weight-not-used", f'The weight was not used, as the {what} is not by weight: should it say "/kg"?')]


def strength_doubts(strength: Quantity) -> list[Doubt]:
    if strength.kind == "mass/volume" and strength.value > _SOLID:
        return [Doubt("strength-too-high", f"{show(strength)} is more than 1 g in 1 mL: look at the strength and its unit again.")]
    return []


def flow_doubts(flow: Quantity) -> list[Doubt]:
    """About a rate that is set on a pump."""
    if not rounded(flow, PUMP_STEP).value:
        return [Doubt("rate-too-small", "The rate is below what is set in steps of 0.1 mL/h: use a weaker solution.")]
    if flow.value > _FASTEST:
        return [Doubt("rate-too-fast", "More than 999 mL/h: look at the figures and their units again.")]
    return []


def fast_for_weight(flow: Quantity, weight: Quantity | None) -> list[Doubt]:
    """Of a medicine: a micrograms-for-mg slip shows as a flood of fluid."""
    if weight is None or flow.value <= _FAST_BY_WEIGHT * weight.value:
        return []
    return [
        Doubt(
            "fast-for-weight", "More than 10 mL for each kg in an hour: look at the units of the dose and the strength, and at the weight."
        )
    ]


def drawn_doubts(volume: Quantity) -> list[Doubt]:
    """About a volume that is drawn up."""
    if volume.value < _LEAST_VOLUME:
        return [Doubt("volume-too-small", f"{show(volume)} cannot be measured well: dilute first, or use a weaker solution.")]
    return bag_doubts(volume)


def bag_doubts(volume: Quantity) -> list[Doubt]:
    """About a volume that is made up, or run."""
    if volume.value > _LARGEST_VOLUME:
        return [Doubt("volume-too-large", f"{show(volume)} is more than one bag holds: look at the figures and their units again.")]
    return []


def percent_text(strength: Quantity) -> str | None:
    """ "0.9 %" (g in 100 mL); None where the strength is no mass."""
    if strength.kind != "mass/volume":
        return None
    return f"{show_number(strength.value * 100 / _SOLID)} %"
