"""Which mistake: known wrong answers are named, random ones are not blamed on anything."""

from __future__ import annotations

import random
from collections import Counter
from fractions import Fraction

import pytest
from drill.bank import POOL, amounts
from drill.noise import log_uniform, other_digits, wrong_answers

from dosecheck.drill.chain import pose
from dosecheck.drill.diagnose import diagnose
from dosecheck.drill.kinds import KINDS
from dosecheck.drill.links import Figures
from dosecheck.drill.make import make
from dosecheck.drill.mark import mark
from dosecheck.drill.question import LEVELS
from dosecheck.quantity import factor

PAIR_WEIGHT = Fraction(1, 10)  # a learner makes one slip far oftener than two: common practice, no source


def test_the_right_slip_is_named() -> None:
    """Of generated wrong answers at least 98 % (pairs weighted less); a single slip in at least 99 %."""
    told, tried = {1: 0, 2: 0}, {1: 0, 2: 0}
    for question in amounts(3):
        for traps, _, named in wrong_answers(question):
            tried[len(traps)] += 1
            told[len(traps)] += named
    assert tried[1] > 800 and tried[2] > 1000
    assert told[1] >= tried[1] * Fraction(99, 100)
    assert told[1] + told[2] * PAIR_WEIGHT >= (tried[1] + tried[2] * PAIR_WEIGHT) * Fraction(98, 100)


def test_random_numbers_are_seldom_blamed_on_a_slip() -> None:
    """Of each sort of noise at most 5 %; of no kind more than 8 % (an answer of one digit, as of doses, has few neighbours)."""
    rng = random.Random(20260504)
    blamed, tried = Counter(), Counter()
    for question in amounts(8):
        for noise in (log_uniform, other_digits) * 8:
            value = noise(question, rng) * factor(question.answer.unit, question.answer.kind)
            if value and not question.is_right(value):
                for group in (noise, question.kind):
                    tried[group] += 1
                    blamed[group] += bool(diagnose(question, value).explanations)
    for noise in (log_uniform, other_digits):
        assert tried[noise] > 1000 and blamed[noise] <= tried[noise] * 0.05
    for kind in KINDS:
        assert blamed[kind] <= tried[kind] * 0.08, (kind, blamed[kind], tried[kind])


PARACETAMOL = Figures(dose="15 mg/kg", medicine="paracetamol", weight="80 kg", max_single="1 g")
SHARED = Figures(dose="60 mg/kg a day", weight="20 kg", doses_a_day=4)


@pytest.mark.parametrize(
    "figures, answer, clause",
    [
        (PARACETAMOL, "1200 mg", "you forgot the maximum of 1 g"),
        (PARACETAMOL, "10 g", "it is ten times the answer: look at the decimal point"),
        (PARACETAMOL, "1 mg", "it is a thousandth of the answer"),
        (PARACETAMOL, "12000 mg", "look at the decimal point and you forgot the maximum of 1 g"),
        (SHARED, "1200 mg", "that is for the whole day: share it out over the 4 doses"),
        (SHARED, "75 mg", "you divided by the doses twice"),
        (SHARED._replace(dose="40 mg a day", weight="", doses_a_day=10), "40 mg", "perhaps"),
    ],
)
def test_what_the_learner_is_told(figures: Figures, answer: str, clause: str) -> None:
    said = " ".join(mark(pose(figures, "shared-dose", 1), answer).said)
    assert clause in said or clause.capitalize() in said


def test_equal_explanations_are_both_told() -> None:
    """Ten doses a day: the whole day's dose is ten times the answer too."""
    marked = mark(pose(SHARED._replace(dose="40 mg a day", weight="", doses_a_day=10), "shared-dose", 1), "40 mg")
    assert {names for names in marked.diagnosis.slips} == {("tenfold",), ("day-at-once",)}
    assert marked.said[1] == "40 mg: more than one slip gives this."


def test_a_maximum_hides_slips_before_it() -> None:
    """A weight in pounds changes nothing where the maximum binds, so it explains nothing."""
    question = pose(Figures(dose="15 mg/kg", weight="200 lb", max_single="1 g"), "maximum", 1)
    assert mark(question, "1000 mg").right
    pounds = next(trap for trap in question.traps if trap.slip == "pounds")
    assert question.wrong((pounds,)) == question.answer


def test_the_right_answer_is_never_a_slip() -> None:
    for question in amounts(3):
        assert mark(question, question.shown_answer.replace(",", "")).right, question.id


def test_every_kind_and_level_knows_slips() -> None:
    for kind in KINDS:
        for level in LEVELS:
            question = make(kind, level, 3, POOL)
            assert question.traps or question.choices, question.id
