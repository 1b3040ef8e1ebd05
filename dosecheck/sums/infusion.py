"""Continuous infusions: from a dose by weight and time to mL/h and back.

Source: Newborn services drug dosage guideline, sodium nitroprusside, Starship Child Health: rate in mL/h is weight x 60
x dose (micrograms/kg/min) / strength (micrograms/mL).  The same relation holds for every unit; here it is unit-aware.
"""

from __future__ import annotations

from fractions import Fraction

from dosecheck.errors import Fault, InputError
from dosecheck.quantity import DRUG, Quantity, factor
from dosecheck.reading import read_strength, read_weight
from dosecheck.reading.figures import reader_of
from dosecheck.sums.frame import Answer, Doubt, Field, Result, Sum, rounded
from dosecheck.working import BY, TIMES, Step

SOURCE = (
    "Rate in mL/h = weight x 60 x dose (micrograms/kg/min) / strength (micrograms/mL): Newborn services drug dosage guideline, "
    "sodium nitroprusside, Starship Child Health"
)
PUMP_STEP = Quantity(Fraction(factor("mL", "volume"), 36_000), "volume/time", "mL/h")  # 0.1 mL/h
_MOST = 999 * factor("mL/h", "volume/time")

_RATES = tuple(kind for drug in DRUG for kind in (f"{drug}/time/weight", f"{drug}/time"))
_read_dose = reader_of(_RATES, "dose by time", "5 micrograms/kg/min")
_read_flow = reader_of(("volume/time",), "rate", "4.3 mL/h")


def rate(dose: Quantity, strength: Quantity, weight: Quantity | None) -> Answer:
    """mL/h for a dose by time (and weight) at a strength; the pump's figure is rounded to 0.1 mL/h and said so."""
    amount, steps = _per_time(dose, weight)
    exact = _flow(amount, strength)
    pump = rounded(exact, PUMP_STEP)
    steps.append(Step("rate", (amount, BY, strength), exact))
    doubts = _doubts(exact)
    if not pump.value:
        doubts.append(Doubt("rate-too-small", "The rate is below what is set in steps of 0.1 mL/h: use a weaker solution."))
    return Answer((Result("rate", exact), Result("to set", pump, "rounded to 0.1 mL/h")), tuple(steps), tuple(doubts), (), (SOURCE,))


def dose(rate: Quantity, strength: Quantity, weight: Quantity | None) -> Answer:
    """The dose by time that a rate gives; by weight too where the weight is told."""
    kind = strength.kind.split("/")[0]
    unit = strength.unit.split("/")[0]
    amount = Quantity(rate.value * strength.value, f"{kind}/time", f"{unit}/h")
    steps, results = [Step("dose", (rate, TIMES, strength), amount)], [Result("dose", amount)]
    if weight:
        by_weight = (amount / weight.to("kg")).to(f"{unit}/kg/min" if kind != "activity" else "units/kg/h")
        steps.append(Step("dose by weight", (amount, BY, weight), by_weight))
        results.append(Result("dose by weight", by_weight))
    return Answer(tuple(results), tuple(steps), tuple(_doubts(rate)), (), (SOURCE,))


def _per_time(dose: Quantity, weight: Quantity | None) -> tuple[Quantity, list[Step]]:
    if "weight" not in dose.kind:
        return dose, []
    if weight is None:
        raise InputError([Fault("weight", "", "The dose is by weight, and no weight is given.", 'Write it as "14.2 kg".')])
    amount = dose * weight
    return amount, [Step("amount by time", (dose, TIMES, weight), amount)]


def _flow(amount: Quantity, strength: Quantity) -> Quantity:
    if strength.kind != f"{amount.kind.split('/')[0]}/volume":
        raise InputError(
            [Fault("strength", "", f"A strength by {strength.unit} cannot give a dose by {amount.unit}.", 'Write it as "1 mg/mL".')]
        )
    return Quantity(amount.value / strength.value, "volume/time", "mL/h")


def _doubts(flow: Quantity) -> list[Doubt]:
    if flow.value > _MOST:
        return [Doubt("rate-too-fast", "More than 999 mL/h: look at the dose, its unit and the strength again.")]
    return []


_STRENGTH = Field("strength", read_strength, "1 mg/mL", "what one mL holds: the whole of the medicine in the whole of the volume")
_WEIGHT = Field("weight", read_weight, "14.2 kg", "the child's weight, when the dose is by weight", needed=False)

SUMS = {
    "infusion-rate": Sum(
        "Rate of an infusion", (Field("dose", _read_dose, "5 micrograms/kg/min", "dose by time"), _STRENGTH, _WEIGHT), rate
    ),
    "infusion-dose": Sum("Dose that a rate gives", (Field("rate", _read_flow, "4.3 mL/h", "rate of the pump"), _STRENGTH, _WEIGHT), dose),
}
