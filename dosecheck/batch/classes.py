"""Classes of rows: what rows have in common once every comparison is answered, judged once."""

from __future__ import annotations

from typing import NamedTuple

from dosecheck.batch.amounts import written_in
from dosecheck.batch.answers import MET_STATE, Answered, Part, RowFlags, answer
from dosecheck.batch.bands import Cell, Slot
from dosecheck.batch.figures import limit_states
from dosecheck.formulary.shelf import Shelf
from dosecheck.quantity import factor

# One bit a flag of a row; the four of NULLS say which fact is missing.
ONCE, YOUNG, NOT_MEASURED, WEIGHT_OLD, NO_AGE, UNBELIEVABLE, FAR_ABOVE = 1, 2, 4, 8, 256, 512, 1024
NULLS = {"weight": 16, "most": 32, "gap_n": 64, "course": 128}
_FACT_OF = {"weight": ("weight",), "most": ("doses", "average"), "gap_n": ("gap",), "course": ("course",)}
_NEVER_TOLD = {"over", "volume", "given", "surface", "gestation"}  # by a row that columns hold


class Classed(NamedTuple):
    """One class: its texts, and the unit of its amounts with its size in base units."""

    answered: Answered
    unit: str
    scale: int


class Met(NamedTuple):
    """What the rows of a class came to in one slot: the number of answers of its regimen, and what stands in the way of its dose."""

    states: int
    trouble: str


def classed(cell: Cell, bits: int, met: tuple[Met | None, ...]) -> Classed:
    """Judges one class and gathers its texts.

    Args:
        bits: the flags of its rows.
        met: one for each slot of the cell; None where nothing was compared.
    """
    shelf, asked = cell.way.shelf, cell.way.asked
    missing = {fact for name, bit in NULLS.items() if bits & bit for fact in _FACT_OF[name]} | _NEVER_TOLD
    missing -= {"given"} if bits & ONCE else set()
    flags = RowFlags(
        asked.infusion is None,
        bool(bits & NO_AGE),
        *(bool(bits & flag) for flag in (ONCE, YOUNG, NOT_MEASURED, WEIGHT_OLD, UNBELIEVABLE, FAR_ABOVE)),
        asked.purpose is None,
        frozenset(missing),
    )
    unmet = [(entry, state) for entry, state in zip(shelf.age_limits, cell.held, strict=True) if state != MET_STATE]
    parts = [_part_of(shelf, slot, each, missing) for slot, each in zip(cell.slots, met, strict=True)]
    answered = answer(cell.way.medicine, shelf, flags, unmet, parts)
    regimens = [slot.regimen for slot in cell.slots if slot.regimen]
    unit = written_in(regimens[0]) if regimens else ""
    return Classed(answered, unit, int(factor(unit, regimens[0].kind)) if regimens else 1)


def _part_of(shelf: Shelf, slot: Slot, met: Met | None, missing: set[str]) -> Part:
    if slot.regimen is None:
        return Part(slot.ingredient, None, (), _nothing_fits(shelf, slot.ingredient))
    if slot.unknown:
        fact = next(band.fact for band in slot.regimen.bands if band.fact in missing)
        return Part(slot.ingredient, slot.regimen, (), "weight-missing" if fact == "weight" else "gestation-missing")
    if met is None:
        return Part(slot.ingredient, slot.regimen, (), "")
    return Part(slot.ingredient, slot.regimen, limit_states(slot.regimen, met.states), met.trouble)


def _nothing_fits(shelf: Shelf, ingredient: str) -> str:
    """The same codes, in the same order, as `rules/check.py` gives where no regimen is read."""
    if shelf.regimens[ingredient]:
        return "no-regimen-for-child"
    if shelf.problems:
        return ""
    covered = any(ingredient in r.covers for each in shelf.regimens.values() for r in each)
    return "ingredient-amount-unknown" if covered else "ingredient-without-regimen"
