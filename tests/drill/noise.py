"""Wrong answers for measuring: those that known slips give, and numbers that are no slip's."""

from __future__ import annotations

import math
import random
from collections.abc import Iterator
from decimal import ROUND_HALF_UP, Decimal
from fractions import Fraction

from dosecheck.drill.diagnose import pairs
from dosecheck.drill.mark import UNIT_WRONG, WRONG, mark
from dosecheck.drill.question import Question, Trap


def as_a_learner_writes(question: Question, number: Fraction) -> list[Decimal]:
    """With a calculator's Decimal, not the house's rounding: to the stated step, or as it is where it ends within four decimals.

    Where that would leave a single figure, three figures.
    """
    exact = Decimal(number.numerator) / Decimal(number.denominator)
    places = Decimal(str(float(question.step.number))).normalize() if question.step else Decimal("0.0001")
    rounded = exact.quantize(places, ROUND_HALF_UP) if places <= 1 else exact.quantize(Decimal(1), ROUND_HALF_UP)
    three = exact.quantize(Decimal(1).scaleb(exact.adjusted() - 2), ROUND_HALF_UP)
    if question.step:
        return [rounded if rounded >= 20 * places else three]
    return [exact] if exact == rounded else [three]


def wrong_answers(question: Question) -> Iterator[tuple[tuple[Trap, ...], str, bool]]:
    """(the slips, the answer they give as text, whether marking it tells them, alone or among equals).

    Of a pair, a single slip that gives the same will do.
    """
    for traps in [*((trap,) for trap in question.traps), *pairs(question)]:
        for number in as_a_learner_writes(question, question.wrong(traps).number):
            answer = f"{number.normalize():f} {question.answer.unit}"
            marked = mark(question, answer)
            if marked.result in (WRONG, UNIT_WRONG):
                slips = marked.diagnosis.slips
                named = tuple(trap.slip for trap in traps) in slips
                yield traps, answer, named or (len(traps) > 1 and any(len(names) == 1 for names in slips))


def log_uniform(question: Question, rng: random.Random) -> Fraction:
    """A number from a thirtieth to thirty times the answer, written with two or three figures."""
    number = float(question.answer.number) * 10 ** rng.uniform(-1.5, 1.5)
    places = rng.choice((2, 3, 3)) - 1 - math.floor(math.log10(number))
    return Fraction(round(Fraction(number) * Fraction(10) ** places)) / Fraction(10) ** places


def other_digits(question: Question, rng: random.Random) -> Fraction:
    """The answer with one or two of its digits changed."""
    digits = list(question.shown_answer.split()[0].replace(",", ""))
    places = [place for place, digit in enumerate(digits) if digit.isdigit()]
    for _ in range(rng.choice((1, 1, 2))):
        digits[rng.choice(places)] = rng.choice("0123456789")
    return Fraction("".join(digits))
