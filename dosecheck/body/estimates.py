"""Weight guessed from age: published formulae side by side, each with its ages and how well it was found to do.

An estimate is no weight.  Nothing here enters an order: a guessed weight is used only when somebody writes it as the
child's own, `--weight "14 kg" --weight-is estimated`.  The arithmetic is exact.
"""

from __future__ import annotations

from collections.abc import Callable
from fractions import Fraction
from typing import NamedTuple

from dosecheck.body.age import Age, say_age
from dosecheck.quantity import UNITS, Quantity
from dosecheck.working import Step

MONTHS, YEARS = "completed months", "completed years"


class Piece(NamedTuple):
    """One line of a formula: from `low` to below `high` (in completed months or years), `said` as printed, in kg, with a place for the age."""

    takes: str
    low: int
    high: int
    said: str
    kilograms: Callable[[int], Fraction]


class Formula(NamedTuple):
    """A published formula; `ages` and `accuracy` in words, as its sources have them."""

    name: str
    ages: str
    pieces: tuple[Piece, ...]
    accuracy: str
    source: str


class Estimate(NamedTuple):
    """What one formula makes of an age: a weight with its step, or no weight and `why` not."""

    formula: Formula
    weight: Quantity | None
    step: Step | None
    why: str = ""


_GUNN = "410 children of one emergency department (Gunn and others, reported by the American College of Emergency Physicians, 2010)"
_PICU = "10,081 admissions to UK intensive care (Flannigan and others, Resuscitation 2014;85:927-31)"
_LUSCOMBE = "93,827 attendances (Luscombe and others, Emerg Med J 2011;28:590-3)"
_TRINIDAD = "at 1 to 5 years in Trinidad (BMC Emerg Med 2012;12:9)"
PARENT = "A parent's guess was within 10 % of the measured weight in 78 % of children, more often than any formula by age."
PARENT_SOURCE = 'Don\'t Forget the Bubbles, "I can guess your weight", citing an Australian emergency department'

FORMULAE = (
    Formula(
        "twice (age + 4)",
        "1 to 5 years",
        (Piece(YEARS, 1, 6, "2 x ({} + 4)", lambda years: Fraction(2 * (years + 4))),),
        f"within 10 % in 34 % of {_GUNN}; low by 33.4 % on average at 1 to 16 years in {_LUSCOMBE}; low by 1.4 kg {_TRINIDAD}",
        "Resuscitation Council (UK), frequently asked questions on paediatric life support, 2011. No ages are printed with it: taken at "
        "1 to 5 years, where Advanced Paediatric Life Support (2011) has the same line",
    ),
    Formula(
        "Advanced Paediatric Life Support, 2011",
        "1 month to 12 years",
        (
            Piece(MONTHS, 1, 12, "0.5 x {} + 4", lambda months: Fraction(months, 2) + 4),
            Piece(YEARS, 1, 6, "2 x {} + 8", lambda years: Fraction(2 * years + 8)),
            Piece(YEARS, 6, 13, "3 x {} + 7", lambda years: Fraction(3 * years + 7)),
        ),
        f"high by 10 to 25.4 % under 1 year, low by 2.8 to 4.9 % at 2 to 5 years, high by 8.6 to 20.7 % at 6 to 11 years in {_PICU}",
        "Advanced Paediatric Life Support, 5th edition, 2011, as quoted by Harlow G, Jayatunga R, Arch Dis Child 2013;98(Suppl 1):A109",
    ),
    Formula(
        "3 x age + 7",
        "1 to 13 years",
        (Piece(YEARS, 1, 14, "3 x {} + 7", lambda years: Fraction(3 * years + 7)),),
        f"low by 6.9 % on average in {_LUSCOMBE}; within 10 % in 45 % of {_GUNN}, 0.66 kg off on average; low by 0.4 kg {_TRINIDAD}",
        "Luscombe M, Owens BD, Burke D, Emerg Med J 2011;28:590-3",
    ),
    Formula(
        "Best Guess",
        "1 month to 14 years",
        (
            Piece(MONTHS, 1, 12, "({} + 9) / 2", lambda months: Fraction(months + 9, 2)),
            Piece(YEARS, 1, 5, "2 x ({} + 5)", lambda years: Fraction(2 * (years + 5))),
            Piece(YEARS, 5, 15, "4 x {}", lambda years: Fraction(4 * years)),
        ),
        f"within 10 % in 42 % of {_GUNN}, 0.7 kg off on average",
        "Tinning K, Acworth J, Emerg Med Australas 2007;19:528-34 (read in a journal club's summary). Printed as under 12 months, which "
        "the first month of life is left out of here; at 5 years two of its lines are printed and give the same",
    ),
    Formula(
        "Chinese Age Weight Rule",
        "1 to 10 years",
        (Piece(YEARS, 1, 11, "3 x {} + 5", lambda years: Fraction(3 * years + 5)),),
        "accurate and precise under 7 years only, as its authors say",
        "Cattermole GN and others, Emerg Med J 2011;28:390-6 (abstract)",
    ),
    Formula(
        "best fit of Trinidad",
        "1 to 5 years",
        (Piece(YEARS, 1, 6, "2.5 x {} + 8", lambda years: Fraction(5 * years, 2) + 8),),
        "its share within 10 % did not differ from that of twice (age + 4) and of 3 x age + 7 (same article)",
        "BMC Emerg Med 2012;12:9",
    ),
)


def estimates(age: Age) -> tuple[Estimate, ...]:
    """Every formula's answer for an age, in the order of FORMULAE; one whose ages do not cover it says why."""
    return tuple(estimate(formula, age) for formula in FORMULAE)


def estimate(formula: Formula, age: Age) -> Estimate:
    """One formula's answer.  The age must be known to the whole unit that the formula takes, and lie inside its ages."""
    for piece in formula.pieces:
        each = 12 if piece.takes == YEARS else 1
        least, most = age.months_lo // each, age.months_hi // each
        if piece.low <= least == most < piece.high:
            weight = Quantity(piece.kilograms(least) * UNITS["weight"]["kg"], "weight", "kg")
            note = f"age {least} in {piece.takes}"
            return Estimate(formula, weight, Step(formula.name, (piece.said.format(least),), weight, note))
    return Estimate(formula, None, None, _why_not(formula, age))


def _why_not(formula: Formula, age: Age) -> str:
    first, last = formula.pieces[0], formula.pieces[-1]
    low, high = (end * (12 if piece.takes == YEARS else 1) for piece, end in ((first, first.low), (last, last.high)))
    if age.months_hi < low or age.months_lo >= high:
        return f"it is for {formula.ages}"
    return f"{say_age(age)} is not one age in the {' or '.join(dict.fromkeys(piece.takes for piece in formula.pieces))} that it takes"


def spread(found: tuple[Estimate, ...]) -> tuple[Quantity, Quantity] | None:
    """The least and the greatest of the estimates, or None where there is none."""
    weights = [each.weight for each in found if each.weight is not None]
    return (min(weights), max(weights)) if weights else None
