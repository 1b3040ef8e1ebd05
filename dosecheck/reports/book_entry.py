"""One regimen of the book: what it is for, who it is for, the figures, every limit in words, notes, source and check."""

from __future__ import annotations

from datetime import date
from typing import Any, NamedTuple

from dosecheck.formulary.limits import Limit
from dosecheck.formulary.load import Formulary
from dosecheck.formulary.measures import AT_MOST
from dosecheck.formulary.medicine import Medicine, Product, Regimen
from dosecheck.quantity import Quantity
from dosecheck.reports.book_checks import Checks
from dosecheck.reports.book_weights import ByWeight, by_weight, figure_words
from dosecheck.rules.present import band_words
from dosecheck.showing import show

_DOSE = ("dose", "daily dose")
_WEIGHTS = {
    "ideal": "Goes by ideal weight, not by the scale.",
    "adjusted": "Goes by adjusted weight, not by the scale.",
    "lean": "Goes by lean weight, which is not reckoned: an order is not checked. The weights of the table and the picture stand for the lean weight.",
    "actual": "Goes by the child's own weight, however heavy.",
}


class Cited(NamedTuple):
    """A source as cited: its number in the list, who and when, and the place in it."""

    number: int
    short: str
    place: str


class Figure(NamedTuple):
    """One line of an entry: for whom, the dose, and the limits that this line alone has."""

    who: str
    dose: str
    limits: tuple[str, ...]


class Entry(NamedTuple):
    """One regimen as the file has it.  `state` is empty while it is in force; `notes` are (heading, text)."""

    id: str
    anchor: str
    what: tuple[str, ...]
    figures: tuple[Figure, ...]
    limits: tuple[str, ...]
    notes: tuple[tuple[str, str], ...]
    source: Cited
    from_: date
    state: str
    checked: str
    weights: ByWeight


def cited(text: str, numbers: dict[str, int], known: dict[str, Any]) -> Cited:
    """ "id, place" as cited."""
    id_, _, place = text.partition(", ")
    return Cited(numbers[id_], ", ".join(str(known[id_][key]) for key in ("organisation", "year") if key in known[id_]), place)


def entries(
    medicine: Medicine, formulary: Formulary, numbers: dict[str, int], known: dict[str, Any], checks: Checks, on: date
) -> tuple[Entry, ...]:
    """Every regimen of the file in its order; one that is no longer, or not yet, in force says so."""
    by_entry: dict[tuple[str, date], list[Regimen]] = {}
    for regimen in medicine.regimens:
        by_entry.setdefault((regimen.base_id, regimen.valid_from), []).append(regimen)
    made = []
    for place, ((id_, start), pieces) in enumerate(by_entry.items(), 1):
        later = [day for other, day in by_entry if other == id_ and day > start]
        made.append(
            _entry(
                medicine,
                pieces,
                f"{medicine.id}-{place}",
                formulary,
                cited(pieces[0].source, numbers, known),
                _state(start, later, on),
                checks["regimen", id_, start].text,
            )
        )
    return tuple(made)


def _state(start: date, later: list[date], on: date) -> str:
    if start > on:
        return f"Not yet in force: from {start}."
    superseded = min((day for day in later if day <= on), default=None)
    return f"No longer in force: superseded from {superseded}." if superseded else ""


def _entry(medicine: Medicine, pieces: list[Regimen], anchor: str, formulary: Formulary, source: Cited, state: str, checked: str) -> Entry:
    first = pieces[0]
    each = [list(dict.fromkeys(_limits(piece))) for piece in pieces]
    shared = [text for text in each[0] if all(text in others for others in each)]
    figures = tuple(
        Figure(band_words(piece), _dose(piece), tuple(text for text in texts if text not in shared))
        for piece, texts in zip(pieces, each, strict=True)
    )
    return Entry(
        id=first.base_id + (" (local)" if first.origin != "base" else ""),
        anchor=anchor,
        what=tuple(_what(medicine, first)),
        figures=figures,
        limits=tuple(shared),
        notes=tuple(_notes(first)),
        source=source,
        from_=first.valid_from,
        state=state,
        checked=checked,
        weights=by_weight(medicine, pieces, formulary, anchor.replace("-", "")),
    )


def _what(medicine: Medicine, regimen: Regimen) -> list[str]:
    """ "oral", "for pain, fever", "first dose", "only with: pack directions" ..."""
    said = [regimen.route, "for " + ", ".join(regimen.purposes)]
    said += [f"{regimen.step} dose"] if regimen.step else []
    said += [f"only with: {condition}" for condition in sorted(regimen.conditions)]
    said += [f"{regimen.release} release"] if regimen.release != "immediate" else []
    said += [f"of {regimen.ingredient}"] if len(medicine.ingredients) > 1 else []
    said += [f"with it goes {', '.join(regimen.covers)}"] if regimen.covers else []
    said += ["only as " + ", ".join(medicine.product(id_).name for id_ in regimen.products)] if regimen.products else []
    return said


def _dose(regimen: Regimen) -> str:
    """ "10 to 15 mg/kg", "50 mg/kg a day, in 2 or 3 doses"."""
    counts = regimen.entry.get("doses_a_day", []) if regimen.per == "day" else []
    return figure_words(regimen) + (f", in {' or '.join(map(str, counts))} dose{'s' * (counts != [1])}" if counts else "")


def _limits(regimen: Regimen) -> list[str]:
    """Every limit in words with what breaking it means; that a dose below its low end is a query is said once, in front."""
    return [_graded(limit, regimen) for limit in regimen.limits if not limit.beyond and limit.name != "low end"]


def _graded(limit: Limit, regimen: Regimen) -> str:
    """ "daily maximum: 60 mg/kg (query above, stop above 60 mg/kg and 10 % more)"; the dose itself stands beside."""
    side = "otherwise" if limit.name == "doses a day" else "above" if limit.main.sense == AT_MOST else "below"
    further = next((b for b in regimen.limits if b.beyond and b.name == limit.name and b.figure == limit.figure), None)
    grade = f"{limit.outcome} {side}" + (f", stop above {further.text}" if further else "")
    return f"{limit.name}: {grade}" if limit.name in _DOSE else f"{limit.name}: {limit.text} ({grade})"


def _notes(regimen: Regimen) -> list[tuple[str, str]]:
    """What the file says besides, in the order in which it matters to who gives the dose."""
    said = [("Ask first", line) for line in regimen.ask_first]
    said += [("Weight", _WEIGHTS[regimen.goes_by])] if regimen.goes_by else []
    said += [("Rounding", regimen.rounding)] if regimen.rounding else []
    said += [("No daily maximum", regimen.no_daily)] if regimen.no_daily else []
    said += [("Must be told", ", ".join(regimen.required))] if regimen.required else []
    said += [("Local reason", regimen.reason)] if regimen.reason else []
    return said + ([("Note", regimen.note)] if regimen.note else [])


def steps_in_words(product: Product) -> str:
    """ "up to 1 mL in steps of 0.01 mL, above in steps of 0.5 mL"; "whole only"."""
    if product.below != "volume":
        return "whole only" if product.divides == 1 else f"divides into {product.divides} equal parts"
    said = []
    for step in product.measure:
        size = show(Quantity(step.step, "volume", "mL"))
        end = "above" if said else "any volume"
        said.append(
            f"up to {show(Quantity(step.up_to, 'volume', 'mL'))} in steps of {size}"
            if step.up_to is not None
            else f"{end} in steps of {size}"
        )
    return ", ".join(said)
