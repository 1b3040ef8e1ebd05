"""What is inhaled, as fields that several sums share: the medicine, its strength per puff, and what kind of inhaler it is.

What a product of the formulary says need not be told again; what is told against it is a fault.  What nobody says stays
unknown, and is never guessed.
"""

from __future__ import annotations

from fractions import Fraction
from typing import NamedTuple

from dosecheck.errors import Fault, InputError, TextError
from dosecheck.formulary.daily_bands import Inhaler
from dosecheck.formulary.load import Formulary
from dosecheck.formulary.medicine import Medicine, Product
from dosecheck.quantity import UNITS, Quantity
from dosecheck.reading import read_strength
from dosecheck.reading.figures import word_of
from dosecheck.reading.takings import Taking
from dosecheck.records import read_name
from dosecheck.showing import show
from dosecheck.sums.frame import Doubt, Field
from dosecheck.working import TIMES, Step

DEVICES = ("metered-dose inhaler", "dry powder inhaler", "nebuliser")
MOST_PUFFS, MOST_TIMES = 10, 12
_MOST_STRENGTH, _LEAST_STRENGTH = (Fraction(UNITS["mass"][unit]) for unit in ("mg", "micrograms"))


def read_puff_strength(text: str) -> Quantity:
    """ "50 micrograms per puff"."""
    strength = read_strength(text)
    if strength.kind != "mass/puff":
        raise TextError(text, "It is no strength of a puff.", 'Write it as "50 micrograms per puff".')
    return strength


class Inhaled(NamedTuple):
    """One medicine as it is inhaled; `strength` is None where nobody told it (a nebulised dose needs none)."""

    medicine: Medicine
    strength: Quantity | None
    kind: Inhaler


def fields(new: str = "", needed: bool = True) -> tuple[Field, ...]:
    """The fields that say what is inhaled; `new` is set before each for the second of two."""
    of = "the new inhaler's " if new else "the inhaler's "
    return (
        Field(f"{new}medicine", read_name, "budesonide", "the medicine that is inhaled" if not new else "if it changes", needed),
        Field(f"{new}product", read_name, "inhaler-100", f"{of}id in the formulary", needed=False),
        Field(f"{new}strength", read_puff_strength, "50 micrograms per puff", f"{of}strength, in place of a product", needed=False),
        Field(f"{new}device", word_of(DEVICES, "device"), "dry powder inhaler", f"{of}kind: {', '.join(DEVICES)}", needed=False),
        Field(
            f"{new}output",
            word_of(("metered", "delivered"), "output"),
            "delivered",
            f"what {of}strength counts: metered or delivered",
            needed=False,
        ),
        Field(
            f"{new}particle",
            word_of(("standard", "extra-fine"), "particle"),
            "standard",
            f"{of}particle size: standard or extra-fine",
            needed=False,
        ),
    )


def inhaled(formulary: Formulary, said: dict[str, object], new: str = "") -> Inhaled:
    """What is inhaled, from the fields as read and the product of the formulary.

    Raises:
        InputError: a medicine or product that the formulary has not, a product beside a strength, or told against it.
    """
    told = {key: said.get(f"{new}{key}") for key in ("medicine", "product", "strength", "device", "output", "particle")}
    medicine = _medicine(formulary, told["medicine"], f"{new}medicine")
    if told["product"] is None:
        return Inhaled(medicine, told["strength"], Inhaler(*(told[key] or "" for key in Inhaler._fields)))
    product = _product(medicine, told["product"], f"{new}product")
    own = {key: getattr(product, key) for key in Inhaler._fields}
    faults = [
        Fault(f"{new}{key}", told[key], f"The product {product.id} is {own[key]}.", "Leave it out, or name another product.")
        for key in own
        if told[key] and own[key] and told[key] != own[key]
    ]
    if told["strength"]:
        faults.append(Fault(f"{new}strength", show(told["strength"]), "The product has its own strength.", "Give one of the two."))
    if faults:
        raise InputError(faults)
    strength = next((held for held in product.strengths.values() if held.kind == "mass/puff"), None)
    return Inhaled(medicine, strength, Inhaler(*(own[key] or told[key] or "" for key in own)))


def _medicine(formulary: Formulary, name: str, field: str) -> Medicine:
    medicine = formulary.medicine(name)
    if medicine is None:
        near = formulary.near(name) or [known for known in formulary.names if name in known.split()]
        write = f"Did you mean {' or '.join(near)}?" if near else "Write its name as the formulary has it."
        raise InputError([Fault(field, name, "No medicine of this name is in the formulary.", write)])
    return medicine


def _product(medicine: Medicine, name: str, field: str) -> Product:
    inhalers = [product for product in medicine.products if {"inhaled", "nebulised"} & set(product.routes)]
    product = medicine.product(name)
    if product not in inhalers:
        known = ", ".join(each.id for each in inhalers)
        write = f"It has: {known}." if known else 'It has none: write the strength, as "50 micrograms per puff".'
        raise InputError([Fault(field, name, f"No product of this name of {medicine.id} is inhaled.", write)])
    return product


# ---- a day's dose ----


def puffs_steps(taking: Taking, what: str = "a day") -> list[Step]:
    """ "2 puffs x 2 = 4 puffs", or "2 puffs x 1 + 1 puff x 1 = 3 puffs"."""
    parts = [part for dose, times in taking.parts for part in ("+", dose, TIMES, times)]
    return [Step(what, tuple(parts[1:]), taking.a_day)]


def daily_dose(inhaled: Inhaled, taking: Taking, field: str = "dose", when: str = "") -> tuple[Quantity, list[Step]]:
    """The mass of a day, as mass by time, and how it comes.

    Raises:
        InputError: a dose in puffs, and no strength.
    """
    a_day, steps = taking.a_day, puffs_steps(taking, f"a day{when}")
    if a_day.kind == "puff":
        if inhaled.strength is None:
            why = "The dose is in puffs, and nobody told how much is in one."
            raise InputError([Fault(field, taking.text, why, 'Write the strength, as "50 micrograms per puff", or the product.')])
        a_day = inhaled.strength * a_day
    dose = a_day / Quantity(UNITS["time"]["days"], "time", "days")
    return dose, steps if taking.a_day.kind == "mass" else [
        *steps,
        Step(f"daily dose{when}", (inhaled.strength, TIMES, taking.a_day), dose),
    ]


def plausible(strength: Quantity | None, taking: Taking) -> list[Doubt]:
    """What is doubtful about a strength (None: not told) and a day's takings.  The most puffs at once is the source's, the rest common practice.

    Source: British guideline on the management of asthma (SIGN 158), 2019: by spacer, one puff at a time up to ten.
    """
    doubts = []
    if strength and not _LEAST_STRENGTH <= strength.value <= _MOST_STRENGTH:
        text = f"{show(strength)} is not the strength of any usual inhaler (1 microgram to 1 mg): read its unit again."
        doubts.append(Doubt("strength-unlikely", text))
    if any(dose.kind == "puff" and dose.value > MOST_PUFFS for dose, _ in taking.parts):
        doubts.append(Doubt("many-puffs", f"More than {MOST_PUFFS} puffs at once: even in an attack that is the most by a spacer."))
    if sum(times for _, times in taking.parts) > MOST_TIMES:
        doubts.append(Doubt("many-times", f"More than {MOST_TIMES} times a day: look at how often again."))
    return doubts
