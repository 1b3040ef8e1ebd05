"""The dose by weight of one regimen, as a table and as pictures: every figure from `rules/`, as `dosecheck dose` has it.

A line of a table by band is one compiled regimen; here they come together again, as "pieces" of one entry.
"""

from __future__ import annotations

from collections.abc import Iterator
from fractions import Fraction
from itertools import groupby
from typing import NamedTuple

from dosecheck.formulary.load import Formulary
from dosecheck.formulary.measures import AT_MOST
from dosecheck.formulary.medicine import Medicine, Product, Regimen
from dosecheck.printing.dose_picture import dose_picture
from dosecheck.quantity import Quantity
from dosecheck.records import Child
from dosecheck.reports.rows import dose_words
from dosecheck.rules.explain import fewest_doses, most_for_one_dose
from dosecheck.rules.facts import ratio
from dosecheck.rules.outline import KG, outline, weights_of
from dosecheck.rules.present import band_words
from dosecheck.rules.reckon import Figures, figures_at
from dosecheck.showing import show

DASH = "\u2013"
BY_SURFACE = (
    "The figures go by body surface, which needs a height as well: no table and no picture here. dosecheck dose reckons them for a child."
)
SAME = "The dose does not go by weight: no picture."
_LADDERS = ("0.5 0.75 1 1.5 2 2.5 3 4 5 6 8 10 12 15 20 25 30 40 50 60 70 80 100", "0.5 0.75 1 1.25 1.5 2 2.5 3 3.5 4 4.5 5 6 7 8 9 10 11 12 13 14 15 16 18 20 22 24 26 28 30 35 40 45 50 55 60 65 70 75 80 90 100")  # fmt: skip
_BESIDE = 1  # columns besides weight and dose
_ENOUGH = 5  # lines of a table; below that the finer weights are taken
_ABOUT_ITSELF = ("dose", "share of one dose", "daily dose")


class Line(NamedTuple):
    """`who`: a weight, or a band where the dose is the same all over it.  `binds`: the maximum or floor that holds the dose."""

    who: str
    dose: str
    binds: str
    volumes: tuple[str, ...]


class Group(NamedTuple):
    """The lines of one piece; `title` says which children, where there are several pieces."""

    title: str
    lines: tuple[Line, ...]


class Table(NamedTuple):
    """`what` by weight ("One dose", "Rate"), for one number of doses a day.  `products`: names of the columns; `reasons`: why a dash stands."""

    what: str
    often: str
    products: tuple[str, ...]
    groups: tuple[Group, ...]
    reasons: tuple[str, ...]

    @property
    def caption(self) -> str:
        return f"{self.what} by weight{self.often}" + (", and the most that can be measured" if self.products else "")

    @property
    def held(self) -> bool:
        """Whether anything holds any of the doses."""
        return any(line.binds for group in self.groups for line in group.lines)


class Picture(NamedTuple):
    """`who` it is for, and the drawing as an SVG element."""

    who: str
    svg: str


class ByWeight(NamedTuple):
    """What an entry comes to.  `silent` says why there is no picture, or neither."""

    tables: tuple[Table, ...]
    pictures: tuple[Picture, ...]
    silent: str

    @property
    def narrow(self) -> bool:
        """Whether the picture has room beside the table."""
        return len(self.pictures) == 1 and all(len(table.products) + table.held <= _BESIDE for table in self.tables)


def by_weight(medicine: Medicine, pieces: list[Regimen], formulary: Formulary, key: str) -> ByWeight:
    """Tables and pictures of one entry, one of each for each number of doses a day where its figures are for a day.

    Args:
        pieces: the compiled regimens of one entry, in the order of the file.
        key: letters and digits that begin the names inside its pictures.
    """
    if any("surface" in limit.main.measure for limit in pieces[0].limits):
        return ByWeight((), (), BY_SURFACE)
    counts = pieces[0].entry["doses_a_day"] if pieces[0].per == "day" else [None]
    tables = tuple(_table(medicine, pieces, formulary, place, count) for place, count in enumerate(counts))
    if not any(_goes_by_weight(piece) or _weight_band(piece) for piece in pieces):
        return ByWeight(tables, (), SAME)
    pictures = [picture for count in counts for picture in _pictures(medicine, pieces, formulary, f"{key}n{count or 0}", count)]
    return ByWeight(tables, tuple(pictures), "")


def _goes_by_weight(regimen: Regimen) -> bool:
    return any(limit.main.measure.endswith("/weight") for limit in regimen.limits)


def _weight_band(regimen: Regimen) -> bool:
    return "weight" in regimen.entry


# ---- the table ----


def _table(medicine: Medicine, pieces: list[Regimen], formulary: Formulary, place: int, count: int | None) -> Table:
    made = [
        (piece, weight, figures_at(medicine, piece, _child(weight), formulary)[place])
        for piece in pieces
        for weight in _weights(piece, formulary)
    ]
    each = [figures for _, _, figures in made]
    measurable = {s.product for figures in each for s in figures.products if s.measured}
    products = [product for product in medicine.products if product.id in measurable]
    groups = []
    for piece, rows in groupby(made, key=lambda row: row[0]):
        lines = tuple(_line(piece, weight, figures, products, count) for _, weight, figures in rows)
        groups.append(Group(band_words(piece) if _goes_by_weight(piece) and len(pieces) > 1 else "", lines))
    how = "Rate" if pieces[0].span.continuous else "One dose"
    return Table(how, _often(count), tuple(product.name for product in products), tuple(groups), tuple(_reasons(each, measurable)))


def _reasons(each: list[Figures], measurable: set[str]) -> Iterator[str]:
    """Why a dash stands, or a product has no column."""
    yield from dict.fromkeys(f"{DASH}: {s.note}." for figures in each for s in figures.products if s.note and s.product in measurable)
    never: dict[str, list[str]] = {}
    for s in (s for figures in each for s in figures.products if s.product not in measurable):
        if s.product_name not in never.setdefault(s.note, []):
            never[s.note].append(s.product_name)
    yield from (f"{note[:1].upper()}{note[1:]} at any of these weights: {', '.join(names)}." for note, names in never.items())
    yield from dict.fromkeys(f.notes[0] for f in each if f.high is None and not f.regimen.span.continuous and f.notes)


def _child(weight: Quantity) -> Child:
    return Child(weight=weight, weight_is="measured")


def _weights(regimen: Regimen, formulary: Formulary) -> list[Quantity]:
    """Round weights inside the regimen's own; one of them where the dose is the same at all."""
    low, high = weights_of(regimen, formulary.growth_reference)
    open_end = "below" in regimen.entry.get("weight", {})
    for ladder in _LADDERS:
        steps = [Fraction(text) * KG for text in ladder.split()]
        inside = [step for step in steps if low <= step <= high and not (open_end and step == high)]
        if len(inside) >= _ENOUGH:
            break
    if not inside or ("from" in regimen.entry.get("weight", {}) and not show(Quantity(low, "weight", "kg")).startswith("about")):
        inside = [low, *(step for step in inside if step > low)]
    return [Quantity(weight, "weight", "kg") for weight in (inside if _goes_by_weight(regimen) else [low])]


def _line(regimen: Regimen, weight: Quantity, figures: Figures, products: list[Product], count: int | None) -> Line:
    who = show(weight) if _goes_by_weight(regimen) else band_words(regimen)
    if regimen.span.continuous:
        return Line(who, _rate(regimen, weight), "", (DASH,) * len(products))
    if figures.high is None:
        return Line(who, DASH, "", (DASH,) * len(products))
    measured = {s.product: f"{show(s.measured)} = {show(s.amount)}" for s in figures.products if s.measured}
    volumes = tuple(measured.get(product.id, DASH) for product in products)
    return Line(who, dose_words(figures.low, figures.high), _binds(regimen, weight, count), volumes)


def _rate(regimen: Regimen, weight: Quantity) -> str:
    """The rate at a weight: the figure times the weight, as the check of an infusion has it."""
    low, high = ((end * weight if end and "weight" in end.kind else end) for end in (regimen.span.low, regimen.span.high))
    return dose_words(low, high) if high else f"at least {show(low)}"


def _binds(regimen: Regimen, weight: Quantity, count: int | None) -> str:
    """ "single maximum, 1 g": the limit that holds the dose, where it is not the figure itself."""
    doses = ratio(count or fewest_doses(regimen))
    facts = {"weight": ratio(weight.value), "doses": doses, "average": doses}
    bounds = [(most, limit) for limit in regimen.limits if not limit.beyond and (most := most_for_one_dose(limit, facts)) is not None]
    own = [most for most, limit in bounds if limit.name in _ABOUT_ITSELF]
    least, limit = min(bounds, key=lambda bound: bound[0])
    floor = next((e for e in limit.comparisons[1:] if e.sense == AT_MOST and Fraction(e.p, e.q) == least), None)
    if floor and limit.main.measure.endswith("/weight") and least > Fraction(limit.main.p, limit.main.q) * weight.value:
        return f"smallest dose, {next(lim.text for lim in regimen.limits if lim.name == 'smallest dose')}"
    return f"{limit.name}, {limit.text}" if own and least < min(own) else ""


# ---- the picture ----


def _pictures(medicine: Medicine, pieces: list[Regimen], formulary: Formulary, key: str, count: int | None) -> Iterator[Picture]:
    """One for all bands of weight that differ in nothing else."""
    groups: dict[str, list[Regimen]] = {}
    for piece in pieces:
        if _goes_by_weight(piece) or _weight_band(piece):
            others = {name: piece.entry[name] for name in ("age", "gestation", "postmenstrual", "corrected", "egfr") if name in piece.entry}
            groups.setdefault(str(others), []).append(piece)
    for place, group in enumerate(groups.values()):
        drawn = [made for piece in group if (made := outline(piece, weights_of(piece, formulary.growth_reference), count))]
        drawn.sort(key=lambda made: made.weights)
        if drawn:
            who = (band_words(group[0]) if len(group) == 1 else "by bands of weight") + _often(count)
            title = f"{medicine.name}, {group[0].base_id}, {who}: dose against weight"
            figure = figure_words(group[0]) + _often(count) if len(group) == 1 else ""
            yield Picture(who, dose_picture(drawn, title, figure, f"{key}g{place}"))


def _often(count: int | None) -> str:
    return f", in {count} dose{'s' * (count != 1)} a day" if count else ""


def figure_words(regimen: Regimen) -> str:
    """The regimen's figure: "10 to 15 mg/kg", "at most 7 mg/kg", "50 mg/kg a day"."""
    low, high = regimen.span.low, regimen.span.high
    said = dose_words(low, high) if high else f"at least {show(low)}"
    return f"{said} a day" if regimen.per == "day" else said
