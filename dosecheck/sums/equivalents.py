"""A salt and what it stands for: salt to base and back, and elemental iron by product.

Sources differ in what they count, so each figure is tied to its product or to both names in full.
"""

from __future__ import annotations

from typing import NamedTuple

from dosecheck.errors import Fault, InputError
from dosecheck.quantity import Quantity
from dosecheck.reading import read_amount
from dosecheck.reading.figures import read_solution, reader_of, word_of
from dosecheck.showing import show
from dosecheck.sums.amounts import WEIGHT_IF_TOLD, by_weight, whole_of
from dosecheck.sums.frame import Answer, Doubt, Field, Result, Sum, one_of
from dosecheck.working import BY, TIMES, Step

_WHO_LIST = "WHO Model List of Essential Medicines, 18th list, World Health Organization, 2013, pages 34 and 35"
_MASSES, _UNITS = ("mass", "mass/weight", "mass/volume"), ("activity", "activity/weight", "activity/volume")
_read_equivalent = reader_of((*_MASSES, *_UNITS), "amount", "75 mg")


def _read(text: str) -> Quantity:
    return read_amount(text, ("mass", "activity", "volume"), "amount", "75 mg")


class Pair(NamedTuple):
    """So much of one is so much of the other."""

    one: str
    much: Quantity
    other: str
    as_much: Quantity
    source: str
    note: str = ""


PAIRS = (
    Pair(
        "fosphenytoin sodium",
        _read("1.5 mg"),
        "phenytoin sodium equivalents",
        _read("1 mg"),
        "Prescribing information, fosphenytoin sodium injection, United States: 1.5 mg is 1 mg of phenytoin sodium equivalents (PE)",
        "Vials say 50 mg PE/mL: that is each mL, not the vial. Taken for the vial it has caused twofold and tenfold overdoses.",
    ),
    Pair("caffeine citrate", _read("20 mg"), "caffeine", _read("10 mg"), f"{_WHO_LIST}: 20 mg of the citrate is 10 mg of caffeine"),
    Pair("chlorhexidine digluconate", _read("7.1 mg"), "chlorhexidine", _read("4 mg"), f"{_WHO_LIST}: 7.1 % of the digluconate is 4 %"),
    Pair(
        "ergocalciferol by mass",
        _read("250 micrograms"),
        "ergocalciferol by units",
        _read("10000 units"),
        f"{_WHO_LIST}: 250 micrograms is 10,000 units",
    ),
)
_FORMS = tuple(name for pair in PAIRS for name in (pair.one, pair.other))


def equivalent(amount: Quantity, stated_as: str) -> Answer:
    """The same medicine, counted as the other form of its pair."""
    pair = next(pair for pair in PAIRS if stated_as in (pair.one, pair.other))
    here, there, name = (pair.much, pair.as_much, pair.other) if stated_as == pair.one else (pair.as_much, pair.much, pair.one)
    top, *below = amount.kind.split("/")
    if top != here.kind:
        why = f"{stated_as[:1].upper() + stated_as[1:]} is counted in {here.unit}, not in {amount.unit.split('/')[0]}."
        raise InputError([Fault("amount", show(amount), why, f'Write it in {here.unit}, or say which form is meant with "stated as".')])
    unit = amount.unit.split("/")[0] if there.kind == top else there.unit
    units = "/".join([unit, *amount.unit.split("/")[1:]])
    found = Quantity(amount.value * there.value / here.value, "/".join([there.kind, *below]), units)
    step = Step(f"as {name}", (amount, TIMES, there, BY, here), found)
    notes = (f"It is the same medicine, counted as {name}: say which is meant wherever it is written.", *([pair.note] * bool(pair.note)))
    return Answer((Result("equivalent", found, name),), (step,), (), notes, (pair.source,))


class Iron(NamedTuple):
    """Of one tablet or capsule, or of one volume of a liquid: mass of the salt, and of iron."""

    one: Quantity
    salt: Quantity
    iron: Quantity
    otherwise: str = ""


def _iron(one: str, salt: str, iron: str, otherwise: str = "") -> Iron:
    return Iron(read_amount(one, ("tablet", "capsule", "volume"), "amount", "1 tablet"), _read(salt), _read(iron), otherwise)


IRON = {
    "dried ferrous sulfate tablet": _iron("1 tablet", "200 mg", "65 mg", "60 mg of iron in 200 mg of ferrous sulfate"),
    "ferrous sulfate drops": _iron("1 mL", "125 mg", "25 mg"),
    "ferrous sulfate slow-release capsule": _iron("1 capsule", "150 mg", "48 mg"),
    "ferrous gluconate tablet": _iron("1 tablet", "300 mg", "37 mg", "35 mg of iron in 300 mg"),
    "ferrous fumarate capsule": _iron("1 capsule", "305 mg", "100 mg", "65 mg of iron in 200 mg"),
    "ferrous fumarate tablet": _iron("1 tablet", "322 mg", "106 mg", "65 mg of iron in 200 mg"),
    "sodium feredetate liquid": _iron("5 mL", "190 mg", "27.5 mg"),
}
IRON_SOURCE = "Guidelines for iron deficiency anaemia in adults, British Society of Gastroenterology, Gut 2021, table 3: oral iron in the United Kingdom"
OTHER_IRON = "Bateman DN, Iron, Medicine 2003;31(10):54-55"
_SERIOUS = reader_of(("mass/weight",), "amount", "60 mg/kg")("60 mg/kg")


def elemental_iron(product: str, taken: Quantity | None, salt: Quantity | None, iron: Quantity | None, weight: Quantity | None) -> Answer:
    """Iron, salt, and tablets or mL of one product, from any one of them; by weight too where the weight is told."""
    of, how = IRON[product], one_of(taken=taken, salt=salt, iron=iron)
    given, steps = whole_of(taken or salt or iron, weight, "for this child")
    per = {"taken": of.one, "salt": of.salt, "iron": of.iron}[how]
    if given.kind != per.kind:
        why = f"One counts this product in {per.unit}."
        raise InputError([Fault("taken", show(given), why, f'Write it as "{show(per)}", or give salt or iron.')])
    share = given.value / per.value
    amounts = {"iron": of.iron * share, "salt": of.salt * share, "taken": of.one * share}
    steps += [
        Step(name, (given, TIMES, getattr(of, "one" if name == "taken" else name), BY, per), amounts[name])
        for name in amounts
        if name != how
    ]
    results = [
        Result("iron", amounts["iron"], "elemental"),
        Result("salt", amounts["salt"], product),
        Result("of the product", amounts["taken"]),
    ]
    doubts = []
    notes = ["The figure is this product's: another product, or another salt, has another."]
    if weight is None:
        notes.append(
            f"More than {show(_SERIOUS)} of iron at once is seriously poisonous ({OTHER_IRON}): give the weight, to see how near it is."
        )
    else:
        per_kg = by_weight(amounts["iron"], weight)
        steps.append(Step("iron by weight", (amounts["iron"], BY, weight), per_kg))
        results.append(Result("iron by weight", per_kg))
        if per_kg > _SERIOUS:
            doubts.append(
                Doubt(
                    "iron-toxic",
                    f"More than {show(_SERIOUS)} of iron at once is seriously poisonous ({OTHER_IRON}): get help now if taken.",
                )
            )
    if of.otherwise:
        notes.append(f"Another source counts {of.otherwise} ({OTHER_IRON}): go by the label of the product in hand.")
    return Answer(tuple(results), tuple(steps), tuple(doubts), tuple(notes), (IRON_SOURCE,))


def _read_stated(text: str) -> Quantity:
    """Amounts and strengths, "7.1 %" among them."""
    return read_solution(text) if isinstance(text, str) and "%" in text else _read_equivalent(text)


_read_iron = reader_of(("mass", "mass/weight"), "amount of iron", "65 mg")

SUMS = {
    "equivalent": Sum(
        "Salt and base",
        (
            Field("amount", _read_stated, "75 mg", "an amount, an amount by weight, or a strength"),
            Field("stated_as", word_of(_FORMS, "form"), "fosphenytoin sodium", f"the form it is stated in: {', '.join(_FORMS)}"),
        ),
        equivalent,
    ),
    "elemental-iron": Sum(
        "Elemental iron by product",
        (
            Field("product", word_of(tuple(IRON), "product"), "dried ferrous sulfate tablet", f"the product: {', '.join(IRON)}"),
            Field(
                "taken",
                reader_of(("tablet", "capsule", "volume"), "amount taken", "2 tablets"),
                "2 tablets",
                "tablets, capsules or mL",
                needed=False,
            ),
            Field("salt", reader_of(("mass", "mass/weight"), "amount of salt", "200 mg"), "200 mg", "mass of the salt", needed=False),
            Field("iron", _read_iron, "65 mg", "mass of elemental iron", needed=False),
            WEIGHT_IF_TOLD,
        ),
        elemental_iron,
    ),
}
