"""Every sum by its name, in the order in which `dosecheck sum` lists them; a module is loaded only when its sum is asked for."""

from __future__ import annotations

from importlib import import_module
from typing import NamedTuple

from dosecheck.sums.frame import Sum


class Listed(NamedTuple):
    """`module` of this folder holds SUMS, a table of name to Sum."""

    group: str
    module: str
    about: str


SUMS: dict[str, Listed] = {
    "infusion-rate": Listed("Infusions", "infusion", "mL/h from a dose by weight and time, and the concentration"),
    "infusion-dose": Listed("Infusions", "infusion", "the dose by weight and time that a rate in mL/h gives"),
    "maintenance-fluid": Listed("Fluids", "fluids", "a day's and an hour's fluid by weight, by a named rule"),
    "newborn-fluid": Listed("Fluids", "fluids", "the range of a day's fluid in the first 28 days, by day of life"),
    "fluid-bolus": Listed("Fluids", "bolus", "one bolus by weight, by a named rule"),
    "deficit-fluid": Listed("Fluids", "deficit", "rates that give back a deficit beside maintenance"),
    "ketoacidosis-fluid": Listed("Fluids", "deficit", "rate over 48 hours by a table of 2023"),
    "ketoacidosis-fluid-2009": Listed("Fluids", "deficit", "rate over 48 hours by a guideline since replaced"),
    "burns-fluid": Listed("Fluids", "burns", "volumes and rates from the time of a burn"),
    "local-anaesthetic": Listed("Local anaesthetics", "anaesthetic", "the most mL by weight, strength and what is already given"),
    "tube-size": Listed("Emergency sizes", "emergency", "tracheal tube by age: size and depth, by each rule that is taught"),
    "shock-energy": Listed("Emergency sizes", "emergency", "energy of a shock by weight"),
}


def find(name: str) -> Sum | None:
    """The sum of that name, or None."""
    listed = SUMS.get(name)
    return import_module(f"dosecheck.sums.{listed.module}").SUMS[name] if listed else None
