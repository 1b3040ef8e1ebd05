"""What a file of orders seems to hold: a map of its columns to look at, and how its first rows are understood.

A proposal only: a name may mislead, and a unit in a header is what somebody once meant.  Whoever proposes nothing is certain;
where two columns could fill one field, both are named and neither is taken.
"""

from __future__ import annotations

import re
from typing import NamedTuple

import polars as pl

from dosecheck.batch.colmap import KNOWN, ColumnMap, unit_fault
from dosecheck.batch.columns import FIELDS
from dosecheck.errors import InputError
from dosecheck.formulary.load import Formulary
from dosecheck.records import CHILD_FIELDS, Child, Order
from dosecheck.rules.facts import Body
from dosecheck.rules.present import understood

ROWS = 1000  # looked at
_SHOWN = 4  # distinct values of a column

# Names that exports give their columns, without marks and in small letters.  Common practice, no source.
_NAMES = {
    "order_id": "orderid orderno ordernumber prescriptionid rxid",
    "child_id": "childid patientid patient pid mrn hospitalnumber nhsnumber encounterid",
    "medicine": "medicine drug drugname medication medicationname medicinename product productname item generic genericname",
    "route": "route routeofadministration adminroute roa",
    "for": "for indication purpose reason",
    "dose": "dose dosevalue doseamount singledose doseordered dosequantity",
    "every": "every frequency freq interval schedule",
    "times_a_day": "timesaday timesperday dosesperday",
    "product": "productid",
    "weight": "weight wt bodyweight patientweight actualweight",
    "weighed": "weighed weightdate dateweighed",
    "age": "age ageatorder patientage",
    "born": "born dob dateofbirth birthdate",
    "on": "on orderdate date prescribedon orderedon startdate",
    "sex": "sex gender",
    "height": "height ht bodyheight length",
    "gestation": "gestation gestationalage ga",
    "creatinine": "creatinine scr",
    "course": "course duration days",
    "given_at": "givenat administeredat administrationtime admintime timegiven giventime",
}
_OURS = {name: ours for ours, names in _NAMES.items() for name in names.split()} | {field.replace("_", ""): field for field in KNOWN}
_UNITS = {
    "kg": "kg", "g": "g", "lb": "lb", "lbs": "lb", "mg": "mg", "mcg": "micrograms", "ug": "micrograms", "micrograms": "micrograms", "ml": "mL",
    "mgkg": "mg/kg", "years": "years", "yrs": "years", "months": "months", "weeks": "weeks", "wks": "weeks", "days": "days", "hours": "hours",
    "hrs": "hours", "cm": "cm", "m": "m", "umoll": "micromol/L",
}  # fmt: skip
_PARTS = re.compile(r"[^A-Za-z0-9]+")


class Guess(NamedTuple):
    """One of our fields, and the columns that could fill it, each with the unit that its header tells ("" for none)."""

    field: str
    columns: tuple[tuple[str, str], ...]

    @property
    def clear(self) -> bool:
        return len(self.columns) == 1


class Seen(NamedTuple):
    """How one text of a field is understood; `fault`: why it is not."""

    text: str
    understood: str
    fault: str


class Column(NamedTuple):
    """What was seen of one field: `values` are its first distinct texts; of so many rows looked at, `blank` tell nothing."""

    field: str
    column: str
    blank: int
    values: tuple[Seen, ...]


def propose(names: list[str]) -> list[Guess]:
    """What the names alone suggest, in the order of our own fields; a column that has our name already needs no map."""
    found: dict[str, list[tuple[str, str]]] = {}
    for name in names:
        ours, unit = _field_of(name)
        if ours:
            found.setdefault(ours, []).append((name, unit))
    return [Guess(field, tuple(found[field])) for field in KNOWN if field in found and found[field] != [(field, "")]]


def _field_of(name: str) -> tuple[str, str]:
    """Our field of a header, and the unit in it; ("", "") where nothing known is named."""
    parts = [part.lower() for part in _PARTS.split(name) if part]
    whole = "".join(parts)
    if whole in _OURS:
        return _OURS[whole], ""
    for length in (2, 1):  # "dose_mg_kg", "weight_kg"
        head, unit = "".join(parts[:-length]), _UNITS.get("".join(parts[-length:]), "")
        if head in _OURS and unit and not unit_fault(_OURS[head], unit):
            return _OURS[head], unit
    return "", ""


def map_text(guesses: list[Guess]) -> str:
    """The proposal as a map: what is clear as lines, what is not as comments."""
    lines = ["# Proposed from the names of the columns alone: look at each line before you use it.", "[columns]"]
    for guess in guesses:
        for column, unit in guess.columns:
            told = f'{{ column = {_quoted(column)}, unit = "{unit}" }}  # is that the unit?' if unit else _quoted(column)
            lines.append(("" if guess.clear else "# decide: ") + f"{guess.field} = {told}")
    return "\n".join(lines) + "\n"


def _quoted(text: str) -> str:
    """As TOML writes any text."""
    return '"' + "".join(c if c.isprintable() and c not in '"\\' else f"\\u{ord(c):04X}" for c in text) + '"'


def map_of(guesses: list[Guess]) -> ColumnMap:
    """What is clear of a proposal."""
    return ColumnMap({guess.field: guess.columns[0] for guess in guesses if guess.clear}, {})


def look(rows: pl.DataFrame, mapping: ColumnMap, formulary: Formulary) -> list[Column]:
    """How each field of the first rows is understood: the very readers that answer the file.

    Args:
        rows: text columns as the file has them; no more than ROWS are looked at.
    """
    rows = rows.head(ROWS)
    mapped = mapping.apply(rows)
    theirs = {ours: column for ours, (column, _) in mapping.columns.items()}
    found = []
    for field in (name for name in FIELDS if name in mapped.columns):
        column = mapped[field]
        texts = column.drop_nulls().unique(maintain_order=True).head(_SHOWN).to_list()
        found.append(Column(field, theirs.get(field, field), column.null_count(), tuple(_seen(field, text, formulary) for text in texts)))
    return found


def _seen(field: str, text: str, formulary: Formulary) -> Seen:
    name = "for_" if field == "for" else field
    try:
        if name in CHILD_FIELDS:
            order, child = Order(), Child(**{name: text, **({"on": "9999-01-01"} if name in ("born", "weighed") else {})})
        else:
            order, child = Order(**{name: text}), Child()
    except InputError as error:
        fault = error.faults[0]
        return Seen(text, "", f"{fault.why} {fault.write}".rstrip())
    if field == "medicine":
        medicine = formulary.medicine(text)
        return Seen(text, medicine.id, "") if medicine else Seen(text, "", "No medicine of this name is in the formulary.")
    if field == "route" and order.route not in _routes(formulary):
        return Seen(text, "", "No medicine of the formulary has this route. A code is mapped under [codes.route].")
    told = understood(order, child, Body(None, {}), None, None, formulary)
    told.pop("on", None) if field != "on" else None
    return Seen(text, "; ".join(told.values()) or "as it stands", "")


def _routes(formulary: Formulary) -> set[str]:
    return {regimen.route for medicine in formulary.medicines() for regimen in medicine.regimens}
