"""Continuous infusions: from a dose by weight and time to mL/h and back, and what a day of it comes to.

Source: Newborn services drug dosage guideline, sodium nitroprusside, Starship Child Health: rate in mL/h is weight x 60
x dose (micrograms/kg/min) / strength (micrograms/mL).  The same relation holds for every unit; here it is unit-aware.
"""

from __future__ import annotations

from dosecheck.errors import Fault, InputError
from dosecheck.quantity import DRUG, Quantity
from dosecheck.reading.clock import read_duration
from dosecheck.reading.figures import reader_of
from dosecheck.showing import show_length
from dosecheck.sums.amounts import (
    STRENGTH,
    WEIGHT_IF_TOLD,
    by_weight,
    fast_for_weight,
    flow_doubts,
    set_doubts,
    strength_doubts,
    to_set,
    unused_weight,
    volume_of,
    whole_of,
)
from dosecheck.sums.frame import Answer, Doubt, Field, Result, Sum
from dosecheck.working import BY, TIMES, Step

SOURCE = (
    "Rate in mL/h = weight x 60 x dose (micrograms/kg/min) / strength (micrograms/mL): Newborn services drug dosage guideline, "
    "sodium nitroprusside, Starship Child Health"
)
TOTAL_SOURCE = (
    "A day's total counts the loading dose too: prescribing information, milrinone lactate injection, maintenance-dose table, United States"
)
_DAY = read_duration("24 hours")

RATES = tuple(kind for drug in DRUG for kind in (f"{drug}/time/weight", f"{drug}/time"))
_LOADS = tuple(kind for drug in DRUG for kind in (f"{drug}/weight", drug))
read_rate = reader_of(RATES, "dose by time", "5 micrograms/kg/min")
read_flow = reader_of(("volume/time",), "rate", "4.3 mL/h")


def rate(dose: Quantity, strength: Quantity, weight: Quantity | None) -> Answer:
    """mL/h for a dose by time (and weight) at a strength; the pump's figure is rounded to 0.1 mL/h and said so."""
    amount, steps = whole_of(dose, weight, "amount by time")
    exact, step = volume_of(amount, strength, "rate")
    doubts = (
        *unused_weight(dose, weight, "dose"),
        *strength_doubts(strength),
        *set_doubts(exact),
        *fast_for_weight(exact, weight),
    )
    return Answer((Result("rate", exact), *to_set(exact)), (*steps, step), doubts, (), (SOURCE,))


def dose(rate: Quantity, strength: Quantity, weight: Quantity | None) -> Answer:
    """The dose by time that a rate gives; by weight too where the weight is told, a medicine in mg also by the minute."""
    kind, unit = strength.kind.split("/")[0], strength.unit.split("/")[0]
    amount = Quantity(rate.value * strength.value, f"{kind}/time", f"{unit}/h")
    steps, results = [Step("dose", (rate, TIMES, strength), amount)], [Result("dose", amount)]
    if weight:
        by_hour = by_weight(amount, weight)
        steps.append(Step("dose by weight", (amount, BY, weight), by_hour))
        results.append(Result("dose by weight", by_hour))
        if kind == "mass":
            results.append(Result("by the minute", by_hour.to(f"{unit}/kg/min")))
            steps.append(Step("by the minute", (by_hour, BY, "60 min/h"), results[-1].value))
    doubts = (*strength_doubts(strength), *flow_doubts(rate), *fast_for_weight(rate, weight))
    return Answer(tuple(results), tuple(steps), doubts, (), (SOURCE,))


def total(dose: Quantity, loading: Quantity | None, time: Quantity | None, weight: Quantity | None) -> Answer:
    """What an infusion gives in all, with its loading dose; by weight, and for this child where the weight is told."""
    time = time or _DAY
    in_all = dose * time
    steps, notes, doubts = [Step("infusion", (dose, TIMES, time), in_all)], (), []
    if loading:
        loading, more = _alike(loading, in_all, weight)
        doubts = _loading_doubts(loading, dose)
        steps += [*more, Step("with the loading dose", (in_all, "+", loading), in_all + loading)]
        in_all = in_all + loading
    else:
        notes = ("No loading dose is counted.",)
    results = [Result("total", in_all, f"in {show_length(time.value)}")]
    if weight and "weight" in in_all.kind:
        whole, more = whole_of(in_all, weight, "for this child")
        steps += more
        results.append(Result("for this child", whole))
    return Answer(tuple(results), tuple(steps), tuple(doubts), notes, (TOTAL_SOURCE,))


def _loading_doubts(loading: Quantity, dose: Quantity) -> list[Doubt]:
    """Our own line: a loading dose beyond a whole day of its infusion may be in mg where micrograms are meant."""
    if loading <= dose * _DAY:
        return []
    return [Doubt("large-loading", "The loading dose is more than the infusion gives in 24 hours: look at both units again.")]


def _alike(loading: Quantity, in_all: Quantity, weight: Quantity | None) -> tuple[Quantity, list[Step]]:
    """The loading dose on the total's own basis: by weight or not."""
    if loading.kind.split("/")[0] != in_all.kind.split("/")[0]:
        why = f"It cannot be added to an infusion in {in_all.unit}."
        raise InputError([Fault("loading", loading.unit, why, "Write both in the same sort of unit.")])
    if loading.kind == in_all.kind:
        return loading, []
    if "weight" in loading.kind:
        return whole_of(loading, weight, "loading dose")
    if weight is None:
        raise InputError([Fault("weight", "", "Only the infusion is by weight, and no weight is given.", 'Write it as "14.2 kg".')])
    shared = by_weight(loading, weight)
    return shared, [Step("loading dose by weight", (loading, BY, weight), shared)]


_DOSE = Field("dose", read_rate, "5 micrograms/kg/min", "dose by time")
_TIME = Field("time", read_duration, "24 hours", "how long it runs; 24 hours when left out", needed=False)
_LOADING = Field("loading", reader_of(_LOADS, "loading dose", "50 micrograms/kg"), "50 micrograms/kg", "loading dose", needed=False)

SUMS = {
    "infusion-rate": Sum("Rate of an infusion", (_DOSE, STRENGTH, WEIGHT_IF_TOLD), rate),
    "infusion-dose": Sum(
        "Dose that a rate gives", (Field("rate", read_flow, "4.3 mL/h", "rate of the pump"), STRENGTH, WEIGHT_IF_TOLD), dose
    ),
    "infusion-total": Sum("Total of an infusion", (_DOSE, _LOADING, _TIME, WEIGHT_IF_TOLD), total),
}
