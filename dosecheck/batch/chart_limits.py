"""What doses given are added up by, and which limits they are held against: one formulary, in numbers for columns.

A *line* is one ingredient in one kind of amount; names, products and medicines of one ingredient share its lines.
A *rule* is the regimens that one dose was read by, as their numbers ("12;13"): the same for the same formulary, so that
parts of a file read apart can be put together.
"""

from __future__ import annotations

from collections.abc import Iterable
from fractions import Fraction
from typing import NamedTuple

from dosecheck.formulary.limits import Limit
from dosecheck.formulary.load import Formulary
from dosecheck.formulary.medicine import Ingredient, Medicine, Product, Regimen
from dosecheck.rules.dosing import DERIVED, by_weight
from dosecheck.rules.windows import DAY
from dosecheck.rules.with_earlier import base_of, length_of

GOES_ALONG = "-"  # the ingredient goes along with another, whose regimen covers it
UNREAD = ""  # no regimen was read
_NO_FIGURES = "mass"


class Line(NamedTuple):
    """One ingredient in one kind of amount."""

    ingredient: str
    kind: str
    unit: str


class Figure(NamedTuple):
    """One figure of a regimen over 24 hours: `base` is "daily", "doses" or "gap".

    `first` and `further`: its limit, and the one beyond the margin where there is one, each as (p, q, outcome): at most
    (for a gap at least) p/q base units, times the weight where `per_kg`.
    """

    base: str
    per_kg: bool
    first: tuple[int, int, str]
    further: tuple[int, int, str] | None
    limit: Limit
    regimen: Regimen


class ChartLimits:
    """The lines and rules of one formulary."""

    def __init__(self, formulary: Formulary) -> None:
        self.formulary = formulary
        medicines = formulary.medicines()
        self._named = _joined_names(i for m in medicines for i in m.ingredients)
        self.regimens = [(m, r) for m in medicines for r in m.regimens]
        self._numbers: dict[tuple[str, str], list[int]] = {}
        for number, (medicine, regimen) in enumerate(self.regimens):
            self._numbers.setdefault((medicine.id, regimen.full_id), []).append(number)
        self.lines = self._all_lines(medicines)
        self._places = {(line.ingredient, line.kind): place for place, line in enumerate(self.lines)}
        self._kinds: dict[str, list[str]] = {}
        for line in self.lines:
            self._kinds.setdefault(line.ingredient, []).append(line.kind)
        self._figures: dict[str, list[Figure]] = {}

    def name_of(self, ingredient: Ingredient) -> str:
        """One name for an ingredient under whatever names medicines have it."""
        return self._named[ingredient.id]

    def _all_lines(self, medicines: list[Medicine]) -> list[Line]:
        units: dict[tuple[str, str], str] = {}
        for medicine, regimen in self.regimens:
            end = regimen.span.high or regimen.span.low
            key = (self.name_of(medicine.ingredient(regimen.ingredient)), regimen.kind)
            units.setdefault(key, end.unit.split("/")[0])
        with_figures = {name for name, _ in units}
        for name in {self.name_of(i) for m in medicines for i in m.ingredients} - with_figures:
            units[name, _NO_FIGURES] = "mg"
        return [Line(*key, unit) for key, unit in sorted(units.items())]

    def of(self, medicine: Medicine, product: Product | None, read: str | None) -> list[tuple[int, Ingredient, str]]:
        """The lines that a dose counts for: (line, the medicine's own entry of the ingredient, rule).

        Args:
            read: the ids of the regimens that the row was read by, as its result has them.
        """
        numbers = [n for name in (read or "").split(";") for n in self._numbers.get((medicine.id, name), [])]
        inside = [i for i in medicine.ingredients if product is None or i.id in product.strengths]
        return [
            (self._places[self.name_of(i), kind], i, self._rule(i, kind, numbers)) for i in inside for kind in self._kinds[self.name_of(i)]
        ]

    def _rule(self, ingredient: Ingredient, kind: str, numbers: list[int]) -> str:
        """The regimens of this ingredient; those of another kind of amount are looked at in that kind's line."""
        mine = [n for n in numbers if self.regimens[n][1].ingredient == ingredient.id]
        if not mine:
            return GOES_ALONG if any(ingredient.id in self.regimens[n][1].covers for n in numbers) else UNREAD
        return ";".join(str(n) for n in mine if self.regimens[n][1].kind == kind) or GOES_ALONG

    def figures(self, rule: str) -> list[Figure]:
        """Every figure over 24 hours of a rule's regimens, in their order."""
        if rule not in self._figures:
            numbers = [] if rule in (UNREAD, GOES_ALONG) else map(int, rule.split(";"))
            self._figures[rule] = [figure for n in numbers for figure in _figures(self.regimens[n][1])]
        return self._figures[rule]

    def boundless(self, rule: str) -> bool:
        """Whether regimens were read that set no gap, number or total for 24 hours at all."""
        return rule not in (UNREAD, GOES_ALONG) and not self.figures(rule) and not self.one_by_one(rule)

    def one_by_one(self, rule: str) -> bool:
        """Whether a limit goes by a surface or a reckoned weight, which columns do not hold."""
        numbers = [] if rule in (UNREAD, GOES_ALONG) else map(int, rule.split(";"))
        regimens = [self.regimens[n][1] for n in numbers]
        derived = any(r.goes_by in DERIVED and by_weight(r) for r in regimens)
        return derived or any("surface" in limit.main.measure for r in regimens for limit in _daily(r))


def _joined_names(ingredients: Iterable[Ingredient]) -> dict[str, str]:
    """Each ingredient's id, and the first id of all that share a name with it."""
    sets: list[tuple[set[str], set[str]]] = []
    for ingredient in ingredients:
        ids, names = {ingredient.id}, set(ingredient.names)
        for other in [s for s in sets if s[1] & names]:
            sets.remove(other)
            ids, names = ids | other[0], names | other[1]
        sets.append((ids, names))
    return {each: min(ids) for ids, _ in sets for each in ids}


def _daily(regimen: Regimen) -> list[Limit]:
    """Limits of the number, the total or the gap that look back over 24 hours."""
    return [limit for limit in regimen.limits if base_of(limit) in ("daily", "doses", "gap") and length_of(limit) == DAY]


def _figures(regimen: Regimen) -> list[Figure]:
    found: list[Figure] = []
    for limit in _daily(regimen):
        if "surface" in limit.main.measure:
            continue
        ends = (limit.main.p, limit.main.q, limit.outcome)
        if limit.beyond:
            found[-1] = found[-1]._replace(further=ends)
        else:
            found.append(Figure(base_of(limit), "weight" in limit.main.measure, ends, None, limit, regimen))
    return found


def bound_of(figure: Figure, weight: int | None) -> Fraction:
    """What the figure comes to, in base units (for a gap seconds, for doses a number)."""
    p, q, _ = figure.first
    return Fraction(p, q) * (weight if figure.per_kg else 1)
