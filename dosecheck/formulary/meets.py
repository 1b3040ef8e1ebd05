"""Whether two rules can hold for one child on one day: lint refuses regimens that do, for neither may win in silence.

Bands in months and bands in days are compared through the calendar: the fewest and the most days in which any child
completes so many months.  So "below 28 days" beside "from 1 month" part (no month is shorter), and "below 1 month"
beside "from 28 days" do not.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator
from datetime import date
from itertools import combinations, pairwise

from dosecheck.formulary.cells import Band, days_to_complete, overlap
from dosecheck.formulary.medicine import Regimen


def in_days(band: Band) -> Band:
    """A band in months as the days that some child in it can have; any other band as it is."""
    if not band.fact.endswith("months"):
        return band
    low = None if band.low is None else days_to_complete(band.low)[0]
    high = None if band.high is None else days_to_complete(band.high)[1]
    return Band(band.fact.replace("months", "days"), low, high)


def bands_meet(one: tuple[Band, ...], other: tuple[Band, ...]) -> bool:
    """Whether some child can be inside both lists of bands."""
    return overlap(one, other) and overlap(tuple(map(in_days, one)), tuple(map(in_days, other)))


def _ends(regimens: Iterable[Regimen]) -> dict[tuple[str, date], date]:
    """The day on which each version is superseded: when the next of its id starts."""
    starts: dict[str, set[date]] = defaultdict(set)
    for regimen in regimens:
        starts[regimen.base_id].add(regimen.valid_from)
    ends = {}
    for id_, days in starts.items():
        ordered = [*sorted(days), date.max]
        ends.update({(id_, start): end for start, end in pairwise(ordered)})
    return ends


def overlaps(regimens: list[Regimen]) -> Iterator[tuple[Regimen, Regimen]]:
    """Each pair of regimens (or of rows of one table) that would both fit some order on some day, by id."""
    ends = _ends(regimens)
    groups: dict[tuple, list[Regimen]] = defaultdict(list)
    for regimen in sorted(regimens, key=lambda r: (r.base_id, r.valid_from, r.id)):
        groups[regimen.route, regimen.release, regimen.ingredient, regimen.conditions].append(regimen)
    for group in groups.values():
        for one, other in combinations(group, 2):
            if _alike(one, other) and _same_days(one, other, ends) and bands_meet(one.bands, other.bands):
                yield one, other


def _alike(one: Regimen, other: Regimen) -> bool:
    """No field that an order can state parts them; a missing step or list of products fits any."""
    steps = one.step is None or other.step is None or one.step == other.step
    products = not one.products or not other.products or not set(one.products).isdisjoint(other.products)
    return steps and products and not set(one.purposes).isdisjoint(other.purposes)


def _same_days(one: Regimen, other: Regimen, ends: dict[tuple[str, date], date]) -> bool:
    until = min(ends[one.base_id, one.valid_from], ends[other.base_id, other.valid_from])
    return max(one.valid_from, other.valid_from) < until
