"""The stress run: right orders of every regimen and all their wrong forms, through the exact batch engine, and counted.

A wrong order counts only if its right form was answered `within`: else it was not the slip that was caught.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from datetime import date
from typing import Any, NamedTuple

import polars as pl

from dosecheck.batch.columns import FIELDS
from dosecheck.batch.run import Batch
from dosecheck.formulary.load import Formulary
from dosecheck.formulary.medicine import Medicine
from dosecheck.records import WITHIN
from dosecheck.workshop.advice.children import in_force
from dosecheck.workshop.stress.right import Right, right_orders
from dosecheck.workshop.stress.seeds import Seeded, seeded
from dosecheck.workshop.stress.tally import Stress, Tally

EACH = 20  # right orders for each regimen: some 15 seconds for 250 regimens
_CHUNK = 50_000  # rows answered at once


class Answered(NamedTuple):
    """One order with what the engine said; `slip` is None for a right order; `weighed`: the weight was held against the age."""

    right: Right
    slip: Seeded | None
    outcome: str
    codes: str
    sentence: str
    weighed: bool


def stress(formulary: Formulary, today: date, each: int = EACH, seed: int = 1, medicine: Medicine | None = None) -> Stress:
    """Draws `each` right orders for every regimen in force, seeds every slip in each, and counts the answers.

    Args:
        today: the date of every order.
        seed: the same seed gives the same orders, and the same counts for the same formulary.
        medicine: only this one.
    """
    tally = Tally(formulary.folder)
    batch = Batch(formulary, today)
    for answered in _answered(batch, _drawn(formulary, today, each, seed, medicine, tally)):
        tally.add(answered)
    return tally.result()


def _drawn(formulary: Formulary, today: date, each: int, seed: int, only: Medicine | None, tally: Tally) -> Iterator[Right]:
    for medicine in [only] if only else formulary.medicines():
        for regimen in (regimen for regimen in in_force(medicine, today) if regimen.valid_from <= today):
            found = list(right_orders(formulary, medicine, regimen, each, seed))
            tally.drew(medicine, regimen, len(found))
            yield from found


def _answered(batch: Batch, rights: Iterable[Right]) -> Iterator[Answered]:
    """Each right order, then its wrong forms, if it was answered within."""
    waiting: list[tuple[Right, Seeded | None]] = []
    for right in rights:
        waiting += [(right, None), *((right, slip) for slip in seeded(right))]
        if len(waiting) >= _CHUNK:
            yield from answer(batch, waiting)
            waiting = []
    yield from answer(batch, waiting)


def answer(batch: Batch, orders: list[tuple[Right, Seeded | None]]) -> Iterator[Answered]:
    """In order; the wrong forms of a right order that was not answered within are left out."""
    if not orders:
        return
    rows = [(slip or right).fields for right, slip in orders]
    answers = batch.answer(_frame(rows)).select("outcome", "codes", "sentence", "weight_z")
    fine = False
    for (right, slip), (outcome, codes, sentence, weight_z) in zip(orders, answers.iter_rows(), strict=True):
        fine = outcome == WITHIN if slip is None else fine
        if slip is None or fine:
            yield Answered(right, slip, outcome, codes or "", sentence or "", weight_z is not None)


def _frame(rows: list[dict[str, Any]]) -> pl.DataFrame:
    return pl.DataFrame({field: [row.get(field) for row in rows] for field in FIELDS}, schema=dict.fromkeys(FIELDS, pl.String))
