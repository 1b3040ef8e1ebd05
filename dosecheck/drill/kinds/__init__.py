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
    "infusion": Listed(
        "infusion",
        "a dose by time into mL/h, and back",
        ("mL/h from an amount by time", "mL/h from a dose by weight and time", "the dose from mL/h"),
        "an infusion by weight and time, and a product for it",
    ),
    "drops": Listed(
        "drops",
        "drops a minute by the giving set",
        ("from mL/h", "from a volume and a time", "mL/h from counted drops"),
        "nothing",
    ),
    "strength": Listed(
        "strength",
        "percent and ratio strengths, and dilution",
        ("into mg/mL", "what a volume holds", "what a dilution leaves"),
        "nothing",
    ),
    "displacement": Listed(
        "displacement",
        "the room that a powder takes",
        ("the water to add", "the strength it makes", "the volume for a dose"),
        "nothing",
    ),
    "maintenance": Listed(
        "maintenance",
        "maintenance fluid by a named rule",
        ("a day's", "an hour's by the hourly rule", "an hour's out of the day's"),
        "nothing",
    ),
    "surface": Listed(
        "surface",
        "body surface, and doses by it",
        ("the surface", "a dose by m2", "a day's dose by m2, shared out"),
        "nothing",
    ),
    "inhaler": Listed(
        "inhaler",
        "micrograms a day, and how long an inhaler lasts",
        ("micrograms a day", "days that it lasts", "days, some of it used"),
        "an inhaler with its strength per puff",
    ),
    "anaesthetic": Listed(
        "anaesthetic",
        "the most of a local anaesthetic",
        ("in mg", "in mL", "in mL, after another agent"),
        "a local anaesthetic with a figure per kg and a product (two agents for level 3)",
    ),
    "gaps": Listed(
        "gaps",
        "the doses that a gap lets into 24 hours",
        ("how many", "what they come to", "what they come to by weight"),
        "a plain regimen with a dose per kg and a shortest gap in hours",
    ),
    "right-or-not": Listed(
        "judged",
        "whether an order is right, and what to do",
        ("right, or a decimal point slipped", "right, or a common slip", "right, or just outside"),
        "a plain regimen with a dose per kg and a shortest gap in hours",
    ),
}


def draw_of(kind: str) -> Draw:
    return import_module(f"dosecheck.drill.kinds.{KINDS[kind].module}").draw
