"""Names that two medicines share, or that only look different: either could bring another medicine's limits."""

from __future__ import annotations

import unicodedata
from collections.abc import Iterator

from dosecheck.formulary.plainly import Place, Problem, Raw, shown, tables


def names_of(raws: dict[str, Raw]) -> list[tuple[str, str, Place]]:
    """(name, file, place) of every id, name and alias of a medicine, right or wrong."""
    found = []
    for name, raw in raws.items():
        if name.startswith("medicines/"):
            found += [(raw[key], name, (key,)) for key in ("id", "name") if isinstance(raw.get(key), str)]
            found += [(alias, name, ("aliases", n)) for n, alias in enumerate(tables(raw, "aliases")) if isinstance(alias, str)]
    return found


# Letters of other alphabets that look like Latin ones.
_LOOK = str.maketrans("аеорсухіјѕԁԛԝһѵαονρικτυχ", "aeopcyxijsdqwhvaovpiktux")


def look(name: str) -> str:
    """What is left of a name when case, accents, hidden characters, kinds of hyphen and look-alike letters are taken away."""
    bare = []
    for char in unicodedata.normalize("NFKD", name.casefold()):
        category = unicodedata.category(char)
        if category == "Pd":
            bare.append("-")
        elif category[0] not in "MC":
            bare.append(char)
    return " ".join("".join(bare).translate(_LOOK).split())


def clashes(names: list[tuple[str, str, Place]]) -> Iterator[tuple[str, Problem]]:
    """A name of two medicines, or two names that look alike; told in each file after the first, naming both."""
    first: dict[str, tuple[str, str]] = {}
    for text, file, place in names:
        other, other_file = first.setdefault(look(text), (text, file))
        if other_file == file:
            continue
        if other == text:
            why = f"{shown(text)} is a name in {other_file} too, so an order by it could mean either."
        else:
            why = f"{shown(text)} looks like {shown(other)} in {other_file}: only case, accents, hyphens or hidden letters part them."
        yield file, Problem(place, why, "A name belongs to one medicine only.")


def ingredient_clashes(raws: dict[str, Raw]) -> Iterator[tuple[str, Problem]]:
    """Medicines share ingredients by id, and totals go by it: one ingredient must not be spelt in two ways."""
    first: dict[str, tuple[str, str]] = {}
    for file, raw in raws.items():
        for number, entry in enumerate(tables(raw, "ingredient")):
            id_ = entry.get("id") if isinstance(entry, dict) else None
            if isinstance(id_, str):
                other, other_file = first.setdefault(look(id_), (id_, file))
                if other != id_:
                    why = f"{shown(id_)} looks like the ingredient {shown(other)} in {other_file}, and would not be added up with it."
                    yield file, Problem(("ingredient", number, "id"), why, "Spell both the same.")
