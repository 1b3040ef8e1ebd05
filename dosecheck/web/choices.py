"""What the formulary leaves to choose from once the medicine is told: routes, uses, steps, conditions, products."""

from __future__ import annotations

from collections.abc import Iterable
from typing import NamedTuple

from dosecheck.formulary.load import Formulary
from dosecheck.formulary.medicine import Medicine

Option = tuple[str, str]


class Choices(NamedTuple):
    """What is sent, and the words for it, as the formulary has them.  Empty for no or an unknown medicine."""

    medicine: str = ""
    routes: tuple[Option, ...] = ()
    purposes: tuple[Option, ...] = ()
    steps: tuple[Option, ...] = ()
    products: tuple[Option, ...] = ()
    conditions: tuple[str, ...] = ()


def choices_of(formulary: Formulary, name: str | None) -> Choices:
    """Of exactly that medicine."""
    medicine = formulary.medicine(name)
    if medicine is None:
        return Choices()
    regimens = medicine.regimens
    conditions = {c for r in regimens for c in r.conditions} | {a.condition for a in medicine.age_limits if a.condition}
    return Choices(
        medicine.id,
        _as_they_are(sorted({r.route for r in regimens})),
        _as_they_are(sorted({purpose for r in regimens for purpose in r.purposes})),
        _as_they_are(dict.fromkeys(r.step for r in regimens if r.step)),
        tuple((p.id, p.name) for p in medicine.products),
        tuple(sorted(conditions)),
    )


def _as_they_are(words: Iterable[str]) -> tuple[Option, ...]:
    return tuple((word, word) for word in words)


def names_of(formulary: Formulary) -> list[tuple[str, str]]:
    """(name, what it is another name of): every name that is read, sorted."""
    ids = {name: formulary.medicine(name) for name in formulary.names}
    return [(name, "" if _is_own(name, medicine) else medicine.id) for name, medicine in ids.items()]


def products_of(formulary: Formulary) -> list[Option]:
    """Every product, and the medicine that it is of beside its name; one id may stand for several."""
    words: dict[str, list[str]] = {}
    for medicine in formulary.medicines():
        for product in medicine.products:
            words.setdefault(product.id, []).append(f"{medicine.name}: {product.name}")
    return [(id_, "; ".join(said)) for id_, said in words.items()]


def _is_own(name: str, medicine: Medicine) -> bool:
    return name in (medicine.id, medicine.name.lower())
