"""Which mistake was it?  A wrong answer held against the slips of its own question, one by one and then in pairs.

A slip explains an answer only where its own wrong answer, written as the learner would write it, is that number: exactly,
to the stated rounding, or to three or four figures.  A pair explains only where no single slip does.  Several that
explain it alike are all told.
"""

from __future__ import annotations

from collections.abc import Iterator
from fractions import Fraction
from itertools import combinations
from math import floor, log10
from typing import NamedTuple

from dosecheck.drill.question import Question, Trap
from dosecheck.quantity import factor
from dosecheck.sums.frame import rounded

_FEWEST_STEPS = 20  # a wrong answer of fewer steps than this is too coarse to be known by its rounding
_ALONE = frozenset({"hundredfold", "per-kg-as-dose", "maximum-anyway"})
_POWERS = frozenset({"tenfold", "thousandfold"})  # both are one decimal point, not two slips


class Diagnosis(NamedTuple):
    """The slips, or pairs of slips, that explain the answer equally well; none where nothing known does."""

    explanations: tuple[tuple[Trap, ...], ...]

    @property
    def slips(self) -> tuple[tuple[str, ...], ...]:
        return tuple(dict.fromkeys(tuple(trap.slip for trap in traps) for traps in self.explanations))

    @property
    def sentences(self) -> tuple[str, ...]:
        """One clause for each explanation, or that none is known."""
        said = tuple(dict.fromkeys(" and ".join(trap.says for trap in traps) for traps in self.explanations))
        return said if len(said) < 2 else tuple(f"perhaps {clause}" for clause in said)


def diagnose(question: Question, value: Fraction) -> Diagnosis:
    """Args: value: a wrong answer, in base units of the answer's kind."""
    for sets in (_singles(question), pairs(question)):
        found = tuple(traps for traps in sets if _explains(question, traps, value))
        if found:
            return Diagnosis(found)
    return Diagnosis(())


def written(question: Question, value: Fraction) -> set[Fraction]:
    """A wrong answer as a learner would write it, in base units: rounded at the end, or before the slip, by each way allowed."""
    early = rounded(question.answer, question.step).value / question.answer.value if question.step else Fraction(1)
    return {form for ratio in {Fraction(1), question.other, early or Fraction(1)} for form in _rounded(question, value * ratio)}


def _rounded(question: Question, value: Fraction) -> set[Fraction]:
    """As it is, and rounded as one rounds."""
    unit = factor(question.answer.unit, question.answer.kind)
    number = value / unit
    forms = {number, _figures(number, 3), _figures(number, 4)}
    if question.step and value >= _FEWEST_STEPS * question.step.value:
        step = question.step.value / unit
        forms.add(floor(number / step + Fraction(1, 2)) * step)
    return {form * unit for form in forms}


def _singles(question: Question) -> Iterator[tuple[Trap, ...]]:
    return ((trap,) for trap in question.traps)


def pairs(question: Question) -> Iterator[tuple[Trap, ...]]:
    """Two slips of different names; one that copies a figure of the question, or is two already, comes alone."""
    fit = [trap for trap in question.traps if trap.slip not in _ALONE]
    return (pair for pair in combinations(fit, 2) if not {trap.slip for trap in pair} <= _POWERS and pair[0].slip != pair[1].slip)


def _explains(question: Question, traps: tuple[Trap, ...], value: Fraction) -> bool:
    wrong = question.wrong(traps).value
    if len(traps) > 1 and any(question.wrong((trap,)).value == wrong for trap in traps):
        return False  # one of the two changes nothing
    return not question.is_right(wrong) and value in written(question, wrong)


def _figures(number: Fraction, figures: int) -> Fraction:
    """Rounded to so many figures, a half up; `log10` only says where the first one stands."""
    places = figures - 1 - floor(log10(number))
    return floor(number * Fraction(10) ** places + Fraction(1, 2)) / Fraction(10) ** places
