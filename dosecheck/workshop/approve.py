"""Signing off: who checked which figures, and when, written beside each figure; and how every medicine stands.

Only `checked` and `status` are written, and only where the file then still says what it said before.  What the print
of the figures shows, and does not show, is in `formulary/approvals.py`.
"""

from __future__ import annotations

import os
from datetime import date
from typing import Any, NamedTuple

import tomlkit

from dosecheck.errors import DosecheckError, Fault, InputError
from dosecheck.formulary.approvals import KINDS, Raw, Standing, is_by, needed, standings
from dosecheck.formulary.folder import parse
from dosecheck.formulary.load import Formulary
from dosecheck.saving import save

MEANS = (
    "An approval is plain text in the file. It shows whether a figure was changed after it was checked. It does not prove "
    "who typed the name: whoever may write to the folder can. Keep the folder under version control, and let only those "
    "write to it who may approve."
)


class Signed(NamedTuple):
    """One file of a medicine: how each entry stands, and how many people have to check it."""

    medicine: str
    file: str
    status: str
    needed: int
    standings: tuple[Standing, ...]

    @property
    def approved(self) -> bool:
        return self.status == "approved" and not self.wanting

    @property
    def wanting(self) -> tuple[Standing, ...]:
        """Those that too few people have checked."""
        return tuple(one for one in self.standings if len(one.people) < self.needed)


def approvals(formulary: Formulary, medicine: str | None = None) -> tuple[Signed, ...]:
    """How every file stands, or those of one medicine, the base before the local ones.

    Raises:
        InputError: there is no medicine of that name.
    """
    named = formulary.medicine(medicine) if medicine else None
    if medicine and named is None:
        near = formulary.near(medicine)
        write = f"Did you mean {' or '.join(near)}?" if near else '"dosecheck formulary approvals" lists them all.'
        raise InputError([Fault("medicine", medicine, "There is no medicine of that name in this formulary.", write)])
    of_file = {name: parse(name, content) for name, content in formulary.files.items() if "/" in name}
    high_risk = {raw["id"]: raw.get("high_risk", False) for name, raw in of_file.items() if name.startswith("medicines/")}
    found = [_signed(name, raw, high_risk) for name, raw in of_file.items()]
    wanted = [one for one in found if named is None or one.medicine == named.id]
    return tuple(sorted(wanted, key=lambda one: (one.medicine, one.file.startswith("local/"), one.file)))


def _signed(name: str, raw: Raw, high_risk: dict[str, bool]) -> Signed:
    medicine = raw.get("medicine", raw.get("id"))
    risky = high_risk[medicine]
    return Signed(medicine, name, raw.get("status", "draft"), needed(risky), tuple(standings(raw, risky)))


def approve(formulary: Formulary, medicine: str, by: str, on: date, today: date, only: tuple[str, ...] = ()) -> tuple[Signed, ...]:
    """Writes that `by` checked the figures of a medicine on that day; a file all of whose entries are checked by enough people
    gets the status "approved".

    Args:
        only: ids of entries, "medicine" for the names and ingredients; all when empty.

    Returns:
        How its files stand afterwards.

    Raises:
        InputError: no such medicine or entry, a name that is none, a day to come, or nothing left for this person to check.
    """
    before = approvals(formulary, medicine)
    _refuse(before, by, on, today, only)
    after = []
    for signed in before:
        ids = {(one.kind, one.id) for one in _chosen(signed, only) if not is_by(by, one.people)}
        content = _with_checks(formulary.files[signed.file], signed, ids, {"by": by, "on": on})
        if ids:
            _write(formulary, signed.file, content)
        after.append(_signed(signed.file, parse(signed.file, content), {signed.medicine: signed.needed > 1}))
    return tuple(after)


def _write(formulary: Formulary, name: str, content: bytes) -> None:
    """What was looked at is what is signed: a file that was changed since is left alone."""
    path = os.path.join(formulary.folder, name)
    try:
        with open(path, "rb") as file:
            same = file.read() == formulary.files[name]
    except OSError:
        same = False
    if not same:
        raise DosecheckError(f"{name} was changed while its figures were looked at. Nothing was written there; look at them again.")
    save(path, content)


def _refuse(before: tuple[Signed, ...], by: str, on: date, today: date, only: tuple[str, ...]) -> None:
    faults = []
    if not any(c.isalpha() for c in by) or len(by) > 80 or not by.isprintable() or by != by.strip():
        faults.append(Fault("by", ascii(by[:40])[1:-1], "It is not a name of 1 to 80 printed characters.", 'Write it as "A. N. Other".'))
    if on > today:
        faults.append(
            Fault("on", str(on), f"The day is still to come: today is {today}.", "Write the day on which the figures were checked.")
        )
    known = list(dict.fromkeys(_name(one) for signed in before for one in signed.standings))
    for id_ in only:
        if id_ not in known:
            faults.append(Fault("only", id_, "The medicine has no entry of that id.", f"It has: {', '.join(known)}."))
    if not faults and all(is_by(by, one.people) for signed in before for one in _chosen(signed, only)):
        why = "This person has checked all of these figures already, and a second check is somebody else's."
        faults.append(Fault("by", by, why, "Let another person approve them."))
    if faults:
        raise InputError(faults)


def _name(one: Standing) -> str:
    return "medicine" if one.kind == "medicine" else one.id


def _chosen(signed: Signed, only: tuple[str, ...]) -> list[Standing]:
    return [one for one in signed.standings if not only or _name(one) in only]


def _with_checks(content: bytes, signed: Signed, ids: set[tuple[str, str]], check: dict[str, Any]) -> bytes:
    """The file with one more check on the entries of `ids`; checks of figures that are no more go."""
    mark = b"\xef\xbb\xbf" if content.startswith(b"\xef\xbb\xbf") else b""
    document = tomlkit.parse(content.removeprefix(mark).decode())
    wanting = False
    numbers = {kind: 0 for kind in KINDS}
    for one in signed.standings:
        table = document
        if one.kind != "medicine":
            table = document[one.kind][numbers[one.kind]]
            numbers[one.kind] += 1
        kept = [old for old in table.get("checked", []) if old["figures"] == one.figures]
        mine = [{**check, "figures": one.figures}] if (one.kind, one.id) in ids else []
        if mine:
            table["checked"] = _array([*kept, *mine])
        wanting |= len(one.people) + len(mine) < signed.needed
    if not wanting:
        document["status"] = "approved"
    written = mark + tomlkit.dumps(document).encode()
    if _figures(signed.file, written) != _figures(signed.file, content):
        raise DosecheckError(f"{signed.file}: the checks could not be written without changing the file. Nothing was written there.")
    return written


def _array(checks: list[dict[str, Any]]) -> tomlkit.items.Item:
    """Written as the other files are: spaces inside the braces, one person a line where there are two."""
    rows = [f'{{ by = {tomlkit.string(str(c["by"])).as_string()}, on = {c["on"]}, figures = "{c["figures"]}" }}' for c in checks]
    return tomlkit.value(f"[{rows[0]}]" if len(rows) == 1 else "[\n    " + ",\n    ".join(rows) + ",\n]")


def _figures(name: str, content: bytes) -> Raw:
    """All that the file says but the checks and the status."""
    raw = {key: value for key, value in parse(name, content).items() if key not in ("checked", "status")}
    for kind in KINDS:
        raw[kind] = [{key: value for key, value in entry.items() if key != "checked"} for entry in raw.get(kind, [])]
    return raw
