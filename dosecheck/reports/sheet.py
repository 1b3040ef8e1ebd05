"""The one-page sheet of one child, as data: who it is for, what is doubtful, the rows that the formulary lists, sources.

Every figure comes from `rows.py`.  A sheet needs a reference of the child, an age and a weight; none is ever guessed.
"""

from __future__ import annotations

from collections.abc import Iterator
from copy import copy
from datetime import date
from typing import Any, NamedTuple

from dosecheck.errors import Fault, InputError, TextError
from dosecheck.formulary.load import Formulary
from dosecheck.formulary.medicine import Medicine
from dosecheck.formulary.sheet import MedicineLine, Section
from dosecheck.reading import read_reference
from dosecheck.records import WITHIN, Child, Order
from dosecheck.reports.rows import Row, medicine_row, sum_row
from dosecheck.rules.concerns import child_concerns
from dosecheck.rules.facts import Body, body_of
from dosecheck.rules.present import understood
from dosecheck.rules.verdict import CAUTION

MARK = "Example - not for clinical use"
_EARLIER = "Doses given before are not counted: look at the chart before each dose."
MADE, ASK, NOTHING = "made", "ask", "nothing"


class Part(NamedTuple):
    """One section: the formulary's own heading, and its rows in order."""

    title: str
    rows: tuple[Row, ...]


class Sheet(NamedTuple):
    """Everything that the page, the terminal and the JSON show.

    `understood`: every particular of the child as it was read.
    `doubts`: why to look again at the child's particulars, the weight above all; `notes`: what is merely not told.
    `mark`: what stands across the page, "" only when every medicine on it is approved; `status` says of which file.
    """

    child: str
    on: date
    weight_is: str
    understood: dict[str, str]
    doubts: tuple[str, ...]
    notes: tuple[str, ...]
    parts: tuple[Part, ...]
    sources: tuple[str, ...]
    mark: str
    status: str
    formulary: dict[str, str]
    caution: str

    @property
    def rows(self) -> tuple[Row, ...]:
        return tuple(row for part in self.parts for row in part.rows)

    @property
    def outcome(self) -> str:
        """ "made"; "ask" when something on it is to be asked first; "nothing" when no row could be reckoned."""
        if all(row.why_not for row in self.rows):
            return NOTHING
        return ASK if self.doubts or any(row.doubts for row in self.rows) else MADE

    def cited(self, row: Row) -> str:
        """ "[1: table 1, epinephrine]": where the row's sources stand in the list, and the place in each."""
        marks = [f"{self.sources.index(source.title) + 1}" + (f": {source.place}" if source.place else "") for source in row.sources]
        return f"[{', '.join(marks)}]" if marks else ""

    def as_dict(self) -> dict[str, Any]:
        """The JSON of the sheet."""
        return {
            "outcome": self.outcome,
            "child": self.child,
            "made": str(self.on),
            "weight_is": self.weight_is,
            "understood": self.understood,
            "doubts": list(self.doubts),
            "notes": list(self.notes),
            "sections": [{"title": part.title, "rows": [_row_dict(row) for row in part.rows]} for part in self.parts],
            "mark": self.mark,
            "status": self.status,
            "formulary": self.formulary,
            "caution": self.caution,
        }


def _row_dict(row: Row) -> dict[str, Any]:
    rows = {name: [item._asdict() for item in getattr(row, name)] for name in ("results", "sources")}
    return {name: rows.get(name, list(value) if isinstance(value, tuple) else value) for name, value in row._asdict().items()}


def make_sheet(reference: str | None, child: Child, formulary: Formulary) -> Sheet:
    """The sheet for one child on the day `child.on`.

    Args:
        reference: what the child is called here, such as "SM-001"; it stands at the head.

    Raises:
        InputError: reference, weight, age or date is missing or cannot be used, every one at once.
        FormularyError: the formulary has no list for the sheet.
    """
    name = _needed(reference, child)
    as_told, child = child, _in_kilograms(child)
    body = body_of(child)
    listed = formulary.sheet()
    medicines = _medicines(listed, formulary)
    doubts, notes = _about_child(medicines, as_told, body, formulary)
    in_rows = _about_child(medicines, child, body, formulary)  # the same in kilograms
    told = frozenset((*doubts, *notes, *in_rows[0], *in_rows[1]))
    parts = tuple(Part(section.title, tuple(_rows(section, child, body, formulary, told))) for section in listed)
    status = _status(medicines, formulary, child.on)
    return Sheet(
        child=name,
        on=child.on,
        weight_is=child.weight_is or "not told",
        understood=understood(Order(), as_told, body, None, None, formulary),
        doubts=doubts,
        notes=notes,
        parts=parts,
        sources=tuple(dict.fromkeys(source.title for part in parts for row in part.rows for source in row.sources)),
        mark="" if all(medicine.status == "approved" for medicine in medicines) else MARK,
        status=status,
        formulary=formulary.about(),
        caution=f"{CAUTION} {_EARLIER}",
    )


def _in_kilograms(child: Child) -> Child:
    """The child with the weight shown in kg, so that every sum on the page can be followed; the head shows it as told."""
    made = copy(child)
    object.__setattr__(made, "weight", child.weight.to("kg"))  # the very same amount, already read
    return made


def reference_faults(reference: str | None) -> list[Fault]:
    """Why the child's reference cannot stand at the head; no fault when it can."""
    try:
        read_reference(reference)
    except TextError as error:
        return [Fault("child", error.given, error.why, error.write)]
    return []


def _needed(reference: str | None, child: Child) -> str:
    faults = reference_faults(reference)
    if child.weight is None:
        how = 'Weigh the child and write --weight "14.2 kg". "dosecheck child" shows estimates; one counts only when you write it, as estimated.'
        faults.append(Fault("weight", "", "It is missing, and none is guessed here.", how))
    if child.age is None and child.born is None:
        faults.append(Fault("age", "", "It is missing.", 'Write --age "3 years 2 months", or --born 2023-03-14.'))
    if child.on is None:
        faults.append(Fault("on", "", "The date of the sheet is missing.", 'Write it as "2026-05-01".'))
    if faults:
        raise InputError(faults)
    return read_reference(reference)


def _medicines(listed: tuple[Section, ...], formulary: Formulary) -> list[Medicine]:
    names = dict.fromkeys(line.medicine for section in listed for line in section.lines if isinstance(line, MedicineLine))
    return [formulary.medicine(name) for name in names]


def _about_child(medicines: list[Medicine], child: Child, body: Body, formulary: Formulary) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """What is doubtful, and what is merely noted, of the child as such; a doubt for one of the medicines is one for the sheet."""
    found = [finding for medicine in medicines for finding in child_concerns(medicine, child, body, formulary)]
    doubts = dict.fromkeys(f.message for f in found if f.outcome not in ("", WITHIN))
    return tuple(doubts), tuple(dict.fromkeys(f.message for f in found if not f.outcome and f.message not in doubts))


def _rows(section: Section, child: Child, body: Body, formulary: Formulary, told: frozenset[str]) -> Iterator[Row]:
    for line in section.lines:
        is_medicine = isinstance(line, MedicineLine)
        yield medicine_row(line, child, body, formulary, told) if is_medicine else sum_row(line, child, body)


def _status(medicines: list[Medicine], formulary: Formulary, on: date) -> str:
    """Which of the files are not approved, and whether the formulary is past its review."""
    others = [medicine for medicine in medicines if medicine.status != "approved"]
    lines = []
    if others and len(others) == len(medicines):
        lines.append("No medicine on this sheet has been approved by a pharmacist (status in the files under medicines/).")
    elif others:
        lines.append(f"Not approved by a pharmacist: {', '.join(f'{medicine.file} ({medicine.status})' for medicine in others)}.")
    overdue = formulary.review_overdue(on)
    return " ".join([*lines, f"The formulary was due for review on {overdue}."] if overdue else lines)
