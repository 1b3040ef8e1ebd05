"""One medicine's entries against each other: ids, references, regimens that overlap, figures too large to compare.

Entries whose own fields are wrong are left out, but their ids count as known, so that one slip is told once.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator
from difflib import get_close_matches
from typing import Any, NamedTuple

from dosecheck.formulary.agree import ingredient_problems, product_problems, regimen_problems
from dosecheck.formulary.daily_bands_lint import band_overlaps, band_row_problems
from dosecheck.formulary.limits import Policy
from dosecheck.formulary.measures import MOST_BITS, bits_needed
from dosecheck.formulary.medicine import Medicine, Regimen, compile_medicine
from dosecheck.formulary.meets import overlaps
from dosecheck.formulary.plainly import ENTRIES, FIGURES, Problem, Raw, tables

MOST_ROWS = 1000


class Sound(NamedTuple):
    """A medicine's file as far as it is right: `entries` with their places, and `ids` of all entries, right or wrong."""

    head: Raw
    entries: dict[str, list[tuple[int, Raw]]]
    ids: dict[str, list[str]]


def sound_part(raw: Raw, shape: list[Problem]) -> Sound:
    """The file without the entries in which `shape` has faults."""
    wrong = {problem.place[:2] for problem in shape}
    entries = {kind: [(n, e) for n, e in enumerate(tables(raw, kind)) if not {(), (kind,), (kind, n)} & wrong] for kind in ENTRIES}
    ids = {kind: [e["id"] for e in tables(raw, kind) if isinstance(e, dict) and isinstance(e.get("id"), str)] for kind in ENTRIES}
    no_head = {*ENTRIES, *(place[0] for place in wrong if place)}
    head = {key: value for key, value in raw.items() if key not in no_head}
    return Sound(head, entries, ids)


def plain_tables(sound: Sound) -> Raw:
    """The right part as one file again."""
    return {**sound.head, **{kind: [entry for _, entry in sound.entries[kind]] for kind in ENTRIES}}


def medicine_problems(sound: Sound, policy: Policy) -> Iterator[Problem]:
    """Every fault of the entries of one medicine, beyond the shape of each."""
    regimens = sound.entries["regimen"]
    if sum(max(1, len(entry.get("band", []))) for _, entry in regimens) > MOST_ROWS:
        yield Problem(
            ("regimen",), f"The medicine has more than {MOST_ROWS} regimens and bands.", "Split the file, or look for a copy too many."
        )
        return
    found = [
        problem._replace(place=(kind, number, *problem.place))
        for kind in ENTRIES
        for number, entry in sound.entries[kind]
        for problem in _entry_problems(kind, entry, sound)
    ]
    yield from found
    yield from _twice(sound)
    wrong = {problem.place[:2] for problem in found}
    compiled: dict[int, list[Regimen]] = {}
    for kind in FIGURES:
        for number, entry in sound.entries[kind]:
            if (kind, number) not in wrong:
                made = _compiled(kind, entry, sound, policy)
                if isinstance(made, str):
                    yield Problem(
                        (kind, number),
                        f"Its figures cannot be put together ({made}).",
                        "Look at it again; lint should have said what is wrong.",
                    )
                elif kind == "regimen":
                    compiled[number] = list(made.regimens)
    yield from band_overlaps([row for row in sound.entries["daily_band"] if ("daily_band", row[0]) not in wrong])
    for number, rows in compiled.items():
        yield from (Problem(("regimen", number), why, "Look at the figure and its unit again.") for row in rows for why in _too_large(row))
    yield from _overlap_problems(compiled)


def _compiled(kind: str, entry: Raw, sound: Sound, policy: Policy) -> Medicine | str:
    """The medicine with this one entry, or the error's own words: nothing a file holds may end in a traceback."""
    ingredients = [{"id": name} for name in sound.ids["ingredient"]] or [{"id": "unknown"}]
    raw = {"id": "x", "name": "x", "status": "example", "ingredient": ingredients, "high_risk": sound.head.get("high_risk", False)}
    try:
        return compile_medicine({**raw, kind: [entry]}, policy, "")
    except Exception as error:
        return f"{type(error).__name__}: {error}"[:200]


# ---- ids and references ----


def _entry_problems(kind: str, entry: Raw, sound: Sound) -> Iterator[Problem]:
    if kind == "ingredient":
        yield from ingredient_problems(entry)
    elif kind == "product" and sound.ids["ingredient"]:
        yield from product_problems(entry, sound.ids["ingredient"])
    elif kind == "daily_band":
        yield from band_row_problems(entry)
    elif kind == "regimen":
        yield from regimen_problems(entry)
        yield from _ingredient_references(entry, sound.ids["ingredient"]) if sound.ids["ingredient"] else ()
        yield from _product_references(entry, sound)
        if sound.head.get("status") == "approved" and "checked" not in entry:
            yield Problem(
                ("checked",),
                "The medicine is approved, and nobody is named who checked this regimen.",
                'Use "dosecheck formulary approve", or write another status.',
            )


def unknown(name: str, known: list[str], what: str) -> Problem:
    near = get_close_matches(name, known, n=1)
    has = f"Known: {', '.join(known)}." if known else "None is written yet."
    return Problem((), f'There is no {what} "{name}".', f'Did you mean "{near[0]}"?' if near else has)


def _ingredient_references(entry: Raw, known: list[str]) -> Iterator[Problem]:
    mine = entry.get("ingredient")
    if mine is None and len(known) > 1:
        yield Problem(
            ("ingredient",),
            "The medicine has several ingredients, and the regimen does not say which its figures are of.",
            f'Write ingredient = "{known[0]}".',
        )
    if mine is not None and mine not in known:
        yield unknown(mine, known, "ingredient")._replace(place=("ingredient",))
    covers = entry.get("covers", [])
    for n, name in enumerate(covers):
        if name not in known:
            yield unknown(name, known, "ingredient")._replace(place=("covers", n))
        elif name == mine:
            yield Problem(("covers", n), f"{name} is the ingredient that the figures are of.", "covers names the others.")
    if covers and "products" not in entry:
        yield Problem(
            ("products",),
            "covers holds for the fixed ratio of named products, and none is named.",
            'Write products = ["..."], with their ids.',
        )


def _product_references(entry: Raw, sound: Sound) -> Iterator[Problem]:
    products = {product["id"]: product for _, product in sound.entries["product"]}
    for n, name in enumerate(entry.get("products", [])):
        place = ("products", n)
        product = products.get(name)
        if name not in sound.ids["product"]:
            yield unknown(name, sound.ids["product"], "product")._replace(place=place)
        elif product and entry["route"] not in product["routes"]:
            yield Problem(place, f'The product "{name}" is not given by this route, {entry["route"]}.', "Look at its routes.")
        elif product and product.get("release", "immediate") != entry.get("release", "immediate"):
            yield Problem(
                place, f'The product "{name}" and the regimen differ in release.', 'Write release = "modified" in both, or in neither.'
            )


def _twice(sound: Sound) -> Iterator[Problem]:
    """An id or an ingredient's name that stands for two entries; a regimen may stand again with another date."""
    for kind in ENTRIES:
        seen: set[Any] = set()
        for number, entry in sound.entries[kind]:
            for name in sorted(_own_names(kind, entry)):
                if name in seen:
                    said = f" and valid_from {name[1]}" if isinstance(name, tuple) else ""
                    id_ = name[0] if isinstance(name, tuple) else name
                    why = f'Another {kind.replace("_", " ")} has the same name "{id_}"{said}.'
                    yield Problem((kind, number, "id"), why, "Give each its own.")
                seen.add(name)


def _own_names(kind: str, entry: Raw) -> set[Any]:
    if kind == "regimen":
        return {(entry["id"], entry["valid_from"])}
    if kind == "ingredient":
        return {name.lower() for name in (entry["id"], *entry.get("aliases", []))}
    return {entry["id"], entry["name"].lower()} if kind == "product" else {entry["id"]}


# ---- regimens together ----


def _overlap_problems(compiled: dict[int, list[Regimen]]) -> Iterator[Problem]:
    numbers = {id(row): number for number, rows in compiled.items() for row in rows}
    partners: dict[int, dict[int, str]] = defaultdict(dict)
    for one, other in overlaps([row for rows in compiled.values() for row in rows]):
        if (one.base_id, one.valid_from) != (other.base_id, other.valid_from) or numbers[id(one)] == numbers[id(other)]:
            partners[numbers[id(one)]][numbers[id(other)]] = other.base_id
    for number, others in partners.items():
        if number in others:
            why = "Two of its bands overlap, so a child could fall under both."
            yield Problem(("regimen", number, "band"), why, 'The upper end is outside: below = "15 kg" goes with from = "15 kg".')
        names = sorted({f'"{name}"' for other, name in others.items() if other != number})
        if names:
            shown = ", ".join(names[:5]) + (f" and {len(names) - 5} more" if len(names) > 5 else "")
            why = f"It overlaps the regimen {shown}: one order for one child could fall under both."
            write = "Part them by age, weight, kidney function, purpose, step or condition; or give the newer one the same id and a later valid_from."
            yield Problem(("regimen", number), why, write)


def _too_large(row: Regimen) -> Iterator[str]:
    for limit in row.limits:
        bits = max(map(bits_needed, limit.comparisons))
        if bits > MOST_BITS:
            yield f'The {limit.name}, "{limit.text}", would need numbers of {bits} bits to be compared exactly; {MOST_BITS} is the most.'
            return
