"""The order's dose as an amount of one ingredient, in the kind that a regimen is written in, with its working.

"15 mg/kg", "5 mL", "2 puffs", "600 mg a day" and "80 mg of trimethoprim" all become an amount for one dose here,
exactly; what stands in the way comes back as a problem (code, data), never as a guess.
"""

from __future__ import annotations

from fractions import Fraction
from typing import Any, NamedTuple

from dosecheck.body.surface import rounded_root
from dosecheck.formulary.medicine import Ingredient, Medicine, Product
from dosecheck.quantity import COUNTED, DRUG, Quantity, counted_unit
from dosecheck.reading import Dose
from dosecheck.records import Child
from dosecheck.rules.facts import surface_squared
from dosecheck.working import BY, TIMES, Step

Problem = tuple[str, dict[str, Any]]


class Amount(NamedTuple):
    """`low` to `high` of one dose (for an infusion: of one second), in the regimen's kind."""

    low: Quantity
    high: Quantity
    steps: tuple[Step, ...]


class Given(NamedTuple):
    """What the conversion may use."""

    medicine: Medicine
    product: Product | None
    child: Child
    doses: Fraction | None


def amount_of(dose: Dose, ingredient: Ingredient, kind: str, given: Given) -> Amount | Problem:
    """The dose in `kind` of `ingredient`, or what stands in the way."""
    steps: list[Step] = []
    ends = [dose.low, dose.high]
    for convert in (_body, _single, _stated):
        problem = convert(dose, ends, given, steps)
        if problem:
            return problem
    problem = _into(ends, dose, ingredient, kind, given, steps)
    return problem or Amount(ends[0], ends[1], tuple(steps))


def _record(steps: list[Step], what: str, before: Quantity, sign: str, by: Any, after: Quantity, note: str = "") -> None:
    steps.append(Step(what, (before, sign, by), after, note))


def _body(dose: Dose, ends: list[Quantity], given: Given, steps: list[Step]) -> Problem | None:
    """Per kg and per m2 become amounts for this child; an infusion becomes an amount a second."""
    below = dose.kind.split("/")[1:]
    if "weight" in below:
        if given.child.weight is None:
            return "weight-missing", {}
        _change(ends, steps, "order", TIMES, given.child.weight)
    if "surface" in below:
        squared = surface_squared(given.child)
        if squared is None:
            return "height-missing", {}
        area = Quantity(rounded_root(squared), "surface", "m2")
        steps.append(
            Step(
                "body surface",
                ("square root of", given.child.height, TIMES, given.child.weight, "/ 3600"),
                area,
                "Mosteller, rounded to 0.0001 m2",
            )
        )
        _change(ends, steps, "order", TIMES, area)
    if "time" in below:
        ends[:] = [Quantity(end.value, end.kind.split("/")[0], end.unit.split("/")[0]) for end in ends]
    return None


def _change(ends: list[Quantity], steps: list[Step], what: str, sign: str, by: Any) -> None:
    after = [end * by if sign == TIMES else end / by for end in ends]
    for before, result in dict.fromkeys(zip(ends, after, strict=True)):
        _record(steps, what, before, sign, by, result)
    ends[:] = after


def _single(dose: Dose, ends: list[Quantity], given: Given, steps: list[Step]) -> Problem | None:
    """A dose a day is shared out over its doses."""
    if dose.per != "day":
        return None
    if given.doses is None or given.doses.denominator != 1:
        return "count-needed", {}
    _change(ends, steps, "one dose of the day", BY, int(given.doses))
    return None


def _stated(dose: Dose, ends: list[Quantity], given: Given, steps: list[Step]) -> Problem | None:
    """With several ingredients, or equivalents, an amount of medicine says what it is of."""
    names = [i.id for i in given.medicine.ingredients]
    if dose.basis and given.medicine.ingredient(dose.basis) is None:
        return "basis-unknown", {"name": dose.basis, "medicine": given.medicine.id, "has": names}
    if given.medicine.basis_stated and not dose.basis and ends[0].kind in DRUG:
        alone = len(names) == 1  # equivalents: the ingredient's own name would not say which
        return "basis-missing", {"has": [f'"... of {i.names[:2][-1] if alone else i.id}"' for i in given.medicine.ingredients]}
    return None


def _into(ends: list[Quantity], dose: Dose, ingredient: Ingredient, kind: str, given: Given, steps: list[Step]) -> Problem | None:
    """From what is ordered (a drug amount, a volume, a count) to `kind` of `ingredient`."""
    if ends[0].kind == kind and (kind in COUNTED or not dose.basis or given.medicine.ingredient(dose.basis) == ingredient):
        return None
    if ends[0].kind in DRUG and dose.basis and given.medicine.ingredient(dose.basis) != ingredient:
        problem = _other_ingredient(ends, dose, ingredient, given, steps)
    elif ends[0].kind not in DRUG:
        problem = _by_strength(ends, ingredient, given, steps)
    else:
        problem = None
    if problem or ends[0].kind == kind:
        return problem
    return _other_kind(ends, ingredient, kind, given, steps)


def _by_strength(ends: list[Quantity], ingredient: Ingredient, given: Given, steps: list[Step]) -> Problem | None:
    strength = given.product.strengths.get(ingredient.id) if given.product else None
    if strength is None or strength.kind.split("/")[1] != ends[0].kind:
        measured = [p.id for p in given.medicine.products if any(s.kind.endswith("/" + ends[0].kind) for s in p.strengths.values())]
        return "product-needed", {"unit": ends[0].unit, "has": measured}
    after = [strength * end for end in ends]
    for before, result in dict.fromkeys(zip(ends, after, strict=True)):
        _record(steps, "order", before, TIMES, strength, result)
    ends[:] = after
    return None


def _other_ingredient(ends: list[Quantity], dose: Dose, ingredient: Ingredient, given: Given, steps: list[Step]) -> Problem | None:
    stated = given.medicine.ingredient(dose.basis)
    both = given.product and (given.product.strengths.get(stated.id), given.product.strengths.get(ingredient.id))
    if not both or None in both:
        return "ingredient-amount-unknown", {"ingredient": ingredient.id}
    kind = both[0].kind.split("/")[0]  # the share is between strengths, so the order is first brought into their kind
    problem = None if ends[0].kind == kind else _other_kind(ends, stated, kind, given, steps)
    if problem:
        return problem
    share = both[1].value / both[0].value
    after = [Quantity(end.value * share, both[1].kind.split("/")[0], both[1].unit.split("/")[0]) for end in ends]
    for before, result in dict.fromkeys(zip(ends, after, strict=True)):
        steps.append(Step(f"{ingredient.id} that goes along", (before, TIMES, both[1], BY, both[0]), result))
    ends[:] = after
    return None


_WORDS = {"mass": "an amount by mass", "activity": "an amount in units", "substance": "an amount in mmol", "volume": "a volume"}
_SHOWN = {"mass": "mg", "activity": "units", "substance": "mmol"}


def _other_kind(ends: list[Quantity], ingredient: Ingredient, kind: str, given: Given, steps: list[Step]) -> Problem | None:
    """By the medicine's own factor between kinds, or by the strength into a counted thing."""
    factor = ingredient.equals.get((ends[0].kind, kind))
    strength = given.product.strengths.get(ingredient.id) if given.product else None
    if factor is not None:
        after = [Quantity(end.value * factor, kind, _SHOWN[kind]) for end in ends]
    elif strength is not None and strength.kind == f"{ends[0].kind}/{kind}":
        after = [Quantity(end.value / strength.value, kind, counted_unit(kind)) for end in ends]
    elif kind in COUNTED and ends[0].kind in DRUG:
        return "product-needed", {"unit": ends[0].unit, "has": [p.id for p in given.medicine.products]}
    else:
        return "kind-differs", {"kind": _WORDS.get(ends[0].kind, f"in {ends[0].unit}"), "other": _WORDS.get(kind, f"{kind}s")}
    for before, result in dict.fromkeys(zip(ends, after, strict=True)):
        steps.append(Step("in the regimen's unit", (before,), result))
    ends[:] = after
    return None
