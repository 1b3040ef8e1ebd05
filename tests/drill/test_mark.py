"""Marking: any right unit, the unit as a result of its own, unsafe writing, and answers that cannot be read."""

from __future__ import annotations

from fractions import Fraction

import pytest
from drill.bank import amounts

from dosecheck.drill.chain import pose
from dosecheck.drill.links import Figures
from dosecheck.drill.mark import RIGHT, UNIT_MISSING, UNIT_WRONG, UNREADABLE, WRONG, mark
from dosecheck.quantity import UNITS
from dosecheck.reading import SPELLINGS
from dosecheck.showing import show_number

QUARTER = pose(Figures(dose="25 mg/kg", weight="10 kg"), "dose-by-weight", 1)  # 250 mg
MILLILITRES = pose(Figures(dose="213 mg", strength="120 mg in 5 mL", ask="product", step="0.1 mL"), "volume", 1)  # 8.875 mL


@pytest.mark.parametrize(
    "answer, result",
    [
        ("250 mg", RIGHT),
        ("0.25 g", RIGHT),
        ("250.0 mg", RIGHT),
        ("250000 micrograms", RIGHT),
        ("250000 mcg", RIGHT),
        (".25 g", RIGHT),
        ("250mg", RIGHT),
        ("250", UNIT_MISSING),
        ("250 g", UNIT_WRONG),
        ("250 micrograms", UNIT_WRONG),
        ("250 mL", UNIT_WRONG),
        ("250 kg", UNIT_WRONG),
        ("25 mg", WRONG),
        ("2500", WRONG),
        ("10 mL", WRONG),
        ("0 mg", WRONG),
    ],
)
def test_mr39_marking_is_by_the_amount(answer: str, result: str) -> None:
    """MR39: any documented spelling of the right amount is right; the right number with a wrong or missing unit is not."""
    marked = mark(QUARTER, answer)
    assert marked.result == result, marked.said
    assert marked.right == (result == RIGHT)


def test_mr39_every_spelling_of_every_unit() -> None:
    """MR39: every unit and every spelling that the reader knows, for every question."""
    for question in amounts(3):
        if "/" in question.answer.kind:
            continue
        exact = question.answer.value if not question.step else None
        for spelling, unit in SPELLINGS[question.answer.kind].items():
            number = (exact if exact is not None else question.answer.value) / UNITS[question.answer.kind][unit]
            if (number * 10**6).denominator == 1 and 0 < number < 10**11:
                text = f"{show_number(number).replace(',', '')} {spelling}"
                assert mark(question, text).right, (question.id, text)


def test_the_stated_rounding() -> None:
    for text in ("8.9 mL", "8.875 mL", "8.88 mL"):
        assert mark(MILLILITRES, text).right
    for text in ("9 mL", "8.8 mL", "8.5 mL"):
        assert mark(MILLILITRES, text).result == WRONG
    assert "rounded to 0.1 mL" in MILLILITRES.ask


@pytest.mark.parametrize(
    "answer, codes",
    [
        ("250 mg", []),
        ("250.0 mg", ["trailing-zero"]),
        ("0.250 g", ["trailing-zero"]),
        (".25 g", ["naked-point"]),
        ("250000 mcg", ["short-unit"]),
        ("250000 µg", ["short-unit"]),
        ("250mg", ["no-space"]),
        (".250g", ["trailing-zero", "naked-point", "no-space"]),
    ],
)
def test_unsafe_writing_is_pointed_out_though_right(answer: str, codes: list[str]) -> None:
    marked = mark(QUARTER, answer)
    assert marked.right
    assert [flaw.code for flaw in marked.flaws] == codes
    assert not mark(QUARTER, answer, overlook=codes).flaws


def test_what_to_write_instead() -> None:
    assert mark(QUARTER, ".250g").flaws[0].write == 'Write "0.25 g".'
    assert mark(QUARTER, "250000 mcg").flaws[0].write == 'Write "250000 micrograms".'


@pytest.mark.parametrize(
    "answer",
    [
        "",
        "  ",
        "?",
        "no idea",
        "mg",
        "2,5 mg",  # B001
        "1,000 mg",
        "1 000 mg",  # B004
        "1\u00a0000 mg",  # B004
        "2O mg",  # B006
        "\uff12\uff15\uff10 mg",  # B007
        "\u0662\u0665\u0660 mg",  # B007
        "2_50 mg",  # B008
        "nan mg",  # B009
        "inf",  # B010
        "1e999999 mg",  # B011
        "2.5e2 mg",  # B012
        "0x10 mg",  # B013
        "0250 mg",  # B013
        "9" * 400 + " mg",  # B015
        "-250 mg",  # B016
        "\u2212250 mg",  # B016
        "1/2 g",  # B017
        "½ g",  # B017
        "about 250 mg",  # B018
        "250 mg?",  # B018
        "250 mgs",  # B021
        "250 MG",  # B021
        "250 spoons",  # B024
        "\x00",
        "250 mg\n",
        "x" * 10_000,
        "2" * 10_000,
    ],
)
def test_unreadable_is_no_wrong_answer(answer: str) -> None:
    """One clear message with what to write, never a mark; a line's end alone is an outer space."""
    marked = mark(QUARTER, answer)
    if answer == "250 mg\n":
        assert marked.result in (RIGHT, UNREADABLE)
        return
    assert marked.result == UNREADABLE, marked
    assert len(marked.said) == 1 and 20 < len(marked.said[0]) < 250
    assert "Write" in marked.said[0] or "Type" in marked.said[0] or "Look" in marked.said[0]


def test_the_unit_is_told_by_how_much() -> None:
    assert mark(QUARTER, "250 g").said == ("The number is right, the unit is not: 250 g is 1,000 times the answer.",)
    assert "1,000 times too small" in mark(QUARTER, "250 micrograms").said[0]


def test_a_wrong_number_with_a_wrong_unit_still_names_the_slip() -> None:
    marked = mark(QUARTER, "2500 mL")
    assert marked.result == WRONG and ("tenfold",) in marked.diagnosis.slips
    assert "2,500 mL is no such amount" in marked.said[1]


def test_margins_are_exact() -> None:
    """Half a step from the exact answer is right, a hair more is not."""
    assert MILLILITRES.answer.number == Fraction(8875, 1000)
    assert mark(MILLILITRES, "8.925 mL").right and mark(MILLILITRES, "8.825 mL").right
    assert not mark(MILLILITRES, "8.9251 mL").right
