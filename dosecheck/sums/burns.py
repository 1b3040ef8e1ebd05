"""Fluid after a burn: so much for each kg and each per cent, half in the first 8 hours from the burn, half in the next 16.

Only second and third degree area counts.  Sources differ from 2 to 4 mL, so the figure is asked for.  Maintenance is
added, by 4-2-1.
"""

from __future__ import annotations

from fractions import Fraction
from typing import NamedTuple

from dosecheck.body.age import Age
from dosecheck.errors import Fault, InputError
from dosecheck.quantity import Quantity
from dosecheck.reading import read_time, read_volume
from dosecheck.reading.clock import read_duration
from dosecheck.reading.figures import Share, read_percent, reader_of
from dosecheck.showing import show_length
from dosecheck.sums.amounts import PUMP_STEP
from dosecheck.sums.child import AGE_IF_TOLD, WEIGHT
from dosecheck.sums.fluids import Rate, age_doubts, by_rule
from dosecheck.sums.frame import Answer, Doubt, Field, NotCovered, Result, Sum, rounded
from dosecheck.working import BY, TIMES, Step

_SOURCES = (
    "Major trauma: burns, fluids lesson, Royal College of Emergency Medicine Learning: 2 to 4 mL for each kg and each per cent over 24 hours from "
    "the burn, usually 3, for a child 2 may be chosen; half in 8 hours; beside maintenance; above 10 % in children",
    "Burns - fluids, emergency department guideline, Perth Children's Hospital: 2 mL, beside maintenance, from 8 % to 18 months and from 10 % "
    "above; fluid already taken is deducted",
    "Board review: paediatric burns, EM Daily, Cooper University Health Care: 4 mL; second and third degree area alone; maintenance by 4-2-1",
)
_read_figure = reader_of(("volume/weight",), "figure", "3 mL/kg")
_LEAST, _MOST = _read_figure("2 mL/kg"), _read_figure("4 mL/kg")
_EIGHT, _SIXTEEN = read_time("8 hours"), read_time("16 hours")
_START, _START_YOUNG = Fraction(10, 100), Fraction(8, 100)
_YOUNG_MONTHS = 18
_LARGE = Fraction(50, 100)  # our own line: look again at the map of the burn


class Part(NamedTuple):
    """What one part of the sum adds to the answer."""

    results: tuple[Result, ...]
    steps: tuple[Step, ...]
    doubts: tuple[Doubt, ...]


def burns(weight: Quantity, area: Share, per_percent: Quantity, since: Quantity | None, given: Quantity | None, age: Age | None) -> Answer:
    """Volumes of 8, 16 and 24 hours from the burn; rates from now on too, when the time since the burn is told."""
    _refuse(area, per_percent, since, given)
    maintenance = by_rule("4-2-1", weight, age)
    volumes = _volumes(weight, area, per_percent, maintenance)
    half = volumes.results[1].value
    rates = _rates(half, since, given, maintenance.amount) if since else Part((), (), (_SINCE_UNTOLD,))
    return Answer(
        (*rates.results, *volumes.results),
        (*volumes.steps, *rates.steps),
        (*_area_doubts(area, age), *age_doubts(weight, age), *rates.doubts),
        ("Only second and third degree area counts: redness alone does not.", _ONLY_A_START),
        _SOURCES,
    )


_ONLY_A_START = (
    "A start, not an order for 24 hours: look at the child and at the urine every hour, and change the rate. Common practice, no source."
)
_SINCE_UNTOLD = Doubt(
    "since-not-told", "The hours run from the burn, not from the arrival: tell the time since the burn, to get the rates."
)


def _refuse(area: Share, per_percent: Quantity, since: Quantity | None, given: Quantity | None) -> None:
    if given and not since:
        raise InputError([Fault("since", "", "Fluid already given needs the time since the burn.", 'Write it as "2 hours".')])
    if area < _START_YOUNG:
        raise NotCovered("The sources begin this fluid at 8 % up to 18 months and at 10 % above. Below that go by local guidance.")
    if not _LEAST <= per_percent <= _MOST:
        raise NotCovered("The sources reckon with 2 to 4 mL for each kg and each per cent.")
    if since and since >= _EIGHT:
        raise NotCovered("The first 8 hours are over. How the rest is caught up is for the burns team to say.")


def _volumes(weight: Quantity, area: Share, per_percent: Quantity, maintenance: Rate) -> Part:
    percent = area * 100
    whole = per_percent * weight * percent
    half = whole / 2
    with_it = half + maintenance.amount * _EIGHT
    steps = (
        Step("24 hours from the burn", (per_percent, TIMES, weight, TIMES, percent, "(per cent)"), whole),
        Step("each half", (whole, BY, 2), half),
        *(step._replace(what=f"maintenance, {step.what}") for step in maintenance.steps),
        Step("first 8 hours with maintenance", (half, "+", maintenance.amount, TIMES, _EIGHT), with_it),
    )
    results = (
        Result("24 hours from the burn", whole, "for the burn alone"),
        Result("first 8 hours", half, "for the burn alone"),
        Result("next 16 hours", half, "for the burn alone"),
        Result("maintenance", maintenance.amount),
        Result("first 8 hours with maintenance", with_it),
    )
    return Part(results, steps, ())


def _rates(half: Quantity, since: Quantity, given: Quantity | None, maintenance: Quantity) -> Part:
    """From now to 8 hours what is left of the first half; then the second half over 16 hours; maintenance in both."""
    left_volume, steps = half, []
    if given:
        left_volume = Quantity(max(half.value - given.value, 0), "volume", half.unit)
        note = "none is left" if given > half else ""
        steps.append(Step("left of the first half", (half, "-", given), left_volume, note))
    left_time = Quantity(_EIGHT.value - since.value, "time", "hours")
    now = _by_the_hour(left_volume, left_time) + maintenance
    later = _by_the_hour(half, _SIXTEEN) + maintenance
    steps += [
        Step("left of the 8 hours", (_EIGHT, "-", since), left_time),
        Step("rate until then", (left_volume, BY, left_time, "+", maintenance), now),
        Step("rate for the 16 hours after", (half, BY, _SIXTEEN, "+", maintenance), later),
    ]
    note = "with maintenance; rounded to 0.1 mL/h"
    results = (
        Result("rate until 8 hours from the burn", rounded(now, PUMP_STEP), f"{note}; for {show_length(left_time.value)}"),
        Result("rate for the 16 hours after", rounded(later, PUMP_STEP), note),
    )
    return Part(results, tuple(steps), _rate_doubts(half, left_volume, left_time))


def _by_the_hour(volume: Quantity, time: Quantity) -> Quantity:
    return Quantity(volume.value / time.value, "volume/time", "mL/h")


def _rate_doubts(half: Quantity, left_volume: Quantity, left_time: Quantity) -> tuple[Doubt, ...]:
    if not left_volume.value:
        return (Doubt("half-already-given", "The whole first half, or more, is already given: ask before giving more."),)
    if _by_the_hour(left_volume, left_time) > _by_the_hour(half, _EIGHT) * 2:
        return (Doubt("fast-catching-up", "The rate until 8 hours is more than twice an even one: ask how fast it may be caught up."),)
    return ()


def _area_doubts(area: Share, age: Age | None) -> list[Doubt]:
    doubts = []
    if area < _START and not (age and age.months_hi < _YOUNG_MONTHS):
        doubts.append(
            Doubt("small-area", "From 8 to 10 % the sources begin this fluid only up to 18 months of age: give the age in months.")
        )
    if area > _LARGE:
        doubts.append(Doubt("large-area", "It is more than half of the body: look at the map of the burn again."))
    return doubts


SUMS = {
    "burns-fluid": Sum(
        "Fluid after a burn",
        (
            WEIGHT,
            Field("area", read_percent, "20 %", "second and third degree area, as a share of the body"),
            Field("per_percent", _read_figure, "3 mL/kg", "your guidance's figure for each per cent, 2 to 4 mL/kg"),
            Field("since", read_duration, "2 hours", "time since the burn", needed=False),
            Field("given", read_volume, "150 mL", "fluid for the burn already given, by mouth too", needed=False),
            AGE_IF_TOLD,
        ),
        burns,
    ),
}
