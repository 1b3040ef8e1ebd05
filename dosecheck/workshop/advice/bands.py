"""Bands side by side: children between them to whom nothing applies, and doses that jump at an edge."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator
from datetime import date
from fractions import Fraction
from itertools import pairwise, product

from dosecheck.body.believable import GRAM
from dosecheck.body.growth import LAST_DAY, SEXES, lms_at
from dosecheck.formulary.cells import Band, days_to_complete, overlap
from dosecheck.formulary.load import Formulary
from dosecheck.formulary.medicine import Medicine, Regimen
from dosecheck.formulary.meets import in_days
from dosecheck.quantity import Quantity
from dosecheck.showing import show, show_number
from dosecheck.workshop.advice.children import counts_of, in_force, most_at
from dosecheck.workshop.advice.line import Advice, Places, edge_in_words

MOST_JUMP = Fraction(2)  # a step from one band to the next by more than this is worth a look
Cell = dict[str, tuple[int | None, int | None]]


def band_advice(medicine: Medicine, formulary: Formulary, places: Places, on: date) -> Iterator[Advice]:
    """Gaps and jumps among the regimens that an order by one route, for one purpose, could mean."""
    seen: set[tuple[str, str]] = set()
    for group in _groups(in_force(medicine, on)):
        for line in (*_gaps(medicine, group, places), *_jumps(medicine, group, formulary, places)):
            if (line.entry, line.why) not in seen:  # two purposes of one regimen would say the same twice
                seen.add((line.entry, line.why))
                yield line


def _groups(regimens: Iterable[Regimen]) -> Iterator[list[Regimen]]:
    groups: dict[tuple, list[Regimen]] = defaultdict(list)
    for one in regimens:
        for purpose in one.purposes:
            groups[one.route, purpose, one.step, one.conditions, one.release, one.products, one.ingredient].append(one)
    return (group for group in groups.values() if len(group) > 1)


# ---- gaps ----


def _gaps(medicine: Medicine, group: list[Regimen], places: Places) -> Iterator[Advice]:
    bands = [_comparable(regimen.bands, group) for regimen in group]
    edges: dict[str, set[int]] = defaultdict(set)
    for band in (band for row in bands for band in row):
        edges[band.fact] |= {end for end in (band.low, band.high) if end is not None}
    pieces = {fact: list(pairwise([None, *sorted(ends), None])) for fact, ends in edges.items()}
    for fact, line in pieces.items():
        others = [name for name in pieces if name != fact]
        for rest in product(*(pieces[name] for name in others)):
            held = [_holder(bands, {**dict(zip(others, rest, strict=True)), fact: piece}) for piece in line]
            yield from _holes(medicine, group, places, fact, line, held)


def _comparable(bands: tuple[Band, ...], group: list[Regimen]) -> tuple[Band, ...]:
    """Bands in months as days where the group has bands in days too: no false gap between "28 days" and "1 month"."""
    facts = {band.fact for regimen in group for band in regimen.bands}
    return tuple(in_days(band) if band.fact.replace("months", "days") in facts else band for band in bands)


def _holder(bands: list[tuple[Band, ...]], cell: Cell) -> int | None:
    """The first regimen that holds every child of the cell."""
    return next((n for n, row in enumerate(bands) if all(_inside(band, cell[band.fact]) for band in row)), None)


def _inside(band: Band, piece: tuple[int | None, int | None]) -> bool:
    low = band.low is None or (piece[0] is not None and piece[0] >= band.low)
    return low and (band.high is None or (piece[1] is not None and piece[1] <= band.high))


def _holes(
    medicine: Medicine, group: list[Regimen], places: Places, fact: str, line: list[tuple], held: list[int | None]
) -> Iterator[Advice]:
    """Each stretch of cells that nobody holds, between two that somebody does."""
    last = None
    for n, holder in enumerate(held):
        if holder is None:
            continue
        if last is not None and last < n - 1:
            start, end = (edge_in_words(fact, edge) for edge in (line[last + 1][0], line[n - 1][1]))
            why = f"From {start} to {end} no figure applies to an order that fits this regimen in all else."
            yield places.of("gap-between-bands", medicine, group[held[last]], why)
        last = n


# ---- jumps ----


def _jumps(medicine: Medicine, group: list[Regimen], formulary: Formulary, places: Places) -> Iterator[Advice]:
    for one, other in product(group, repeat=2):
        for band in one.bands:
            if band.high is None or band.high not in [b.low for b in other.bands if b.fact == band.fact]:
                continue
            rest = [tuple(b for b in row.bands if b.fact != band.fact) for row in (one, other)]
            weight = _weight_at(band, formulary)
            if weight is None or not overlap(*rest) or one.kind != other.kind:
                continue
            yield from _jump(medicine, one, other, band, weight, places)


def _weight_at(band: Band, formulary: Formulary) -> Fraction | None:
    """The edge itself, or a usual weight at that age: the reference's median of girls, to the gram."""
    if band.fact == "weight":
        return Fraction(band.high)
    day = days_to_complete(band.high)[0] if band.fact == "months" else band.high
    if band.fact not in ("months", "days") or day > LAST_DAY:
        return None
    return Fraction(int(lms_at(formulary.growth_reference, SEXES[0], day).median * 1000) * GRAM)


def _jump(medicine: Medicine, one: Regimen, other: Regimen, band: Band, weight: Fraction, places: Places) -> Iterator[Advice]:
    before, after = (_largest(regimen, weight) for regimen in (one, other))
    if not before or not after or max(before / after, after / before) <= MOST_JUMP:
        return
    unit = (one.span.high or one.span.low).unit.split("/")[0]
    sizes = [show(Quantity(size, one.kind, unit), down=True) for size in (before, after)]
    usual = "" if band.fact == "weight" else f" for a child of {show(Quantity(weight, 'weight', 'kg'))}"
    times = show_number(Fraction(round(max(before / after, after / before) * 10), 10))
    why = (
        f"At {edge_in_words(band.fact, band.high)} the largest single dose{usual} goes from {sizes[0]} to {sizes[1]}, about {times} times."
    )
    yield places.of("jump-at-an-edge", medicine, other, why)


def _largest(regimen: Regimen, weight: Fraction) -> Fraction | None:
    counts = counts_of(regimen)
    return None if regimen.span.continuous else most_at(regimen, weight, counts[0] if counts else None)
