"""All advice on a formulary that has no fault, in the order of its files; what accepted.toml accepts is set apart."""

from __future__ import annotations

from datetime import date
from typing import Any, NamedTuple

from dosecheck.formulary.folder import ACCEPTED, parse
from dosecheck.formulary.load import Formulary
from dosecheck.workshop.advice.bands import band_advice
from dosecheck.workshop.advice.line import Advice, Places
from dosecheck.workshop.advice.maxima import maxima_advice
from dosecheck.workshop.advice.measured import measured_advice
from dosecheck.workshop.advice.names import look_alikes, shared_ingredients
from dosecheck.workshop.advice.upkeep import upkeep_advice


class Advised(NamedTuple):
    """`accepted` has the reason beside each line."""

    open: tuple[Advice, ...]
    accepted: tuple[tuple[Advice, str], ...]


def advise(formulary: Formulary, on: date) -> Advised:
    """Everything a pharmacist should have looked at.

    Args:
        formulary: without a fault.
        on: the day that reviews, checks and dates of regimens are held against.
    """
    places = Places(formulary)
    found = [*upkeep_advice(formulary, on), *look_alikes(formulary), *shared_ingredients(formulary, places, on)]
    for medicine in formulary.medicines():
        for look in (band_advice, maxima_advice, measured_advice):
            found += look(medicine, formulary, places, on)
    reasons = {(row["code"], about): row["reason"] for row in _acceptances(formulary) for about in row["about"]}
    accepted = [(places.placed(line), reasons[line.code, line.about]) for line in found if (line.code, line.about) in reasons]
    unused = [_unused(*key) for key in reasons if key not in {(line.code, line.about) for line, _ in accepted}]
    left = [places.placed(line) for line in (*found, *unused) if (line.code, line.about) not in reasons]
    return Advised(tuple(sorted(left, key=lambda line: line.file)), tuple(accepted))


def _acceptances(formulary: Formulary) -> list[dict[str, Any]]:
    return parse(ACCEPTED, formulary.files[ACCEPTED]).get("accepted", []) if ACCEPTED in formulary.files else []


def _unused(code: str, about: str) -> Advice:
    return Advice("acceptance-unused", f"{code} {about}", ACCEPTED, "accepted", f"{code} is accepted for {about}, and is not given there.")
