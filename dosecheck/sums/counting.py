"""One amount in another unit, as a volume, or in tablets and their parts."""

from __future__ import annotations

import re
from fractions import Fraction
from math import ceil, floor
from typing import NamedTuple

from dosecheck.errors import Fault, InputError, TextError
from dosecheck.quantity import COUNTED, DRUG, Quantity, counted_unit, factor
from dosecheck.reading import read_amount, read_strength, read_volume, read_weight
from dosecheck.reading.figures import read_solution, reader_of, word_of
from dosecheck.showing import show, show_number, show_unit
from dosecheck.sums.amounts import WEIGHT_IF_TOLD, bag_doubts, drawn_doubts, strength_doubts, to_measure, unused_weight, volume_of, whole_of
from dosecheck.sums.frame import Answer, Doubt, Field, Result, Sum, one_of
from dosecheck.working import BY, TIMES, Step

SOURCE = "Arithmetic alone: the amount over what one tablet or one mL holds"
ROUNDING = (
    "Rounded down, never up, in steps of 0.01 mL below 1 mL and of 0.1 mL above: answer keys of nursing courses do either; a ward's "
    "own rule comes first."
)
PARTS = {"whole": 1, "halves": 2, "quarters": 4}
_MANY = 10
_ANY = (*DRUG, "charge", "volume", "weight", "time", "length")


class Unit(NamedTuple):
    """A unit alone, as it is shown."""

    kind: str
    name: str

    def __str__(self) -> str:
        return self.name


def convert(amount: Quantity, to: Unit) -> Answer:
    """The same amount in another unit of its kind, exactly; shown in that unit even where another would read better."""
    amount, to = _grams(amount, to)
    if amount.kind != to.kind:
        raise InputError([_other_kind(amount, to)])
    share = factor(amount.unit, amount.kind) / factor(to.name, to.kind)
    found = _in_unit(amount.number * share, to.name)
    step = Step("amount", (_in_unit(amount.number, amount.unit), TIMES, _in_unit(share, to.name), BY, _in_unit(1, amount.unit), "=", found))
    return Answer((Result("amount", found),), (step,), (), (), ("Factors between units of one kind are exact",))


def _grams(amount: Quantity, to: Unit) -> tuple[Quantity, Unit]:
    """Grams are of the child where the other unit is a child's alone: "0.05 kg" to "g", "3200 g" to "kg"."""
    if (amount.kind, to.kind, to.name) == ("weight", "mass", "g"):
        to = Unit("weight", "g")
    elif (amount.kind, amount.unit, to.kind) == ("mass", "g", "weight"):
        amount = Quantity(amount.number * factor("g", "weight"), "weight", "g")
    return amount, to


def _in_unit(number: Fraction | int, unit: str) -> str:
    return f"{show_number(number)} {show_unit(unit, number)}"


def _other_kind(amount: Quantity, to: Unit) -> Fault:
    kinds = {amount.kind, to.kind}
    if {"mass", "weight"} <= kinds:
        write = "Medicine is counted in g, mg and micrograms, a child in kg and g: say which is meant."
    elif "volume" in kinds and kinds & set(DRUG):
        write = 'Between an amount and a volume stands a strength: use the sum "dose-volume".'
    elif "activity" in kinds or "substance" in kinds or "charge" in kinds:
        write = 'Only a figure for that very medicine joins them: see the sums "equivalent" and "electrolyte".'
    else:
        write = "Look at both units again."
    return Fault("to", to.name, f"{amount.unit} cannot become {to.name}.", write)


def _read_unit(text: str) -> Unit:
    """A unit alone, such as "mg" or "micrograms/kg/min"."""
    if not isinstance(text, str) or text.strip()[:1].isdigit():
        raise TextError(str(text), "It is no unit alone.", 'Write it as "mg".')
    try:
        one = read_amount(f"1 {text.strip()}", _ANY, "unit", "mg")
    except TextError as error:
        known = "can be misread" in error.why
        raise TextError(text.strip(), "It can be misread." if known else "It is no unit that is known here.", error.write) from None
    return Unit(one.kind, one.unit)


def _read_any(text: str) -> Quantity:
    """An amount or a rate; a weight also in stones and pounds, or in pounds and ounces."""
    pair = isinstance(text, str) and re.fullmatch(r" *[0-9]+ ?(st|stones?|lbs?|pounds?) [0-9].*", text)
    return read_weight(text) if pair else read_amount(text, _ANY, "amount", "0.38 g")


def dose_volume(strength: Quantity, dose: Quantity | None, volume: Quantity | None, weight: Quantity | None) -> Answer:
    """The volume that holds a dose, or what a volume holds."""
    if one_of(dose=dose, volume=volume) == "volume":
        held = strength * volume
        step = Step("dose", (strength, TIMES, volume), held)
        return Answer((Result("dose", held),), (step,), (*strength_doubts(strength), *bag_doubts(volume)), (), (SOURCE,))
    amount, steps = whole_of(dose, weight, "dose")
    exact, step = volume_of(amount, strength, "volume")
    measured = to_measure(exact, down=True)
    results, notes = [Result("volume", exact), *measured], (ROUNDING,) if measured else ()
    doubts = (*unused_weight(dose, weight, "dose"), *strength_doubts(strength), *drawn_doubts(exact))
    return Answer(tuple(results), (*steps, step), doubts, notes, (SOURCE,))


def tablets(dose: Quantity, strength: Quantity, parts: str | None, weight: Quantity | None) -> Answer:
    """How many tablets make a dose: exactly, the most that do not pass it, and the fewest that reach it."""
    below, divides = strength.kind.split("/")[1], PARTS[parts or "whole"]
    _fits(dose, strength, below, divides)
    amount, steps = whole_of(dose, weight, "dose")
    exact = amount.value / strength.value
    steps.append(Step("number", (amount, BY, strength), _count(exact, below)))
    results, doubts = [Result("exactly", _count(exact, below))], unused_weight(dose, weight, "dose")
    for name, way in (("not above", floor), ("not below", ceil)):
        number = Fraction(way(exact * divides), divides)
        results.append(
            Result(
                name, _count(number, below), f"{_in_parts(number)}: gives {show(strength * _count(number, below))}" if number else "none"
            )
        )
    if not results[1].value.value:
        doubts.append(Doubt("dose-below-one-part", "The dose is less than the least part that can be given: use another strength or form."))
    if exact > _MANY:
        doubts.append(Doubt("many", f"More than {_MANY} {counted_unit(below)} for one dose: look at the dose and the strength again."))
    notes = ("Divide only what its leaflet says may be divided.",) if divides > 1 else ()
    return Answer(tuple(results), tuple(steps), tuple(doubts), notes, (SOURCE,))


def _fits(dose: Quantity, strength: Quantity, below: str, divides: int) -> None:
    faults = []
    if below not in COUNTED:
        faults.append(Fault("strength", show(strength), "It is by volume.", 'Use the sum "dose-volume", or write "500 mg per tablet".'))
    elif divides > 1 and below != "tablet":
        faults.append(Fault("parts", "", f"Only tablets are divided, not {counted_unit(below)}.", 'Leave it out, or write "whole".'))
    if dose.kind.split("/")[0] != strength.kind.split("/")[0]:
        faults.append(Fault("dose", show(dose), f"A strength in {strength.unit} cannot give it.", "Write both in the same sort of unit."))
    if faults:
        raise InputError(faults)


def _count(number: Fraction, thing: str) -> Quantity:
    return Quantity(number, thing, counted_unit(thing))


def _in_parts(number: Fraction) -> str:
    """ "1 and 1/2", "3/4", "2"."""
    whole, rest = divmod(number, 1)
    return " and ".join(str(part) for part in (whole, rest) if part)


_AMOUNTS = tuple(kind for drug in DRUG for kind in (drug, f"{drug}/weight"))
_DOSE = Field("dose", reader_of(_AMOUNTS, "dose", "350 mg"), "350 mg", "one dose, or by weight")

SUMS = {
    "convert": Sum(
        "An amount in another unit",
        (
            Field("amount", _read_any, "0.38 g", "an amount with its unit, or a rate"),
            Field("to", _read_unit, "mg", "the unit that is wanted"),
        ),
        convert,
    ),
    "dose-volume": Sum(
        "Dose and volume",
        (
            Field("strength", read_solution, "120 mg in 5 mL", "what the liquid holds"),
            _DOSE._replace(needed=False),
            Field("volume", read_volume, "5 mL", "a volume of it", needed=False),
            WEIGHT_IF_TOLD,
        ),
        dose_volume,
    ),
    "tablets": Sum(
        "Tablets and parts of them",
        (
            _DOSE,
            Field("strength", read_strength, "500 mg per tablet", "what one tablet, capsule or sachet holds"),
            Field("parts", word_of(tuple(PARTS), "parts"), "halves", "what it divides into: whole, halves or quarters", needed=False),
            WEIGHT_IF_TOLD,
        ),
        tablets,
    ),
}
