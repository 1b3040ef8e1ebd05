"""Who checked which figures: `checked` names people, the day, and a print of the figures as they were then.

The print is reckoned from what an entry means, so an edited figure loses its approval by itself, and a comment, the
order of keys or another entry does not matter.  It shows that figures changed after they were checked; it does not
show who typed the name.  `workshop/approve.py` writes it.
"""

from __future__ import annotations

import json
from collections.abc import Iterator
from typing import Any, NamedTuple

from dosecheck.formulary.folder import sha256

KINDS = ("product", "regimen", "age_limit", "daily_band")
_HEAD = ("id", "name", "aliases", "codes", "high_risk", "basis", "medicine", "reason", "withdraw", "ingredient")
Raw = dict[str, Any]


class Standing(NamedTuple):
    """One entry of a file: `kind` and `id` ("medicine" for its head and ingredients), its print, who has checked just these
    figures, and who had checked them before they were changed."""

    kind: str
    id: str
    figures: str
    people: tuple[str, ...]
    lapsed: tuple[str, ...]


def standings(raw: Raw, high_risk: bool | None = None) -> Iterator[Standing]:
    """Every entry of a medicine's file or of a local one, in file order.

    Args:
        raw: the file's tables, right by lint.
        high_risk: for a local file, that of the medicine which it changes.
    """
    about = [raw.get("medicine", raw.get("id", "")), raw.get("high_risk", False) if high_risk is None else high_risk]
    yield _standing("medicine", about[0], {key: raw[key] for key in _HEAD if key in raw}, raw.get("checked", []), about)
    for kind in KINDS:
        for entry in raw.get(kind, []):
            yield _standing(kind, entry["id"], entry, entry.get("checked", []), about)


def _standing(kind: str, id_: str, entry: Raw, checks: list[Raw], about: list[Any]) -> Standing:
    figures = _print([*about, kind, {key: value for key, value in entry.items() if key != "checked"}])
    people = {_same(check["by"]): check["by"] for check in checks if check["figures"] == figures}
    lapsed = {_same(check["by"]): check["by"] for check in checks if _same(check["by"]) not in people}
    return Standing(kind, id_, figures, tuple(people.values()), tuple(lapsed.values()))


def _print(what: list[Any]) -> str:
    return sha256(json.dumps(what, sort_keys=True, default=str).encode()).hexdigest()[:12]


def _same(name: str) -> str:
    """One person, however the name is spaced, dotted or capitalised."""
    return "".join(c for c in name.casefold() if c.isalnum())


def is_by(name: str, people: tuple[str, ...]) -> bool:
    return _same(name) in map(_same, people)


def needed(high_risk: bool) -> int:
    """How many different people check a figure before it is approved."""
    return 2 if high_risk else 1


def status_of(raw: Raw, high_risk: bool | None = None) -> str:
    """The file's own status; "draft" in place of "approved" while any entry of it wants a check."""
    if raw.get("status") != "approved":
        return raw.get("status", "draft")
    enough = needed(raw.get("high_risk", False) if high_risk is None else high_risk)
    return "approved" if all(len(one.people) >= enough for one in standings(raw, high_risk)) else "draft"
