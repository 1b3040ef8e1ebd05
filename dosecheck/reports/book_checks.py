"""Who has checked which entry of a medicine, in words: by the prints of `formulary/approvals.py`, local files included."""

from __future__ import annotations

from datetime import date
from typing import Any, NamedTuple

from dosecheck.formulary.approvals import KINDS, Standing, needed, standings
from dosecheck.formulary.folder import parse
from dosecheck.formulary.load import Formulary
from dosecheck.formulary.medicine import Medicine

UNCHECKED = "not yet checked by anyone here"
HEAD = "medicine"


class Check(NamedTuple):
    """`on` is the last day on which somebody checked just these figures; `enough` whether nobody more is wanted."""

    text: str
    on: date | None
    enough: bool


Checks = dict[tuple[str, str, date | None], Check]  # by kind ("medicine" is its head), id, and a regimen's date


def checks_of(medicine: Medicine, formulary: Formulary) -> Checks:
    """Every entry of the medicine's file and of local files that change it."""
    found: Checks = {}
    for name in (medicine.file, *(name for name in formulary.files if name.startswith("local/"))):
        raw = parse(name, formulary.files[name])
        if raw.get("medicine", raw.get("id")) == medicine.id:
            entries = [raw, *(entry for kind in KINDS for entry in raw.get(kind, []))]
            for entry, standing in zip(entries, standings(raw, medicine.high_risk), strict=True):
                id_ = standing.id if standing.kind != HEAD or name == medicine.file else name
                found[standing.kind, id_, entry.get("valid_from")] = _check(entry.get("checked", []), standing, needed(medicine.high_risk))
    return found


def _check(checks: list[dict[str, Any]], standing: Standing, enough: int) -> Check:
    held = [check for check in checks if check["figures"] == standing.figures]
    said = [f"checked by {check['by']} on {check['on']}" for check in held]
    said += [f"CHANGED since {' and '.join(standing.lapsed)} checked it"] if standing.lapsed else []
    said += ["a second person is still to check it"] if 0 < len(standing.people) < enough else []
    return Check("; ".join(said) or UNCHECKED, max((check["on"] for check in held), default=None), len(standing.people) >= enough)


def summary(checks: Checks) -> str:
    """ "none of 12 entries"; "3 of 12 entries, last on 2026-01-01"."""
    days = [check.on for check in checks.values() if check.on]
    done = sum(check.enough for check in checks.values())
    return f"{done or 'none'} of {len(checks)} entries" + (f", last on {max(days)}" if days else "")
