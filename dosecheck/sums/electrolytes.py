"""Electrolytes by salt: mg of the salt, mmol and mEq of its ions, and the volume of a solution that holds them.

Every figure is tied to one salt in one state of water, which is always named: "calcium chloride" alone is refused.
There is one figure a salt, mg for one mEq, as its source prints it; mmol are mEq over the charge of the metal ion, and
so many mmol of metal are as many mmol of the salt.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import NamedTuple

from dosecheck.errors import Fault, InputError
from dosecheck.quantity import Quantity
from dosecheck.reading import read_volume
from dosecheck.reading.figures import read_solution, reader_of, word_of
from dosecheck.showing import show
from dosecheck.sums.amounts import WEIGHT_IF_TOLD, drawn_doubts, strength_doubts, to_measure, volume_of, whole_of
from dosecheck.sums.frame import Answer, Doubt, Field, NotCovered, Result, Sum, one_of
from dosecheck.working import BY, TIMES, Step

_TABLE = (
    "Approximate milliequivalents, weights of selected ions: appendix A, Conversion factors, of a pharmacy textbook (AccessPharmacy), "
    "which rounds to 0.1 mg for one mEq"
)
_MAGNESIUM = "Asthma - life threatening, clinical guideline, Starship Child Health: magnesium sulfate heptahydrate, 246.47 mg for one mmol"
_CALCIUM = (
    "Calcium chloride versus calcium gluconate, clinical pearl, Society of Hospital Pharmacists of Hong Kong: calcium itself, 40.078 mg "
    "for one mmol"
)
CALCIUM_NOTE = "1 mg of calcium itself is about 0.02495 mmol. A neonatal drug manual prints 0.02 mmol, which is a fifth too low."


class Salt(NamedTuple):
    """`per_meq`: mg of the salt for one mEq; `charge` of the metal ion; `others`: mmol of the other ion in one mmol of salt."""

    per_meq: str
    ion: str
    charge: int
    other: str
    others: int
    source: str = _TABLE


SALTS = {
    "calcium chloride dihydrate": Salt("73.5", "calcium", 2, "chloride", 2),
    "calcium gluconate monohydrate": Salt("224.1", "calcium", 2, "gluconate", 2),
    "magnesium sulfate heptahydrate": Salt("123.235", "magnesium", 2, "sulfate", 1, _MAGNESIUM),
    "magnesium sulfate anhydrous": Salt("60.2", "magnesium", 2, "sulfate", 1),
    "potassium chloride": Salt("74.6", "potassium", 1, "chloride", 1),
    "sodium acetate anhydrous": Salt("82", "sodium", 1, "acetate", 1),
    "sodium acetate trihydrate": Salt("136.1", "sodium", 1, "acetate", 1),
    "sodium bicarbonate": Salt("84", "sodium", 1, "bicarbonate", 1),
    "sodium chloride": Salt("58.4", "sodium", 1, "chloride", 1),
}


def _reader(*tops: str) -> Callable[[str], Quantity]:
    kinds = tuple(kind for top in tops for kind in (top, f"{top}/weight"))
    return reader_of(kinds, "amount", "500 mg" if "mass" in tops else "5 mmol")


_read_mass = _reader("mass")
_PER_MEQ = {name: _read_mass(f"{salt.per_meq} mg") / Quantity(10**6, "charge", "mEq") for name, salt in SALTS.items()}
_CALCIUM_PER_MMOL = _read_mass("40.078 mg") / Quantity(10**6, "substance", "mmol")


_POTASSIUM = "Emergency Calculations, Don't Forget the Bubbles: potassium by vein 0.2 to 0.5 mmol/kg/h, at most 1 mmol/kg/h"
_POTASSIUM_NOTE = (
    "Potassium kills when it runs in fast: by vein never undiluted, never as a push, only by a pump with the heart watched. Common "
    "practice; see the source for its rates."
)
_MOST_POTASSIUM, _MUCH_POTASSIUM = _reader("substance")("1 mmol/kg"), _reader("substance")("40 mmol")


def electrolyte(
    salt: str,
    amount: Quantity | None,
    ions: Quantity | None,
    element: Quantity | None,
    volume: Quantity | None,
    strength: Quantity | None,
    weight: Quantity | None,
) -> Answer:
    """mg, mmol and mEq of one salt, from any one of them or from a volume of a solution; and the volume that holds them."""
    how = one_of(amount=amount, ions=ions, element=element, volume=volume)
    if how == "volume":
        given, steps = _held(volume, strength)
    else:
        given, steps = whole_of(amount or ions or element, weight, "for this child")
    charge, more = _charge(given, salt, of_element=how == "element")
    steps += more
    known, doubts = SALTS[salt], strength_doubts(strength) if strength else []
    moles = Quantity(charge.value / known.charge, "substance", "mmol")
    mass = _PER_MEQ[salt] * charge
    if given.kind != "substance":
        steps.append(Step(f"mmol of {known.ion}", (charge, BY, known.charge), moles))
    if given.kind != "mass" or how == "element":
        steps.append(Step("salt", (charge, TIMES, _PER_MEQ[salt]), mass))
    results = []
    if strength and how != "volume":
        found, step = volume_of(_of_kind(strength, mass, moles, charge), strength, "volume")
        steps.append(step)
        results = [Result("volume", found), *to_measure(found, down=True)]
        doubts += drawn_doubts(found)
    results += [Result("salt", mass, salt), Result("mmol", moles, known.ion), Result("mEq", charge, known.ion)]
    results.append(Result("other ion", moles * known.others, known.other))
    sources, notes = (
        [known.source],
        [f"One mmol of {known.ion} is {known.charge} mEq." if known.charge > 1 else "Here mmol and mEq are alike."],
    )
    if known.ion == "calcium":
        results.append(Result("element", _CALCIUM_PER_MMOL * moles, "calcium itself, without the rest of the salt"))
        sources.append(_CALCIUM)
        notes.append(CALCIUM_NOTE)
    if known.ion == "potassium":
        notes.append(_POTASSIUM_NOTE)
        sources.append(_POTASSIUM)
        doubts += _potassium_doubts(moles, weight)
    return Answer(tuple(results), tuple(steps), tuple(doubts), tuple(notes), tuple(sources))


def _potassium_doubts(moles: Quantity, weight: Quantity | None) -> list[Doubt]:
    """More at once than the source's most for an hour; without a weight, our own line."""
    if weight and moles > _MOST_POTASSIUM * weight:
        return [
            Doubt("much-potassium", f"It is more than {show(_MOST_POTASSIUM)} of potassium, the source's most for an hour: over how long?")
        ]
    if weight is None and moles > _MUCH_POTASSIUM:
        return [Doubt("much-potassium", f"It is more than {show(_MUCH_POTASSIUM)} of potassium: look again, and give the weight.")]
    return []


def _held(volume: Quantity, strength: Quantity | None) -> tuple[Quantity, list[Step]]:
    if strength is None:
        raise InputError([Fault("strength", "", "A volume is given without its strength.", 'Write it as "10 %" or "1 mmol/mL".')])
    held = strength * volume
    return held, [Step("the volume holds", (strength, TIMES, volume), held)]


def _charge(given: Quantity, salt: str, of_element: bool) -> tuple[Quantity, list[Step]]:
    """The mEq of the metal ion in an amount of salt, of ions, or of the metal itself."""
    known, steps = SALTS[salt], []
    if of_element:
        if known.ion != "calcium":
            raise NotCovered(f"No source here gives the mass of {known.ion} itself. Give mg of the salt, or mmol.")
        moles = Quantity(given.value / _CALCIUM_PER_MMOL.value, "substance", "mmol")
        steps.append(Step("mmol of calcium", (given, BY, _CALCIUM_PER_MMOL), moles))
        given = moles
    if given.kind == "mass":
        charge = Quantity(given.value / _PER_MEQ[salt].value, "charge", "mEq")
        return charge, [Step(f"mEq of {known.ion}", (given, BY, _PER_MEQ[salt]), charge)]
    if given.kind == "substance":
        charge = Quantity(given.value * known.charge, "charge", "mEq")
        return charge, [*steps, Step(f"mEq of {known.ion}", (given, TIMES, known.charge), charge)]
    if given.kind != "charge":
        raise InputError([Fault("strength", given.unit, "Units say nothing of a salt.", 'Write mg, mmol or mEq: "1 mmol/mL".')])
    return given, steps


def _of_kind(strength: Quantity, *amounts: Quantity) -> Quantity:
    """The amount that the strength counts; any, where it counts none of them, for `volume_of` to refuse."""
    top = strength.kind.split("/")[0]
    return next((amount for amount in amounts if amount.kind == top), amounts[0])


SUMS = {
    "electrolyte": Sum(
        "Electrolyte by salt",
        (
            Field("salt", word_of(tuple(SALTS), "salt"), "potassium chloride", f"the salt in full: {', '.join(SALTS)}"),
            Field("amount", _read_mass, "500 mg", "mass of the salt, or by weight", needed=False),
            Field("ions", _reader("substance", "charge"), "5 mmol", "mmol or mEq of the metal ion, or by weight", needed=False),
            Field("element", _read_mass, "20 mg", "mass of calcium itself, or by weight", needed=False),
            Field("volume", read_volume, "10 mL", "volume of a solution", needed=False),
            Field("strength", read_solution, "10 %", "strength of the solution, by the same salt", needed=False),
            WEIGHT_IF_TOLD,
        ),
        electrolyte,
    )
}
