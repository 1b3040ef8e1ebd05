"""Classes of rows: what a group's rows have in common once every comparison is answered, judged once."""

from __future__ import annotations

from typing import Any, NamedTuple

from dosecheck.batch.amounts import written_in
from dosecheck.batch.answers import MET_STATE, Answered, Part, RowFlags, answer
from dosecheck.batch.shelves import MOST_DIGITS
from dosecheck.formulary.medicine import Medicine, Regimen
from dosecheck.formulary.shelf import Shelf
from dosecheck.quantity import factor

# One bit a flag of a row; the four of NULLS say which fact is missing.
ONCE, YOUNG, NOT_MEASURED, WEIGHT_OLD, NO_AGE, UNBELIEVABLE, FAR_ABOVE = 1, 2, 4, 8, 256, 512, 1024
NULLS = {"weight": 16, "most": 32, "gap_n": 64, "course": 128}
_FACT_OF = {"weight": ("weight",), "most": ("doses", "average"), "gap_n": ("gap",), "course": ("course",)}


class Classed(NamedTuple):
    """One class: its texts, the unit of its amounts, and the texts of the limits that may bind."""

    answered: Answered
    unit: str
    scale: int
    bounds: tuple[str, ...]


class Slot(NamedTuple):
    """One reading of a group: a regimen of an ingredient, or none; `unknown` when its band cannot be decided."""

    ingredient: str
    regimen: Regimen | None
    unknown: bool


def slots_of(shelf: Shelf, fit: int) -> list[Slot]:
    """The readings of a group, in the order of the shelf; an ingredient for which nothing fits has an empty one."""
    slots, place = [], 0
    for ingredient, regimens in shelf.regimens.items():
        mine = []
        for regimen in regimens:
            state = fit // 3**place % 3
            place += 1
            if state:
                mine.append(Slot(ingredient, regimen, state == 2))
        slots += mine or [Slot(ingredient, None, False)]
    return slots


def classed(about: tuple, medicine: Medicine, shelf: Shelf, slots: list[Slot], values: dict[str, Any]) -> Classed:
    """Judges one class and gathers its texts."""
    _, key, _, held = about
    bits = values["flags"]
    missing = {fact for name, bit in NULLS.items() if bits & bit for fact in _FACT_OF[name]} | {
        "over",
        "volume",
        "given",
        "surface",
        "gestation",
    }
    flags = RowFlags(
        key.infusion is None,
        bool(bits & NO_AGE),
        *(bool(bits & flag) for flag in (ONCE, YOUNG, NOT_MEASURED, WEIGHT_OLD, UNBELIEVABLE, FAR_ABOVE)),
        key.purpose is None,
        frozenset(missing),
    )
    limits = [(entry, held // 3**place % 3) for place, entry in enumerate(shelf.age_limits)]
    parts = [] if flags.no_age else [_part_of(shelf, slot, n, values, missing) for n, slot in enumerate(slots)]
    answered = answer(medicine, shelf, flags, [pair for pair in limits if pair[1] != MET_STATE], parts)
    regimens = [slot.regimen for slot in slots if slot.regimen]
    unit = written_in(regimens[0]) if regimens else ""
    bounds = [""] * (MOST_DIGITS * len(slots))
    for n, slot in enumerate(slots):
        for place, limit in enumerate(slot.regimen.limits if slot.regimen else ()):
            bounds[n * MOST_DIGITS + place] = f"{limit.name}, {limit.text}"
    return Classed(answered, unit, int(factor(unit, regimens[0].kind)) if regimens else 1, tuple(bounds))


def _part_of(shelf: Shelf, slot: Slot, number: int, values: dict[str, Any], missing: set[str]) -> Part:
    if slot.regimen is None:
        return Part(slot.ingredient, None, (), _nothing_fits(shelf, slot.ingredient))
    if slot.unknown:
        fact = next(band.fact for band in slot.regimen.bands if band.fact in missing)
        return Part(slot.ingredient, slot.regimen, (), "weight-missing" if fact == "weight" else "gestation-missing")
    if f"states {number}" not in values:
        return Part(slot.ingredient, slot.regimen, (), "")
    states = tuple(values[f"states {number}"] // 3**place % 3 for place in range(len(slot.regimen.limits)))
    return Part(slot.ingredient, slot.regimen, states, values[f"trouble {number}"] or "")


def _nothing_fits(shelf: Shelf, ingredient: str) -> str:
    """The same codes, in the same order, as `rules/check.py` gives where no regimen is read."""
    if shelf.regimens[ingredient]:
        return "no-regimen-for-child"
    if shelf.problems:
        return ""
    covered = any(ingredient in r.covers for each in shelf.regimens.values() for r in each)
    return "ingredient-amount-unknown" if covered else "ingredient-without-regimen"
