"""Maintenance fluid by weight: three published rules, which differ, and newborn babies by the day of life.

Boluses are in `bolus.py`, deficits in `deficit.py`, burns in `burns.py`.
"""

from __future__ import annotations

from functools import partial
from typing import NamedTuple

from dosecheck.body.age import Age, age_from_parts
from dosecheck.quantity import Quantity
from dosecheck.reading import read_weight
from dosecheck.reading.figures import read_whole, reader_of, word_of
from dosecheck.showing import show
from dosecheck.sums.amounts import to_set
from dosecheck.sums.child import AGE_IF_TOLD, NEWBORN_LAST_DAY, WEIGHT
from dosecheck.sums.frame import Answer, Doubt, Field, NotCovered, Result, Sum
from dosecheck.sums.weighed import weight_doubt
from dosecheck.working import BY, TIMES, Step

_read_rate = reader_of(("volume/time", "volume/time/weight"), "rate", "100 mL/kg/day")


# ---- maintenance ----


class Rule(NamedTuple):
    """Rates for the first 10 kg, the next 10 kg and each further kg; `most` where the source has one."""

    figures: tuple[Quantity, Quantity, Quantity]
    most: Quantity | None
    source: str


class Rate(NamedTuple):
    """What a rule comes to at a weight; `held` when the rule's most cut it."""

    amount: Quantity
    steps: tuple[Step, ...]
    held: bool


def _rule(figures: str, most: str, source: str) -> Rule:
    return Rule(tuple(map(_read_rate, figures.split(", "))), _read_rate(most) if most else None, source)


_CAP = "usually not above 2,400 mL a day or 100 mL/h (fluid replacement page, pediatricir.com)"
RULES = {
    "100-50-20": _rule(
        "100 mL/kg/day, 50 mL/kg/day, 20 mL/kg/day",
        "2400 mL/day",
        f"Holliday and Segar, Pediatrics 1957;19:823: 100, 50 and 20 mL/kg a day; {_CAP}",
    ),
    "4-2-1": _rule(
        "4 mL/kg/h, 2 mL/kg/h, 1 mL/kg/h",
        "100 mL/h",
        f"Holliday and Segar's rule rounded for pumps, University of Texas Medical Branch, fluids page: 4, 2 and 1 mL/kg/h; {_CAP}",
    ),
    "100-50-25": _rule(
        "100 mL/kg/day, 50 mL/kg/day, 25 mL/kg/day",
        "",
        "Pocket book of hospital care for children, 2nd edition, World Health Organization, 2013, section 10.2: 100, 50 and 25 mL/kg a day",
    ),
}
_RANGE = "Intravenous fluids in children, emed.ie: for well children of normal hydration from 3 kg, beyond the newborn period"
_TEN_KG, _LEAST = read_weight("10 kg"), read_weight("3 kg")
_MAYBE_NEWBORN = read_weight("6 kg")  # our own line: below it an untold age may be that of a newborn baby
_MANY = _read_rate("2400 mL/day")
_WHICH_FLUID = "Which fluid is not reckoned here. Glucose 5 % alone is not for maintenance (WHO pocket book, section 10.2)."


def maintenance(weight: Quantity, rule: str, age: Age | None) -> Answer:
    """Maintenance by one rule, by the day and by the hour; what the other rules give is said beside it."""
    rate = by_rule(rule, weight, age)
    day, hour = rate.amount.to("mL/day"), rate.amount.to("mL/h")
    other_time = (
        Step("a day", (hour, TIMES, "24 hours"), day) if "/h" in rate.amount.unit else Step("by the hour", (day, BY, "24 hours"), hour)
    )
    note = "held at the usual most" if rate.held else ""
    results = (
        Result("a day", day, note),
        Result("by the hour", hour, note),
        *to_set(hour),
    )
    notes = (*_by_others(rate.amount, weight, age), _WHICH_FLUID)
    return Answer(results, (*rate.steps, other_time), (*age_doubts(weight, age), *_many(day)), notes, (RULES[rule].source, _RANGE))


def by_rule(name: str, weight: Quantity, age: Age | None) -> Rate:
    """The rate at this weight, held at the rule's most.

    Raises:
        NotCovered: below 3 kg, or a newborn baby by the age.
    """
    if weight < _LEAST or (age and age.days_lo <= NEWBORN_LAST_DAY):
        raise NotCovered("The rules are for children from 3 kg and beyond the first 28 days of life. For a newborn baby see newborn-fluid.")
    rule, left = RULES[name], weight.to("kg")
    parts, steps = [], []
    for which, figure, most in zip(("first 10 kg", "next 10 kg", "above 20 kg"), rule.figures, (_TEN_KG, _TEN_KG, left), strict=True):
        piece = min(left, most)
        if not piece.value:
            break
        parts += ["+", figure * piece]
        steps.append(Step(which, (figure, TIMES, piece), parts[-1]))
        left = Quantity(left.value - piece.value, "weight", "kg")
    total = sum(parts[3::2], parts[1])
    if len(steps) > 1:
        steps.append(Step("together", tuple(parts[1:]), total))
    if rule.most and total > rule.most:
        steps.append(Step("held at the usual most", ("the smaller of", total, "and", rule.most), rule.most))
        return Rate(rule.most, tuple(steps), True)
    return Rate(total, tuple(steps), False)


def _by_others(amount: Quantity, weight: Quantity, age: Age | None) -> list[str]:
    rates = {name: by_rule(name, weight, age).amount for name in RULES}
    return [f"By {name} it would be {show(rate.to('mL/day'))}, {show(rate.to('mL/h'))}." for name, rate in rates.items() if rate != amount]


def age_doubts(weight: Quantity, age: Age | None) -> tuple[Doubt, ...]:
    """A small child of untold age may be a newborn baby, who needs less."""
    if age is None and weight < _MAYBE_NEWBORN:
        return (Doubt("age-not-told", "So small a child may be a newborn baby, who needs less in the first days: give the age."),)
    return ()


def _many(day: Quantity) -> tuple[Doubt, ...]:
    return (Doubt("above-usual-most", "It is above 2,400 mL a day, at which another source stops: look again."),) if day > _MANY else ()


# ---- newborn babies ----

# last day of life, least and most
_NEWBORN = (
    (1, "50 mL/kg/day", "60 mL/kg/day"),
    (2, "70 mL/kg/day", "80 mL/kg/day"),
    (3, "80 mL/kg/day", "100 mL/kg/day"),
    (4, "100 mL/kg/day", "120 mL/kg/day"),
    (NEWBORN_LAST_DAY, "120 mL/kg/day", "150 mL/kg/day"),
)
_NEWBORN_SOURCE = (
    "NICE guideline NG29, updated 2020, as set out on a study page (guidelinegenius.com): routine maintenance of term babies by day of life"
)


def newborn(weight: Quantity, day_of_life: int, born: str) -> Answer:
    """The range of a day's fluid for a baby born at term, by the day of life as the chart counts it."""
    if born == "early":
        raise NotCovered("The figures are for babies born at term. For one born early go by the neonatal unit.")
    if day_of_life > NEWBORN_LAST_DAY:
        raise NotCovered("The figures end with the 28th day of life: see maintenance-fluid.")
    _, *ends = next(row for row in _NEWBORN if day_of_life <= row[0])
    steps = [
        Step(name, (figure, TIMES, weight), figure * weight) for name, figure in zip(("least", "most"), map(_read_rate, ends), strict=True)
    ]
    results = [Result(f"{step.what} a day", step.result, f"{show(step.result.to('mL/h'))}") for step in steps]
    doubt = weight_doubt(weight, age_from_parts(days=day_of_life - 1))
    doubts = (Doubt("weight-hard-to-believe", f"For a baby born at term {doubt}"),) if doubt else ()
    return Answer(tuple(results), tuple(steps), doubts, (_WHICH_FLUID,), (_NEWBORN_SOURCE,))


RULE = Field("rule", word_of(tuple(RULES), "rule"), "100-50-20", "100-50-20 or 100-50-25 by the day, 4-2-1 by the hour")

SUMS = {
    "maintenance-fluid": Sum(
        "Maintenance fluid",
        (
            WEIGHT,
            RULE,
            AGE_IF_TOLD,
        ),
        maintenance,
    ),
    "newborn-fluid": Sum(
        "Maintenance fluid of a newborn baby",
        (
            WEIGHT,
            Field(
                "day_of_life", partial(read_whole, what="day of life", example="3"), "3", "the day of life, the day of birth being day 1"
            ),
            Field("born", word_of(("at term", "early"), "birth"), "at term", '"at term" or "early" (before 37 weeks)'),
        ),
        newborn,
    ),
}
