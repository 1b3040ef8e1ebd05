"""Fluid that a dehydrated child lacks, given back beside maintenance; and ketoacidosis, by two dated formulae.

Each source has its own figures of maintenance; they are not mixed.
"""

from __future__ import annotations

from fractions import Fraction

from dosecheck.body.age import Age
from dosecheck.errors import Fault, InputError
from dosecheck.quantity import Quantity
from dosecheck.reading import read_time, read_volume, read_weight
from dosecheck.reading.figures import Share, read_percent, reader_of
from dosecheck.showing import show, show_share
from dosecheck.sums.amounts import to_set
from dosecheck.sums.child import AGE_IF_TOLD, WEIGHT
from dosecheck.sums.fluids import RULE, age_doubts, by_rule
from dosecheck.sums.frame import Answer, Doubt, Field, NotCovered, Result, Sum
from dosecheck.working import BY, TIMES, Step

_read_by_weight = reader_of(("volume/weight",), "deficit by weight", "60 mL/kg")
_WATER = _read_by_weight("1000 mL/kg")  # a litre of water weighs a kilogram
_EIGHT, _SIXTEEN, _TWO_DAYS = (read_time(text) for text in ("8 hours", "16 hours", "48 hours"))


def deficit_of(weight: Quantity, share: Share) -> Step:
    """The volume that is so large a share of the weight."""
    return Step("deficit", (show_share(share), "of", weight, "at 1 L for each kg"), _WATER * weight * share)


def _by_the_hour(volume: Quantity, time: Quantity) -> Quantity:
    return Quantity(volume.value / time.value, "volume/time", "mL/h")


def _rate(name: str, rate: Quantity) -> list[Result]:
    return [Result(name, rate), *to_set(rate, f"to set, {name}")]


# ---- dehydration ----

_TEXTBOOK = (
    "Management of the dehydrated child, emergency-medicine textbook chapter (barnardhealth.us): the share of the weight is the deficit; "
    "maintenance by 100-50-20 and half the deficit in 8 hours, the other half in 16 hours"
)


def replace(weight: Quantity, dehydration: Share, age: Age | None) -> Answer:
    """Rates of the first 8 and the next 16 hours: maintenance, and half of the deficit in each."""
    rate = by_rule("100-50-20", weight, age)
    deficit = deficit_of(weight, dehydration)
    half = deficit.result / 2
    hourly = rate.amount.to("mL/h")
    steps = [*rate.steps, *_hourly_step(rate.amount, hourly), deficit]
    results = [Result("deficit", deficit.result)]
    for name, time in (("first 8 hours", _EIGHT), ("next 16 hours", _SIXTEEN)):
        together = _by_the_hour(half, time) + hourly
        steps.append(Step(name, (half, BY, time, "+", hourly), together))
        results += _rate(name, together)
    notes = (
        "A bolus for shock comes first and is not taken off here, as the source does not.",
        "Not for ketoacidosis, which has its own sums.",
    )
    return Answer(tuple(results), tuple(steps), (*_share_doubts(dehydration), *age_doubts(weight, age)), notes, (_TEXTBOOK,))


def _share_doubts(share: Share) -> tuple[Doubt, ...]:
    """Our own lines: the source's example is of 10 %."""
    if share > Fraction(10, 100):
        return (Doubt("large-deficit", "It is more than 10 % of the weight: look at the share and at the weight again."),)
    if share < Fraction(1, 100):
        return (Doubt("small-deficit", "It is less than 1 % of the weight: is the share in per cent, such as 10 %?"),)
    return ()


# ---- ketoacidosis ----

_KETOACIDOSIS_NOTE = (
    "Fluid alone: insulin and potassium are not reckoned here. Too much fluid too fast can harm the brain: a headache, drowsiness or a "
    "slow pulse needs a doctor at once. Common practice, no source."
)

_TABLE_2023 = (
    "Management of diabetic ketoacidosis in children, table 1, PMC10497885, 2023: mL/h = deficit / 48 + maintenance by the hour; deficit "
    "30 to 50, 60 to 90 or 100 mL/kg by severity. It does not say by which rule maintenance goes"
)
_SEVERITIES = tuple(
    (_read_by_weight(low), _read_by_weight(high)) for low, high in (("30 mL/kg", "50 mL/kg"), ("60 mL/kg", "90 mL/kg"), ("100 mL/kg",) * 2)
)


def ketoacidosis(weight: Quantity, deficit: Quantity, rule: str, age: Age | None) -> Answer:
    """The rate of 48 hours by the 2023 table, with maintenance by the rule that is named."""
    least, most = _SEVERITIES[0][0], _SEVERITIES[-1][1]
    if not least <= deficit <= most:
        raise NotCovered("The table's deficits are from 30 to 100 mL/kg. For any other go by local guidance.")
    doubts = list(age_doubts(weight, age))
    if not any(low <= deficit <= high for low, high in _SEVERITIES):
        doubts.append(Doubt("between-severities", "The table has 30 to 50, 60 to 90 and 100 mL/kg: this lies between them."))
    rate = by_rule(rule, weight, age)
    hourly, volume = rate.amount.to("mL/h"), deficit * weight
    together = _by_the_hour(volume, _TWO_DAYS) + hourly
    steps = (
        *rate.steps,
        *_hourly_step(rate.amount, hourly),
        Step("deficit", (deficit, TIMES, weight), volume),
        Step("by the hour", (volume, BY, _TWO_DAYS, "+", hourly), together),
    )
    notes = ("A bolus is not taken off here, as the table does not.", _KETOACIDOSIS_NOTE)
    return Answer((*_rate("by the hour", together), Result("deficit", volume)), steps, tuple(doubts), notes, (_TABLE_2023,))


def _hourly_step(amount: Quantity, hourly: Quantity) -> list[Step]:
    """How a rule by the day becomes a rate by the hour; nothing where it is by the hour already."""
    return [Step("maintenance by the hour", (amount, BY, "24 hours"), hourly)] if "day" in amount.unit else []


_GUIDELINE_2009 = (
    "British Society for Paediatric Endocrinology and Diabetes, guideline 2009, as quoted on a question page: mL/h = (maintenance of 48 hours "
    "+ deficit - bolus given) / 48; deficit 5 to 8 %; maintenance 80 mL/kg a day to 12.9 kg, 65 mL/kg a day from 13 to 19.9 kg"
)
_read_daily = reader_of(("volume/time/weight",), "maintenance", "80 mL/kg/day")
# weight below, maintenance
_MAINTENANCE_2009 = ((read_weight("13 kg"), _read_daily("80 mL/kg/day")), (read_weight("20 kg"), _read_daily("65 mL/kg/day")))
_LEAST_2009, _MOST_2009 = Fraction(5, 100), Fraction(8, 100)
_BOLUS_2009 = _read_by_weight("30 mL/kg")


def ketoacidosis_2009(weight: Quantity, dehydration: Share, bolus: Quantity | None) -> Answer:
    """The rate of 48 hours by the guideline of 2009, which has been replaced: always a query."""
    figure = next((figure for below, figure in _MAINTENANCE_2009 if weight < below), None)
    if figure is None:
        raise NotCovered("Its figures of maintenance were read only to 19.9 kg. Use the guidance of today.")
    if not _LEAST_2009 <= dehydration <= _MOST_2009:
        raise NotCovered("It reckons with a deficit of 5 to 8 %. Use the guidance of today.")
    deficit = deficit_of(weight, dehydration)
    day = figure * weight
    two_days = day * _TWO_DAYS
    whole = two_days + deficit.result
    steps = [
        Step("maintenance", (figure, TIMES, weight), day),
        deficit,
        Step("48 hours", (day, TIMES, _TWO_DAYS, "+", deficit.result), whole),
    ]
    doubts = [Doubt("replaced", "This guideline was replaced in 2020 and 2021: use it only to follow an old chart.")]
    if bolus:
        doubts += _bolus_doubts(bolus, weight)
        whole = _less(whole, bolus)
        steps.append(Step("less the bolus", (steps[-1].result, "-", bolus), whole))
    rate = _by_the_hour(whole, _TWO_DAYS)
    steps.append(Step("by the hour", (whole, BY, _TWO_DAYS), rate))
    results = (*_rate("by the hour", rate), Result("deficit", deficit.result))
    return Answer(results, tuple(steps), tuple(doubts), (_KETOACIDOSIS_NOTE,), (_GUIDELINE_2009,))


def _bolus_doubts(bolus: Quantity, weight: Quantity) -> list[Doubt]:
    if bolus > _BOLUS_2009 * weight:
        return [Doubt("large-bolus", "The bolus is more than the guideline's 30 mL/kg: look at it again.")]
    return []


def _less(whole: Quantity, bolus: Quantity) -> Quantity:
    if bolus >= whole:
        raise InputError(
            [Fault("bolus", show(bolus), f"It is no less than all the fluid of 48 hours, {show(whole)}.", "Look at it again.")]
        )
    return Quantity(whole.value - bolus.value, "volume", whole.unit)


_SHARE = Field("dehydration", read_percent, "8 %", "what is lacking, as a share of the weight")

SUMS = {
    "deficit-fluid": Sum("Deficit and maintenance", (WEIGHT, _SHARE, AGE_IF_TOLD), replace),
    "ketoacidosis-fluid": Sum(
        "Fluid in ketoacidosis",
        (WEIGHT, Field("deficit", _read_by_weight, "60 mL/kg", "what is lacking, by weight, from the severity"), RULE, AGE_IF_TOLD),
        ketoacidosis,
    ),
    "ketoacidosis-fluid-2009": Sum(
        "Fluid in ketoacidosis, guideline of 2009",
        (WEIGHT, _SHARE, Field("bolus", read_volume, "140 mL", "the bolus already given", needed=False)),
        ketoacidosis_2009,
    ),
}
