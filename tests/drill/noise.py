"""Wrong answers for measuring: those that known slips give, and numbers that are no slip's."""

from __future__ import annotations

import math
import random
from collections.abc import Iterator
from fractions import Fraction

from dosecheck.drill.diagnose import diagnose, pairs, written
from dosecheck.drill.question import Question, Trap


def wrong_answers(question: Question) -> Iterator[tuple[tuple[Trap, ...], Fraction, bool]]:
    """(the slips, the answer they give in each way a learner would write it, whether they are told, alone or among equals).

    Of a pair, a single slip that gives the same will do.
    """
    for traps in [*((trap,) for trap in question.traps), *pairs(question)]:
        wrong = question.wrong(traps).value
        if question.is_right(wrong):
            continue
        for value in sorted(written(question, wrong)):
            if not question.is_right(value):
                slips = diagnose(question, value).slips
                named = tuple(trap.slip for trap in traps) in slips
                yield traps, value, named or (len(traps) > 1 and any(len(names) == 1 for names in slips))


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
