"""The kinds over sums, gaps and judged orders: each answer again by other arithmetic, or by the check itself.

Rules used here are those that the question tells; the sums' own sources are checked in `published/`.
"""

from __future__ import annotations

import math
import re
from collections import Counter
from fractions import Fraction

import pytest
from drill.bank import POOL, question

from dosecheck import check_order, read_order
from dosecheck.drill.mark import mark
from dosecheck.drill.question import LEVELS, Question
from dosecheck.records import QUERY, STOP, WITHIN

SEEDS = range(40)
IN_MG = {"mg": Fraction(1), "g": Fraction(1000), "micrograms": Fraction(1, 1000), "units": Fraction(1)}


def number(text: str) -> Fraction:
    return Fraction(re.match(r"[0-9.]+", text.replace(",", "")).group())


def numbers(text: str) -> list[Fraction]:
    return [Fraction(n) for n in re.findall(r"(?<![-0-9a-zA-Z.])[0-9][0-9.]*[0-9]|(?<![-0-9a-zA-Z.])[0-9]", text)]


def per_mL(text: str) -> Fraction:
    """mg or units in 1 mL."""
    if text.endswith("%"):
        return number(text) * 10
    if text.startswith("1 in "):
        return Fraction(1000, int(text[5:]))
    unit = re.search(r"[a-z]+", text).group()
    volume = re.search(r" in ([0-9.]+) mL", text)
    return number(text) * IN_MG[unit] / (Fraction(volume[1]) if volume else 1)


def infusion(told: dict, level: int) -> Fraction:
    """mL/h, or at the third level mg (or units) a kg an hour."""
    if level == 3:
        return number(told["rate"]) * per_mL(told["strength"]) / number(told["weight"])
    unit, *below = told["dose"].partition(" ")[2].split("/")
    a_hour = number(told["dose"]) * IN_MG[unit if unit in IN_MG else unit + "s"] * (60 if "min" in below else 1)
    return a_hour * (number(told["weight"]) if "kg" in below else 1) / per_mL(told["strength"])


def drops(told: dict, level: int) -> Fraction:
    if level == 3:
        return number(told["drops"]) * 60 / number(told["set"])
    rate = number(told["rate"]) if "rate" in told else number(told["volume"]) / number(told["time"])
    return rate * number(told["set"]) / 60


def strength(told: dict, level: int) -> Fraction:
    if level == 3:
        return per_mL(told["strength"]) * number(told["volume"]) / (number(told["volume"]) + number(told["added"]))
    return per_mL(told["strength"]) * (number(told["volume"]) if level == 2 else 1)


def displacement(told: dict, level: int) -> Fraction:
    if level == 1:
        return number(told["final"]) - number(told["displacement"])
    whole = number(told["diluent"]) + number(told["displacement"])
    return number(told["vial"]) / whole if level == 2 else number(told["dose"]) * whole / number(told["vial"])


def maintenance(told: dict, level: int) -> Fraction:
    kg, (first, second, third) = number(told["weight"]), map(int, told["rule"].split("-"))
    whole = first * min(kg, 10) + second * min(max(kg - 10, 0), 10) + third * max(kg - 20, 0)
    return Fraction(whole) / (24 if level == 3 else 1)


def inhaler(told: dict, level: int) -> Fraction:
    puffs = number(told["dose"]) * (2 if "twice" in told["dose"] else numbers(told["dose"])[1])
    if level == 1:
        product = next(p for m in POOL.formulary.medicines() if m.id == told["medicine"] for p in m.products if p.id == told["product"])
        return puffs * number(product.strength_text)
    return (number(told["holds"]) - (number(told["used"]) if level == 3 else 0)) / puffs


def gaps(told: dict, level: int) -> Fraction:
    doses = math.ceil(Fraction(24) / number(told["every"]))
    return doses * (1 if level == 1 else number(told["dose"]) * (number(told["weight"]) if level == 3 else 1))


AGAIN = {
    "infusion": infusion,
    "drops": drops,
    "strength": strength,
    "displacement": displacement,
    "maintenance": maintenance,
    "inhaler": inhaler,
    "gaps": gaps,
}


@pytest.mark.parametrize("level", LEVELS)
@pytest.mark.parametrize("kind", AGAIN)
def test_answers_recomputed(kind: str, level: int) -> None:
    """H29: what the told figures come to, without the house's arithmetic."""
    for seed in SEEDS:
        asked = question(kind, level, seed)
        got = asked.answer.number
        if kind == "infusion" and level == 3:
            got *= IN_MG[asked.answer.unit.split("/")[0]] * (60 if asked.answer.unit.endswith("/min") else 1)
        assert got == AGAIN[kind](dict(asked.given), level), asked.id


@pytest.mark.parametrize("level", LEVELS)
def test_surfaces_recomputed(level: int) -> None:
    """By binary roots, within the engine's rounding to 0.0001 m2."""
    for seed in SEEDS:
        asked = question("surface", level, seed)
        told = dict(asked.given)
        area = math.sqrt(number(told["height"]) * number(told["weight"]) / 3600)
        dose = 1 if level == 1 else float(number(told["dose"])) / (int(told["doses_a_day"]) if level == 3 else 1)
        assert abs(float(asked.answer.number) - area * dose) <= 0.000051 * dose


@pytest.mark.parametrize("level", LEVELS)
def test_local_anaesthetics_never_above_the_most(level: int) -> None:
    for seed in SEEDS:
        asked = question("anaesthetic", level, seed)
        told = dict(asked.given)
        a_kg, *never = (
            Fraction(n) for n in re.search(r"at most ([0-9.]+) mg/kg(?:, and never more than ([0-9]+) mg)?", asked.text).groups() if n
        )
        most = min([a_kg * number(told["weight"]), *never])
        part = Fraction(0)
        if level == 3:
            a_kg, *never = (
                Fraction(n)
                for n in re.search(
                    r"already given\. [A-Z][a-z ]+: at most ([0-9.]+) mg/kg(?:, and never more than ([0-9]+) mg)?", asked.text
                ).groups()
                if n
            )
            part = number(told["other_volume"]) * per_mL(told["other_strength"]) / min([a_kg * number(told["weight"]), *never])
        right = most * (1 - part) / (1 if level == 1 else per_mL(told["strength"]))
        assert right - Fraction(1, 10) < asked.answer.number <= right
        assert level == 3 or asked.answer.number == right


@pytest.mark.parametrize("level", LEVELS)
def test_judged_orders_are_judged_by_the_check(level: int) -> None:
    """The same order, read from the question's own words, through the check."""
    outcomes = Counter()
    for seed in SEEDS:
        asked = question("right-or-not", level, seed)
        outcomes[asked.answer] += 1
        assert check_order(*read_order(as_texts(asked)), POOL.formulary).outcome == asked.answer
        for choice in asked.choices:
            marked = mark(asked, choice.word.capitalize())
            assert marked.right == (choice.word == asked.answer)
            assert marked.right or len(marked.said) == 3
        assert mark(asked, "maybe").result == "unreadable"
    assert 12 <= outcomes[WITHIN] <= 28 and outcomes[QUERY] and outcomes[STOP]


def test_nothing_untold_decides_a_judged_order() -> None:
    """No finding but those about the dose and how often, which the told figures show."""
    shown = {"dose-above-range", "dose-below-range", "dose-above-single-max", "day-above-max", "gap-too-short", "too-many-doses"}
    for level in LEVELS:
        for seed in SEEDS:
            verdict = check_order(*read_order(as_texts(question("right-or-not", level, seed))), POOL.formulary)
            assert set(verdict.codes) <= shown | {"doses-a-day-not-listed"}, verdict.codes


def as_texts(asked: Question) -> dict[str, str]:
    words = re.match(
        r"SM-[0-9]+, (?P<age>.+?) old, weighs (?P<weight>.+?)\. Order: (?P<medicine>.+?), (?P<route>[a-z]+), for (?P<for_>.+?), "
        r"(?P<dose>[0-9.]+ [a-z]+), every (?P<every>[0-9]+ hours)(?:, at most (?P<at_most>[0-9]+) doses in 24 hours)?\. The formulary:",
        asked.text,
    )
    return {name: text for name, text in words.groupdict().items() if text}


def test_a_judged_order_says_what_was_written() -> None:
    asked = next(question("right-or-not", 1, seed) for seed in SEEDS if question("right-or-not", 1, seed).answer == STOP)
    assert asked.notes[-1] == "What was written: ten times the dose: a decimal point or a zero."
