"""Names of two medicines that look alike, and one ingredient whose day's maximum two medicines tell differently."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator
from datetime import date
from difflib import SequenceMatcher
from fractions import Fraction
from itertools import combinations

from dosecheck.formulary.load import Formulary
from dosecheck.formulary.medicine import Medicine, Regimen
from dosecheck.formulary.meets import bands_meet
from dosecheck.quantity import Quantity
from dosecheck.showing import show
from dosecheck.workshop.advice.children import in_force, weights_of
from dosecheck.workshop.advice.line import Advice, Places

ALIKE = 0.85  # share of letters in common, in order; near enough to be taken for one another on a label


def look_alikes(formulary: Formulary) -> Iterator[Advice]:
    """Each pair of medicines of which two names look alike, once.  Common practice, no source: such pairs are listed and marked."""
    for one, other in combinations(formulary.medicines(), 2):
        pair = next(((a, b) for a in one.names for b in other.names if _alike(a, b)), None)
        if pair:
            risk = " One of them is high risk." if one.high_risk or other.high_risk else ""
            why = f'"{pair[0]}" looks like "{pair[1]}" of {other.file}: an order for one may be meant for the other.{risk}'
            yield Advice("names-look-alike", f"{one.id}/{other.id}", one.file, "", why)


def _alike(one: str, other: str) -> bool:
    """Names of one stem (fluticasone furoate, fluticasone propionate) look alike by design, and more so."""
    matcher = SequenceMatcher(None, one, other, autojunk=False)
    return matcher.real_quick_ratio() >= ALIKE and matcher.quick_ratio() >= ALIKE and matcher.ratio() >= ALIKE


def shared_ingredients(formulary: Formulary, places: Places, on: date) -> Iterator[Advice]:
    """Regimens of two medicines with one ingredient and route, for some of the same children, with unlike maxima of a day."""
    found: dict[tuple[str, str], list[tuple[Medicine, Regimen]]] = defaultdict(list)
    for medicine in formulary.medicines():
        for regimen in in_force(medicine, on):
            found[regimen.ingredient, regimen.route].append((medicine, regimen))
    told = set()
    for rows in found.values():
        for (one, first), (other, second) in combinations(rows, 2):
            if one.id == other.id or (one.id, other.id, first.base_id) in told or not bands_meet(first.bands, second.bands):
                continue
            days = _days(first, second, formulary)
            if days:
                told.add((one.id, other.id, first.base_id))
                why = f"Its most in 24 hours of {first.ingredient} is {days[0]}; that of {other.id}/{second.base_id} is {days[1]}."
                yield places.of("ingredient-maxima-differ", one, first, why)


def _days(first: Regimen, second: Regimen, formulary: Formulary) -> tuple[str, str] | None:
    """The two maxima of a day in words where they differ for the lightest child of both; None where one has none."""
    weights = [weights_of(regimen, formulary) for regimen in (first, second)]
    if None in weights or first.kind != second.kind:
        return None
    lightest = max(one.least for one in weights)
    each = [_day_at(regimen, lightest) for regimen in (first, second)]
    if None in each or each[0] == each[1]:
        return None
    unit = (first.span.high or first.span.low).unit.split("/")[0]
    child = show(Quantity(lightest, "weight", "kg"))
    return tuple(f"{show(Quantity(day, first.kind, unit), down=True)} at {child}" for day in each)


def _day_at(regimen: Regimen, weight: Fraction) -> Fraction | None:
    bounds = [limit.main for limit in regimen.limits if limit.name in ("daily maximum", "daily dose") and not limit.beyond]
    days = [
        Fraction(main.p, main.q) * (weight if main.measure.endswith("/weight") else 1) for main in bounds if "surface" not in main.measure
    ]
    return min(days, default=None)
