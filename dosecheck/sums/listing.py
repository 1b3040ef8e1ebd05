"""Every sum by its name, in the order in which `dosecheck sum` lists them; a module is loaded only when its sum is asked for."""

from __future__ import annotations

from collections.abc import Mapping
from difflib import get_close_matches
from importlib import import_module
from typing import Any, NamedTuple

from dosecheck.errors import Fault, InputError
from dosecheck.formulary.load import Formulary
from dosecheck.sums.frame import Reckoned, Sum, work_out


class Listed(NamedTuple):
    """`module` of this folder holds SUMS, a table of name to Sum."""

    group: str
    module: str
    about: str


SUMS: dict[str, Listed] = {
    "infusion-rate": Listed("Infusions", "infusion", "mL/h from a dose by weight and time, and the concentration"),
    "infusion-dose": Listed("Infusions", "infusion", "the dose by weight and time that a rate in mL/h gives"),
    "infusion-total": Listed("Infusions", "infusion", "what an infusion gives in 24 hours, with its loading dose"),
    "flow-rate": Listed("Infusions", "flow", "mL/h that runs a volume in a time"),
    "flow-time": Listed("Infusions", "flow", "how long a bag or a syringe lasts at a rate"),
    "drops": Listed("Infusions", "flow", "whole drops a minute, by the giving set"),
    "drops-rate": Listed("Infusions", "flow", "mL/h that counted drops run at"),
    "glucose-rate": Listed("Infusions", "glucose", "mg/kg/min of glucose that a fluid gives"),
    "glucose-fluid": Listed("Infusions", "glucose", "the fluid, or its strength, that gives a glucose rate"),
    "make-up": Listed("Mixing", "mixing", "medicine, stock and diluent for a wanted concentration"),
    "make-up-for-rate": Listed("Mixing", "mixing", "stock and diluent so that 1 mL/h, or another rate, gives a dose"),
    "dilute": Listed("Mixing", "mixing", "what a volume of stock becomes when it is diluted"),
    "reconstitute": Listed("Mixing", "reconstitution", "a powder with its displacement: diluent, volume, strength"),
    "strength": Listed("Mixing", "mixing", "percent, ratio and mg/mL of one strength"),
    "intranasal": Listed("Mixing", "intranasal", "what to draw up for the nose, and for each nostril"),
    "intranasal-dilution": Listed("Mixing", "intranasal", "water for an ampoule so that 0.2 mL holds the dose"),
    "convert": Listed("Amounts", "counting", "one amount in another unit"),
    "dose-volume": Listed("Amounts", "counting", "the volume that holds a dose, or what a volume holds"),
    "tablets": Listed("Amounts", "counting", "how many tablets, or parts of them, make a dose"),
    "electrolyte": Listed("Amounts", "electrolytes", "mg, mmol and mEq by salt, and the volume that holds them"),
    "equivalent": Listed("Amounts", "equivalents", "a salt counted as its base, and back"),
    "elemental-iron": Listed("Amounts", "equivalents", "iron, salt and tablets of one iron product"),
    "maintenance-fluid": Listed("Fluids", "fluids", "a day's and an hour's fluid by weight, by a named rule"),
    "newborn-fluid": Listed("Fluids", "fluids", "the range of a day's fluid in the first 28 days, by day of life"),
    "fluid-bolus": Listed("Fluids", "bolus", "one bolus by weight, by a named rule"),
    "deficit-fluid": Listed("Fluids", "deficit", "rates that give back a deficit beside maintenance"),
    "ketoacidosis-fluid": Listed("Fluids", "deficit", "rate over 48 hours, by a table of 2023"),
    "ketoacidosis-fluid-2009": Listed("Fluids", "deficit", "rate over 48 hours, by a guideline since replaced"),
    "burns-fluid": Listed("Fluids", "burns", "volumes and rates from the time of a burn"),
    "local-anaesthetic": Listed("Local anaesthetics", "anaesthetic", "the most mL by weight, strength and what is already given"),
    "inhaler-day": Listed("Inhaled treatment", "inhaled", "micrograms a day, and the low, medium or high band by named tables"),
    "inhaler-change": Listed("Inhaled treatment", "inhaled", "a step down or up compared, in per cent and by bands"),
    "canister": Listed("Inhaled treatment", "canister", "how many days an inhaler lasts, and when to ask for the next"),
    "peak-flow": Listed("Lung function", "lung", "peak flow as a share of a reference by height, and of the child's best"),
    "fev1": Listed("Lung function", "lung", "FEV1 as a share of predicted, z-score and lower limit, by one equation"),
    "tube-size": Listed("Emergency sizes", "emergency", "tracheal tube by age: size and depth, by each rule that is taught"),
    "shock-energy": Listed("Emergency sizes", "emergency", "energy of a shock by weight"),
}


def find(name: str) -> Sum | None:
    """The sum of that name, or None."""
    listed = SUMS.get(name)
    return import_module(f"dosecheck.sums.{listed.module}").SUMS[name] if listed else None


def reckon_sum(name: str, texts: Mapping[str, Any], formulary: Formulary | None = None) -> Reckoned:
    """One sum by its name, from the texts of its fields.

    Args:
        name: as `dosecheck sum` lists it, such as "infusion-rate".
        texts: field name to text; a field that may be repeated takes a list.
        formulary: for the sums that go by one; the usual one where it is left out.

    Raises:
        InputError: no such sum; or a field that is unknown, missing or cannot be read, every one at once.

    >>> from dosecheck import reckon_sum
    >>> reckon_sum("drops", {"rate": "100 mL/h", "set": "20 drops/mL"}).answer.results[1].text
    '33 drops/min'
    """
    asked = find(name)
    if asked is None:
        near = get_close_matches(name, SUMS, 1)
        raise InputError([Fault("sum", name, "There is no such sum.", f'Did you mean "{near[0]}"?' if near else "See: dosecheck sum")])
    return work_out(name, asked, texts, (formulary or Formulary()) if asked.by_formulary else None)
