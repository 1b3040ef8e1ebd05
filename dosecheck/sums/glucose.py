"""Glucose by vein: from the fluid's rate and strength to mg/kg/min and back.

Percent is g in 100 mL; the rest is arithmetic.  The thresholds are those of one guideline for newborn babies.
"""

from __future__ import annotations

from dosecheck.errors import Fault, InputError
from dosecheck.quantity import Quantity
from dosecheck.reading.figures import read_solution, reader_of
from dosecheck.showing import show
from dosecheck.sums.amounts import WEIGHT_IF_TOLD, by_weight, percent_text, set_doubts, strength_doubts, to_set
from dosecheck.sums.frame import Answer, Doubt, Field, Result, Sum, one_of
from dosecheck.working import BY, TIMES, Step

SOURCE = (
    "Persistent or refractory hypoglycaemia in the neonate, table of glucose rates, paediatric guidelines, NHS Greater Glasgow and "
    "Clyde; g in 100 mL, mL and minutes are arithmetic alone"
)
NOTES = (
    "In newborn babies, by this source: 4 to 6 mg/kg/min is the usual need; severe low blood sugar needs more than 8 mg/kg/min; "
    "above 10 mg/kg/min think of too much insulin (hyperinsulinism).",
)
_read_glucose_rate = reader_of(("mass/time/weight",), "glucose rate", "8 mg/kg/min")
_MOST = _read_glucose_rate("21 mg/kg/min")  # the highest of the source's table
_LEAST = _read_glucose_rate("0.5 mg/kg/min")  # our own line: what no fluid with glucose is run for
_STRONGEST = read_solution("50 %")


def glucose_rate(strength: Quantity, fluid: Quantity, weight: Quantity | None) -> Answer:
    """mg/kg/min that a fluid gives."""
    per_kg, steps = _per_kg(fluid, weight)
    rate = Quantity(strength.value * per_kg.value, "mass/time/weight", "mg/kg/min")
    steps.append(Step("glucose", (per_kg, TIMES, strength), rate))
    return Answer((Result("glucose", rate),), tuple(steps), tuple(_doubts(rate, strength)), NOTES, (SOURCE,))


def glucose_fluid(glucose: Quantity, strength: Quantity | None, fluid: Quantity | None, weight: Quantity | None) -> Answer:
    """The fluid that gives a glucose rate at a strength, or the strength that gives it in a fluid."""
    if one_of(strength=strength, fluid=fluid) == "strength":
        per_kg = Quantity(glucose.value / strength.value, "volume/time/weight", "mL/kg/day")
        steps = [Step("fluid", (glucose, BY, strength), per_kg)]
        results = [Result("fluid", per_kg)]
        doubts = _doubts(glucose, strength)
        if weight:
            flow = (per_kg * weight).to("mL/h")
            steps.append(Step("rate", (per_kg, TIMES, weight), flow))
            results += [Result("rate", flow), *to_set(flow)]
            doubts += set_doubts(flow)
        return Answer(tuple(results), tuple(steps), tuple(doubts), NOTES, (SOURCE,))
    per_kg, steps = _per_kg(fluid, weight)
    strength = Quantity(glucose.value / per_kg.value, "mass/volume", "mg/mL")
    steps.append(Step("strength", (glucose, BY, per_kg), strength))
    results = (Result("strength", strength), Result("in percent", percent_text(strength)))
    return Answer(results, tuple(steps), tuple(_doubts(glucose, strength)), NOTES, (SOURCE,))


def _per_kg(fluid: Quantity, weight: Quantity | None) -> tuple[Quantity, list[Step]]:
    if "weight" in fluid.kind:
        return fluid, []
    if weight is None:
        raise InputError([Fault("weight", "", "The fluid is not by weight, and no weight is given.", 'Write it as "3.2 kg".')])
    shared = by_weight(fluid, weight)
    return shared, [Step("fluid by weight", (fluid, BY, weight), shared)]


def _doubts(rate: Quantity, strength: Quantity) -> list[Doubt]:
    found = strength_doubts(strength)
    if rate > _MOST:
        found.append(Doubt("glucose-too-fast", f"{show(rate)} is more than the most in the source's table, {show(_MOST)}."))
    if rate < _LEAST:
        found.append(
            Doubt("glucose-too-slow", f"{show(rate)} is hardly any glucose: look at the units again, mg/kg/min and per cent of glucose.")
        )
    if not found and strength > _STRONGEST:
        found.append(Doubt("glucose-too-strong", f"{show(strength)} is stronger than glucose 50 %: look at the figures again."))
    return found


def _read_glucose(text: str) -> Quantity:
    """A strength of glucose by mass."""
    strength = read_solution(text)
    if strength.kind != "mass/volume":
        return reader_of(("mass/volume",), "strength of glucose", "10 %")(text)  # says what to write instead
    return strength


_STRENGTH = Field("strength", _read_glucose, "10 %", "strength of the glucose")
_FLUID = Field(
    "fluid", reader_of(("volume/time/weight", "volume/time"), "fluid rate", "90 mL/kg/day"), "90 mL/kg/day", "rate of that fluid alone"
)
_GLUCOSE = Field("glucose", _read_glucose_rate, "8 mg/kg/min", "the glucose that is wanted")

SUMS = {
    "glucose-rate": Sum("Glucose that a fluid gives", (_STRENGTH, _FLUID, WEIGHT_IF_TOLD), glucose_rate),
    "glucose-fluid": Sum(
        "Fluid or strength for a glucose rate",
        (_GLUCOSE, _STRENGTH._replace(needed=False), _FLUID._replace(needed=False), WEIGHT_IF_TOLD),
        glucose_fluid,
    ),
}
