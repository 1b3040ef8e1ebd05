"""What a stress run counts: by medicine, regimen and slip how many wrong orders were caught, and how right ones fared."""

from __future__ import annotations

from collections import Counter, defaultdict
from fractions import Fraction
from typing import Any, NamedTuple

from dosecheck.formulary.medicine import Medicine, Regimen
from dosecheck.records import OUTCOMES, WITHIN
from dosecheck.workshop.stress.blind import Blind, order_of
from dosecheck.workshop.stress.evidence import shares
from dosecheck.workshop.stress.seeds import ORDER, looked_at
from dosecheck.workshop.stress.wilson import wilson

_WITHIN = "the wrong dose is still within the range"
_NOBODY = "no limit looks there"
_WHY = {
    "route": "the figures of that route allow it",
    "weight-pounds": "that weight is believable for the age",
    "gap-too-short": "so many doses are still allowed",
}


class Count(NamedTuple):
    """Orders by outcome."""

    within: int = 0
    query: int = 0
    stop: int = 0
    not_checked: int = 0

    @property
    def whole(self) -> int:
        return sum(self)

    @property
    def caught(self) -> int:
        return self.whole - self.within

    @property
    def share(self) -> Fraction:
        """Caught of all; of none, none."""
        return Fraction(self.caught, self.whole) if self.whole else Fraction(0)

    def plus(self, other: Count) -> Count:
        return Count(*(a + b for a, b in zip(self, other, strict=True)))

    def as_dict(self) -> dict[str, Any]:
        low, high = wilson(self.caught, self.whole)
        return {**self._asdict(), "orders": self.whole, "caught": self.caught, "interval_95": [round(low, 4), round(high, 4)]}


def count_of(outcomes: Counter[str]) -> Count:
    return Count(*(outcomes[name] for name in OUTCOMES))


def slip_words(slip: str, way: str) -> str:
    return f"{slip}, {way}" if way else slip


class Alarm(NamedTuple):
    """Right orders of one regimen that were not answered within, and the first of them."""

    medicine: str
    regimen: str
    number: int
    codes: str
    sentence: str
    command: str


class Stress(NamedTuple):
    """Everything counted.  `cells` by (medicine, slip, way); `traps` by what makes a right order look wrong.

    `undrawn`: regimens, as "medicine/regimen", for which no right order was found.
    """

    rights: Count
    traps: dict[str, Count]
    cells: dict[tuple[str, str, str], Count]
    blind: tuple[Blind, ...]
    alarms: tuple[Alarm, ...]
    undrawn: tuple[str, ...]
    medicines: tuple[str, ...]
    regimens: int

    @property
    def by_slip(self) -> dict[tuple[str, str], Count]:
        return _summed(self.cells, lambda key: key[1:])

    @property
    def by_medicine(self) -> dict[str, Count]:
        return _summed(self.cells, lambda key: key[0])

    @property
    def blindest(self) -> tuple[Blind, ...]:
        """The blindest slip of each regimen."""
        return tuple({(row.medicine, row.regimen): row for row in reversed(self.blind)}.values())[::-1]

    @property
    def weighted(self) -> Fraction | None:
        """The share caught, each slip by its published proportion; None where no order has such a slip."""
        return weighted(self.by_slip)

    @property
    def weighted_by_medicine(self) -> dict[str, Fraction]:
        """The same for each medicine that has such a slip."""
        rows = {name: {key[1:]: count for key, count in self.cells.items() if key[0] == name} for name in self.by_medicine}
        found = {name: weighted(counts) for name, counts in rows.items()}
        return {name: share for name, share in found.items() if share is not None}

    def as_dict(self) -> dict[str, Any]:
        weights, by = shares(), self.weighted_by_medicine
        return {
            "right_orders": self.rights.as_dict(),
            "traps": {name: count.as_dict() for name, count in self.traps.items()},
            "caught_weighted": _rounded(self.weighted),
            "slips": [
                {"slip": slip, "way": way, "published_share": round(float(weights.get((slip, way), 0)), 4), **count.as_dict()}
                for (slip, way), count in self.by_slip.items()
            ],
            "medicines": {name: {**count.as_dict(), "caught_weighted": _rounded(by.get(name))} for name, count in self.by_medicine.items()},
            "cells": [{"medicine": m, "slip": s, "way": w, **count.as_dict()} for (m, s, w), count in self.cells.items()],
            "blind": [row.as_dict() for row in self.blind],
            "alarms": [row._asdict() for row in self.alarms],
            "undrawn": list(self.undrawn),
        }


def _rounded(share: Fraction | None) -> float | None:
    return None if share is None else round(float(share), 4)


def weighted(counts: dict[tuple[str, str], Count]) -> Fraction | None:
    """The mean share caught of the slips that have a published proportion, weighted by it."""
    weights = {key: weight for key, weight in shares().items() if key in counts}
    whole = sum(weights.values())
    return sum(weight * counts[key].share for key, weight in weights.items()) / whole if whole else None


def _summed(cells: dict[tuple, Count], key) -> dict[Any, Count]:
    found: dict[Any, Count] = defaultdict(Count)
    for cell, count in cells.items():
        found[key(cell)] = found[key(cell)].plus(count)
    return {name: found[name] for name in sorted(found, key=_rank)}


def _rank(key: Any) -> Any:
    """Slips in the order of `seeds.ORDER`, over before under; names by the alphabet."""
    return (ORDER.index(key[0]), key[1]) if isinstance(key, tuple) else key


class Tally:
    """Counts as answers come; `result()` at the end.  `folder`: of the formulary, for the commands to run."""

    def __init__(self, folder: str) -> None:
        self._folder = folder
        self._rights: Counter[str] = Counter()
        self._traps: dict[str, Counter[str]] = defaultdict(Counter)
        self._spots: dict[tuple[str, str, str, str], Counter[str]] = defaultdict(Counter)
        self._missed: dict[tuple[str, str, str, str], tuple[str, str]] = {}
        self._alarms: dict[tuple[str, str], list[Any]] = defaultdict(list)
        self._drawn: dict[str, int] = {}
        self._medicines: list[str] = []

    def drew(self, medicine: Medicine, regimen: Regimen, number: int) -> None:
        self._drawn[f"{medicine.id}/{regimen.full_id}"] = number
        self._medicines += [medicine.id] if medicine.id not in self._medicines else []

    def add(self, answered: Any) -> None:
        """One `run.Answered`."""
        right, slip, outcome = answered.right, answered.slip, answered.outcome
        place = (right.medicine.id, right.regimen.full_id)
        if slip is None:
            self._rights[outcome] += 1
            if right.trap:
                self._traps[right.trap][outcome] += 1
            if outcome != WITHIN:
                self._alarms[place].append(answered)
            return
        key = (*place, slip.slip, slip.way)
        self._spots[key][outcome] += 1
        if outcome == WITHIN and key not in self._missed:
            looked = answered.weighed if slip.slip == "weight-pounds" else looked_at(right, slip.slip, slip.way)
            why = _WHY.get(slip.slip, _WITHIN) if looked else _NOBODY
            self._missed[key] = (why, order_of(slip.fields, self._folder))

    def result(self) -> Stress:
        spots = {key: count_of(outcomes) for key, outcomes in self._spots.items()}
        blind = [Blind(*key, spots[key].caught, spots[key].whole, *told) for key, told in self._missed.items()]
        alarms = [
            Alarm(*place, len(of), of[0].codes, of[0].sentence, order_of(of[0].right.fields, self._folder))
            for place, of in self._alarms.items()
        ]
        return Stress(
            count_of(self._rights),
            {name: count_of(self._traps[name]) for name in sorted(self._traps)},
            _cells(spots),
            tuple(sorted(blind, key=_blindest)),
            tuple(alarms),
            tuple(name for name, number in self._drawn.items() if not number),
            tuple(self._medicines),
            len(self._drawn),
        )


def _cells(spots: dict[tuple[str, str, str, str], Count]) -> dict[tuple[str, str, str], Count]:
    cells: dict[tuple[str, str, str], Count] = defaultdict(Count)
    for (medicine, _, slip, way), count in spots.items():
        cells[medicine, slip, way] = cells[medicine, slip, way].plus(count)
    return dict(cells)


def _blindest(row: Blind) -> tuple[Any, ...]:
    """The lowest share caught first; at the same share, what is published as the more frequent slip.

    Another route comes last: where its figures are the same, no figure can tell.
    """
    return (
        row.slip == "route",
        Fraction(row.caught, row.orders),
        -shares().get((row.slip, row.way), Fraction(0)),
        ORDER.index(row.slip),
        row[:4],
    )
