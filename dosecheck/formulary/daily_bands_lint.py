"""What the rows of the tables of daily bands must say of themselves and of each other."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import combinations, pairwise
from typing import Any

from dosecheck.formulary.daily_bands import DailyBand, Ends, daily_bands, ends_of
from dosecheck.formulary.meets import bands_meet
from dosecheck.formulary.plainly import Problem
from dosecheck.showing import show

_ORDER = "Write low, then medium, then high, each above the one before."


def band_row_problems(entry: dict[str, Any]) -> Iterator[Problem]:
    """One row: at least one band, and bands that rise and join; what a source prints otherwise is marked as_printed."""
    named = [name for name in ("low", "medium", "high") if name in entry]
    if not named:
        yield Problem(("low",), "The row has neither low, medium nor high.", 'For example: high = { above = "400 micrograms" }.')
    wrong = [problem for name in named for problem in _ends_problems(name, entry[name])]
    yield from wrong
    if not wrong:
        for one, other in pairwise(ends_of(name, entry[name]) for name in named):
            yield from _joint(one, other, entry.get("as_printed", False))


def _ends_problems(name: str, ends: dict[str, str]) -> Iterator[Problem]:
    if not ends or {"from", "above"} <= set(ends):
        why = "The band has no end." if not ends else "It has both from (inside) and above (outside)."
        yield Problem((name,), why, 'Write { above = "100 micrograms", to = "200 micrograms" }.')
        return
    band = ends_of(name, ends)
    if band.low and band.high and (band.high < band.low or (band.open_low and band.high == band.low)):
        yield Problem((name,), f"No dose is {band.text}.", "Write the lower end first.")


def _joint(one: Ends, other: Ends, as_printed: bool) -> Iterator[Problem]:
    place, low, high = (other.name,), other.low, one.high
    if low is None or high is None or low < high:
        yield Problem(place, f"The {other.name} band does not lie above the {one.name} band.", _ORDER)
    elif not as_printed and high == low and not other.open_low:
        why = f"{show(low)} a day would be {one.name} and {other.name} at once."
        yield Problem(place, why, f'Write above = "{show(low)}"; or as_printed = true, if the source prints both.')
    elif not as_printed and high != low:
        why = f"A day's dose above {show(high)} and below {show(low)} would be in no band."
        yield Problem(place, why, f'Write above = "{show(high)}"; or as_printed = true, if the source prints the gap.')


def band_overlaps(rows: list[tuple[int, dict[str, Any]]]) -> Iterator[Problem]:
    """Two rows of one table that one inhaler of one child could fall under."""
    made = list(zip((number for number, _ in rows), daily_bands(tuple(entry for _, entry in rows)), strict=True))
    for (_, one), (number, other) in combinations(made, 2):
        if one.table == other.table and bands_meet(one.ages, other.ages) and _meet(one, other):
            why = f'It overlaps the row "{one.id}" of the same table: one inhaler of one child could fall under both.'
            yield Problem(("daily_band", number), why, "Part them by age, device, output or particle.")


def _meet(one: DailyBand, other: DailyBand) -> bool:
    """Whether some inhaler is of both; what a row leaves out fits any."""
    devices = not one.devices or not other.devices or not set(one.devices).isdisjoint(other.devices)
    return devices and all(not a or not b or a == b for a, b in ((one.output, other.output), (one.particle, other.particle)))
