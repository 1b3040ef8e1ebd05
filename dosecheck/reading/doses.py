"""A dose as an order writes it: a figure or a range, for one dose, a day or by time, and of which ingredient."""

from __future__ import annotations

import re
from typing import NamedTuple

from dosecheck.errors import TextError
from dosecheck.quantity import COUNTED, DRUG, Quantity
from dosecheck.reading.amounts import read_amount
from dosecheck.reading.numbers import NUMBER, plain


class Dose(NamedTuple):
    """A dose as written: `low` to `high` (equal for a single figure), per "dose", "day" or "time" (an infusion)."""

    low: Quantity
    high: Quantity
    per: str
    basis: str | None

    @property
    def kind(self) -> str:
        return self.high.kind


_ENDING = re.compile(r" ?(?:/ ?|\bper |\ba )(day|dose)s?$")
_OFTEN = re.compile(r"\b(?:once|twice|times|daily|every|hourly)\b", re.I)
_DOSE_TOPS = (*DRUG, "volume", *COUNTED)
_DOSE_EXAMPLE = "240 mg"


def read_dose(text: str | Quantity) -> Dose:
    """A dose: "240 mg", "2 to 10 puffs", "15 mg/kg", "600 mg a day", "5 mL", "80 mg of trimethoprim".

    One administration unless it ends in "a day" (or "/day"); an infusion is per minute or per hour.
    """
    if isinstance(text, Quantity):
        low = high = read_amount(text, _DOSE_TOPS, "dose", _DOSE_EXAMPLE)
        per = basis = None
    else:
        text = plain(text, "dose", _DOSE_EXAMPLE)
        body, basis, per = _basis_and_per(text)
        low, high = _range(body, text, per)
    below = set(high.kind.split("/")[1:])
    if not (below <= {"weight", "time"} or below <= {"surface", "time"}) or ("time" in below and per):
        raise TextError(str(text), f'"{high.unit}" is not a unit of a dose.', f'Write it as "{_DOSE_EXAMPLE}" or "15 mg/kg".')
    if "day" in (low.unit + "/" + high.unit).split("/"):  # by the day is never an infusion
        raise TextError(str(text), "The dose has the day inside its unit.", 'Write the day last: "15 mg/kg a day".')
    return Dose(low, high, "time" if "time" in below else per or "dose", basis)


def _ending(text: str) -> tuple[str, str | None]:
    """Splits off "a day", "per day", "/day" (or dose)."""
    found = _ENDING.search(text)
    return (text[: found.start()], found.group(1)) if found else (text, None)


def _basis_and_per(text: str) -> tuple[str, str | None, str | None]:
    """("80 mg", "trimethoprim", "day") of "80 mg of trimethoprim a day", as of "80 mg a day of trimethoprim"."""
    rest, last = _ending(text)
    if _OFTEN.search(rest):
        raise TextError(text, "The dose also says how often.", 'Write one dose here, and how often in its own field: "6 hours".')
    body, basis = _basis(rest)
    body, first = _ending(body)
    if first and last:
        raise TextError(text, f'The dose says both "a {first}" and "a {last}".', 'Write one of them, last: "600 mg a day".')
    return body, basis, first or last


def _basis(text: str) -> tuple[str, str | None]:
    """Splits "80 mg of trimethoprim"; "mg PE" is the labels' own way to write phenytoin equivalents."""
    body, _, basis = text.partition(" of ")
    if not basis and re.search(r"\bmg PE\b", body):
        return body.replace("mg PE", "mg"), "PE"
    return body, basis.strip() or None


def _range(body: str, text: str, per: str | None) -> tuple[Quantity, Quantity]:
    ends = re.fullmatch(rf"({NUMBER}) ?([^0-9,].*?)? to ({NUMBER}) ?([^0-9,].*)", body)
    if not ends:
        milliequivalents = re.fullmatch(rf"({NUMBER}) ?mEq(/kg)? \(valence ([123])\)", body)
        if milliequivalents:
            number, per_kg, valence = milliequivalents.groups()
            amount = read_amount(f"{number} mmol{per_kg or ''}", ("substance",), "dose", "10 mmol") / int(valence)
        else:
            amount = read_amount(body, _DOSE_TOPS, "dose", _DOSE_EXAMPLE)
        return amount, amount
    low_text, low_per = _ending(f"{ends.group(1)} {ends.group(2) or ends.group(4)}")
    low = read_amount(low_text, _DOSE_TOPS, "dose", _DOSE_EXAMPLE)
    high = read_amount(f"{ends.group(3)} {ends.group(4)}", _DOSE_TOPS, "dose", _DOSE_EXAMPLE)
    if low.kind != high.kind or high < low or low_per not in (None, per):
        raise TextError(text, "The range does not run from a smaller to a larger amount of one kind.", 'Write it as "2 to 10 puffs".')
    return low, high
