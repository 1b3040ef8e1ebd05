"""The kinds of question, one idea a file; each module is loaded only when its kind is asked for."""

from __future__ import annotations

from collections.abc import Callable
from importlib import import_module
from typing import NamedTuple

from dosecheck.drill.dice import Dice
from dosecheck.drill.pool import Pool
from dosecheck.drill.question import Question

Draw = Callable[[Pool, Dice, int], Question | None]


class Listed(NamedTuple):
    """`module` of this folder has `draw`, which makes one try: a question, or None where the draw is not neat.

    needs: what a formulary must have for it, to finish "it needs ...".
    """

    module: str
    about: str
    levels: tuple[str, str, str]
    needs: str


KINDS: dict[str, Listed] = {
    "conversion": Listed(
        "conversion",
        "one unit into another",
        ("g and mg, mg and micrograms", "with decimals", "two steps of a thousand"),
        "a medicine by mass",
    ),
    "dose-by-weight": Listed(
        "by_weight",
        "mg/kg into the dose",
        ("whole kilograms", "kilograms with decimals", "a weight in pounds"),
        "a plain regimen with a dose per kg",
    ),
    "shared-dose": Listed(
        "shared",
        "a day's dose into each dose",
        ("the day's dose is told", "the day's dose by weight", "by weight, and into mL"),
        "a regimen with a dose or a maximum per kg a day",
    ),
    "maximum": Listed(
        "maximum",
        "whether a maximum holds the dose down",
        ("a maximum of one dose", "weights with decimals", "and into mL"),
        "a plain regimen with a dose per kg and a maximum of one dose",
    ),
    "volume": Listed(
        "volume",
        "a dose into mL",
        ("the dose is told", "the dose by weight", "the dose by weight, and several strengths"),
        "a plain regimen with a dose per kg, and a liquid that suits it (two for level 3)",
    ),
    "tablets": Listed(
        "tablets",
        "a dose into tablets",
        ("the dose is told", "the dose by weight", "the dose by weight, held by a maximum"),
        "a plain regimen with a dose per kg, and tablets that suit it",
    ),
}


def draw_of(kind: str) -> Draw:
    return import_module(f"dosecheck.drill.kinds.{KINDS[kind].module}").draw
