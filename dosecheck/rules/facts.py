"""The child and the order as exact facts, which is all that limits and bands look at.

A fact is a (numerator, denominator) in base units; what is not told is simply absent.  Upper limits see the top of
the order's range and the most doses, lower limits its bottom and the mean.  Ages are intervals.
"""

from __future__ import annotations

from fractions import Fraction
from math import ceil
from typing import TYPE_CHECKING, NamedTuple

from dosecheck.body.age import Age, age_from_dates, age_from_parts, corrected, say_age
from dosecheck.body.surface import mosteller_squared, rounded_root
from dosecheck.errors import Fault, InputError
from dosecheck.formulary.cells import Interval
from dosecheck.formulary.limits import Limit
from dosecheck.formulary.measures import AT_MOST, Ratio
from dosecheck.quantity import Quantity
from dosecheck.reading import read_time
from dosecheck.records import Child, Order
from dosecheck.working import Step

if TYPE_CHECKING:
    from dosecheck.body.renal import Kidneys

DAY = 86_400
TERM_DAYS, TERM_FROM_DAYS = 280, 259  # 40 weeks; 37 completed weeks
_GESTATIONS = (140, 321)  # 20 to 45 completed weeks: what is possible when it is not told


class Body(NamedTuple):
    """What is known of the child: `intervals` for bands, `age` if told, `kidneys` if a creatinine is."""

    age: Age | None
    intervals: dict[str, Interval]
    kidneys: Kidneys | None = None

    @property
    def steps(self) -> tuple[Step, ...]:
        """The working of what was reckoned of the body."""
        return self.kidneys.steps if self.kidneys else ()

    @property
    def young(self) -> bool:
        """Under 3 months, or possibly so."""
        return self.age is not None and self.age.months_lo < 3


def age_of(child: Child) -> Age | None:
    """The age as an interval, from dates or as stated.

    Raises:
        InputError: both are given and disagree, or the parts are no age in completed units.
    """
    try:
        stated = age_from_parts(**child.age._asdict()) if child.age else None
    except ValueError as error:
        raise InputError([Fault("age", "", f"This is no age in completed units: {error}.", 'Write it as "3 years 2 months".')]) from None
    if not child.born:
        return stated
    dated = age_from_dates(child.born, child.on)
    if dated.months_lo > 12 * 120:
        raise InputError([Fault("born", str(child.born), "The child would be more than 120 years old.", "Look at the year.")])
    if stated and not (stated.days_lo <= dated.days_lo <= stated.days_hi and stated.months_lo <= dated.months_lo <= stated.months_hi):
        raise InputError(
            [
                Fault(
                    "age",
                    say_age(stated),
                    f"It disagrees with the date of birth {child.born}, which makes {say_age(dated)} on {child.on}.",
                    "Give the right one alone.",
                )
            ]
        )
    return dated


def body_of(child: Child) -> Body:
    """The child's facts for bands; raises InputError as `age_of` does."""
    age = age_of(child)
    intervals: dict[str, Interval] = {}
    if child.weight:
        intervals["weight"] = (child.weight.value, child.weight.value)
    gestation = gestation_interval(child.gestation)
    if child.gestation is not None:
        intervals["gestation"] = gestation
    if age:
        intervals["months"], intervals["days"] = (age.months_lo, age.months_hi), (age.days_lo, age.days_hi)
        intervals["postmenstrual days"] = (gestation[0] + age.days_lo, gestation[1] + age.days_hi)
        young, old = (_corrected(age, weeks, child) for weeks in gestation)
        intervals["corrected months"] = (young.months_lo, old.months_hi)
        intervals["corrected days"] = (young.days_lo, old.days_hi)
    kidneys = _kidneys(age, child)
    if kidneys and kidneys.rate:
        intervals["egfr"] = (kidneys.rate.value, kidneys.rate.value)
    return Body(age, intervals, kidneys)


def _kidneys(age: Age | None, child: Child) -> Kidneys | None:
    if child.creatinine is None:
        return None
    from dosecheck.body.renal import kidneys  # few orders tell a creatinine

    return kidneys(age, child.height, child.creatinine)


def gestation_interval(days: int | None) -> Interval:
    """Completed weeks stand for the whole week; not told stands for anything possible."""
    if days is None:
        return _GESTATIONS
    return (days, days + 6) if days % 7 == 0 else (days, days)


def _corrected(age: Age, gestation: int, child: Child) -> Age:
    known = corrected(age, gestation, child.born, child.on)
    return known or Age(-1, -1, age.days_lo + gestation - TERM_DAYS, age.days_hi + gestation - TERM_DAYS)


def ratio(value: Fraction | int) -> Ratio:
    value = Fraction(value)
    return value.numerator, value.denominator


def doses_in_a_day(order: Order) -> tuple[Fraction | None, Fraction | None, Fraction | None]:
    """(most doses in any 24 hours, mean doses, shortest gap in seconds); what is not told is None."""
    most = mean = gap = None
    every, times = order.every, order.times_a_day
    if every and every.times:
        times = every.times
    if order.once or (every and every.once):
        most = mean = Fraction(1)
    elif times:
        most = mean = Fraction(times)
        gap = Fraction(DAY, times)
    elif every:
        shortest, longest = every.gap
        most, mean, gap = Fraction(ceil(DAY / shortest)), DAY / longest, shortest
    if order.at_most:
        most = mean = Fraction(order.at_most)
    return most, mean, gap


def is_once(order: Order) -> bool:
    return order.once or bool(order.every and order.every.once)


def common_facts(order: Order, child: Child) -> dict[str, Ratio]:
    """Facts that are the same for every regimen and for upper and lower limits."""
    facts: dict[str, Ratio] = {}
    _, _, gap = doses_in_a_day(order)
    if child.weight:
        facts["weight"] = ratio(child.weight.value)
    area = surface_squared(child)
    if area is not None:
        facts["surface"] = ratio(rounded_root(area) ** 2 if order.dose and "surface" in order.dose.kind else area)
    for name, value in (("gap", gap), ("over", order.over), ("volume", order.made_up_to), ("course", order.course)):
        if value is not None:
            facts[name] = ratio(value.value if isinstance(value, Quantity) else value)
    return facts


def surface_squared(child: Child) -> Fraction | None:
    """Mosteller's body surface area, squared, in mm4; None where height or weight is not told."""
    return mosteller_squared(child.height, child.weight) if child.height and child.weight else None


def doses_given(window: str, order: Order) -> Fraction | None:
    """How many doses fall in a window ("course", "episode", "7 days"), if the order tells."""
    if is_once(order):
        return Fraction(1)
    most, _, _ = doses_in_a_day(order)
    if order.course is None or most is None or window == "episode":
        return None
    days = order.course.value / 86_400
    if window != "course":
        days = min(days, read_time(window).value / 86_400)
    return most * days


def facts_for(limit: Limit, upper: dict[str, Ratio], lower: dict[str, Ratio], order: Order) -> dict[str, Ratio]:
    """The facts that this limit looks at: its own end of the dose, and the doses that fall in its window."""
    facts = upper if limit.main.sense == AT_MOST else lower
    if limit.code != "total-above-max":
        return facts
    given = doses_given(limit.name.removeprefix("total over "), order)
    return facts if given is None else {**facts, "given": ratio(given)}
