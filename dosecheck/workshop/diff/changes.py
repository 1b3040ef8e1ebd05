"""All changes between two formularies, each with its direction, the riskiest first.

Looser comes first: a limit that is gone, a high-risk medicine, then the larger step.  An entry that is new or gone
changes which orders are checked at all; it is told whole.
"""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date
from fractions import Fraction
from typing import Any, NamedTuple

from dosecheck.formulary.folder import ACCEPTED, parse
from dosecheck.formulary.load import Formulary
from dosecheck.formulary.sheet import FILE as SHEET
from dosecheck.quantity import UNITS
from dosecheck.showing import show_number
from dosecheck.workshop.diff.figure import CHANGED, DIRECTIONS, LOOSENED, TIGHTENED, WORDING, compare
from dosecheck.workshop.diff.figures import (
    Figures,
    Raw,
    age_limit_figures,
    figures_of,
    head_figures,
    ingredient_figures,
    policy_figures,
    rows_of,
)

_POUND = Fraction(UNITS["weight"]["kg"], UNITS["weight"]["lb"])
_POWERS = {Fraction(10) ** n: words for n, words in ((1, "ten times"), (2, "a hundred times"), (3, "a thousand times"))}


class Change(NamedTuple):
    """One figure: `before` and `after` as the files have them, empty where it is not there; `ratio` is new / old.

    `medicine` is empty for the policy and the sources; `doubt` says which slip such a step often is.
    """

    direction: str
    medicine: str
    high_risk: bool
    entry: str
    figure: str
    before: str
    after: str
    ratio: Fraction | None = None
    doubt: str = ""

    @property
    def times(self) -> str:
        """ "1.25 times", or nothing."""
        if self.ratio is None:
            return ""
        number = self.ratio if 1000 % self.ratio.denominator == 0 else Fraction(round(self.ratio * 1000), 1000)
        return f"{'' if number == self.ratio else 'about '}{show_number(number)} times"

    def as_dict(self) -> dict[str, Any]:
        exact = str(self.ratio) if self.ratio is not None else None
        return {**self._asdict(), "ratio": exact, "times": self.times}


def changes(old: Formulary, new: Formulary) -> tuple[Change, ...]:
    """Every change of meaning or wording, sorted by risk; spelling of units, order of keys and comments are none."""
    found = [*_by_medicine(old, new), *_of_policy(old, new), *_of_sources(old, new), *_of_lists(old, new)]
    return tuple(sorted(found, key=_risk))


def _risk(change: Change) -> tuple:
    step = abs(change.ratio - 1) if change.ratio and change.ratio >= 1 else abs(1 / change.ratio - 1) if change.ratio else Fraction(0)
    gone = not change.after and change.direction == LOOSENED
    return (DIRECTIONS.index(change.direction), not gone, not change.high_risk, -step, change.medicine, change.entry, change.figure)


# ---- medicines ----


def _by_medicine(old: Formulary, new: Formulary) -> Iterator[Change]:
    before, after = ({raw["id"]: raw for raw in side.tables()} for side in (old, new))
    for name in sorted({*before, *after}):
        one, other = before.get(name), after.get(name)
        risky = bool((one or {}).get("high_risk") or (other or {}).get("high_risk"))
        if one is None or other is None:
            gone = other is None
            told = "the medicine, with all its figures"
            yield Change(TIGHTENED if gone else LOOSENED, name, risky, "medicine", "whole", told if gone else "", "" if gone else told)
        else:
            margins = ["0 %" if raw.get("high_risk") else side.policy["query_up_to"]["value"] for side, raw in ((old, one), (new, other))]
            for change in _of_one(one, other, margins):
                yield change._replace(medicine=name, high_risk=risky)


def _of_one(one: Raw, other: Raw, margins: list[str]) -> Iterator[Change]:
    yield from _figures("medicine", head_figures(one), head_figures(other))
    yield from _checks("medicine", one, other)
    for kind, figures in (
        ("ingredient", ingredient_figures),
        ("product", figures_of),
        ("age_limit", age_limit_figures),
        ("daily_band", figures_of),
    ):
        pairs = [{entry["id"]: entry for entry in raw.get(kind, [])} for raw in (one, other)]
        for id_ in dict.fromkeys((*pairs[0], *pairs[1])):
            yield from _entry(kind, f"{kind.replace('_', ' ')} {id_}", pairs[0].get(id_), pairs[1].get(id_), figures)
    yield from _regimens(one, other, margins)


def _entry(kind: str, name: str, before: Raw | None, after: Raw | None, figures: Any) -> Iterator[Change]:
    if before is None or after is None:
        looser = (after is None) == (kind == "age_limit")  # an age limit stops; every other entry lets something be checked
        told = _summary(before or after)
        yield Change(
            LOOSENED if looser else TIGHTENED, "", False, name, "whole", "" if before is None else told, "" if after is None else told
        )
        return
    yield from _figures(name, figures(before), figures(after))
    yield from _origin(name, before, after)
    yield from _checks(name, before, after)


def _summary(entry: Raw) -> str:
    found = figures_of(entry) if "equals" not in entry else {}
    return "; ".join(f"{name} {figure.text}" for name, figure in found.items() if name not in ("source", "note")) or entry["id"]


def _origin(name: str, before: Raw, after: Raw) -> Iterator[Change]:
    if before.get("origin") != after.get("origin"):
        said = [one.get("origin", "base") for one in (before, after)]
        yield Change(CHANGED, "", False, name, "whose figures", *said)


def _checks(name: str, before: Raw, after: Raw) -> Iterator[Change]:
    said = ["; ".join(f"{c['by']} on {c['on']} ({c['figures']})" for c in one.get("checked", [])) for one in (before, after)]
    if said[0] != said[1]:
        yield Change(CHANGED if not said[1] else WORDING, "", False, name, "checked", *said)


def _regimens(one: Raw, other: Raw, margins: list[str]) -> Iterator[Change]:
    """The same id and date are compared; a version that only one side has with the one that holds in its place on the other."""
    before, after = ({(entry["id"], entry["valid_from"]): entry for entry in raw.get("regimen", [])} for raw in (one, other))
    for key in dict.fromkeys((*before, *after)):
        id_, start = key
        name = f"regimen {id_}"
        mine, theirs = before.get(key), after.get(key)
        if mine is None and (mine := _superseded(before, id_, start)):
            name = f"{name}, from {start} in place of {mine['valid_from']}"
        elif theirs is None and (theirs := _superseded(after, id_, start)):
            name = f"{name}, from {start} back to {theirs['valid_from']}"
        if mine is None or theirs is None:
            yield from _entry("regimen", f"{name} of {start}", mine, theirs, figures_of)
            continue
        if ("query_up_to" in mine) != ("query_up_to" in theirs):  # who has no margin of its own goes by the policy's
            mine, theirs = ({"query_up_to": margin, **entry} for margin, entry in zip(margins, (mine, theirs), strict=True))
        yield from _rows(name, rows_of(mine), rows_of(theirs))
        yield from _origin(name, mine, theirs)
        yield from _checks(name, mine, theirs)


def _superseded(versions: dict[tuple, Raw], id_: str, start: date) -> Raw | None:
    """The version that holds until `start`."""
    earlier = [entry for (other, day), entry in versions.items() if other == id_ and day < start]
    return max(earlier, key=lambda entry: entry["valid_from"], default=None)


def _rows(name: str, before: list[Raw], after: list[Raw]) -> Iterator[Change]:
    """Rows of a table are matched by their children, else by their place among those that are left."""
    old, new = ({_children(row): row for row in rows} for rows in (before, after))
    pairs = [(old[who], new[who], who) for who in old if who in new]
    left = [[row for who, row in rows.items() if who not in others] for rows, others in ((old, new), (new, old))]
    pairs += [(*pair, _children(pair[0])) for pair in zip(*left, strict=False)]
    shared = min(map(len, left))
    said: set[Change] = set()
    for mine, theirs, who in pairs:
        for change in _figures(f"{name}, {who}" if len(before) > 1 or len(after) > 1 else name, figures_of(mine), figures_of(theirs)):
            whole = change._replace(entry=name)  # what stands above the rows is told once
            if len(pairs) > 1 and all(_same_change(change, a, b) for a, b, _ in pairs):
                change = whole
            if change not in said:
                said.add(change)
                yield change
    for row in left[0][shared:]:
        yield from _entry("regimen", f"{name}, {_children(row)}", row, None, figures_of)
    for row in left[1][shared:]:
        yield from _entry("regimen", f"{name}, {_children(row)}", None, row, figures_of)


def _same_change(change: Change, before: Raw, after: Raw) -> bool:
    pair = [figures_of(row).get(change.figure) for row in (before, after)]
    return [figure.text if figure else "" for figure in pair] == [change.before, change.after]


def _children(row: Raw) -> str:
    figure = figures_of(row).get("children")
    return figure.text if figure else "any child"


def _figures(name: str, before: Figures, after: Figures) -> Iterator[Change]:
    for key in dict.fromkeys((*before, *after)):
        one, other = before.get(key), after.get(key)
        found = compare(one, other)
        if found:
            direction, ratio = found
            texts = [figure.text if figure else "" for figure in (one, other)]
            yield Change(direction, "", False, name, key, *texts, ratio, _doubt(ratio))


def _doubt(ratio: Fraction | None) -> str:
    if not ratio or ratio == 1:
        return ""
    up = max(ratio, 1 / ratio)
    if up in _POWERS:
        return f"exactly {_POWERS[up]}: did a decimal point or a unit slip?"
    return "about 2.2 times: pounds for kilograms?" if abs(up / _POUND - 1) < Fraction(1, 100) else ""


# ---- the other files ----


def _of_policy(old: Formulary, new: Formulary) -> Iterator[Change]:
    for change in _figures("policy", dict(policy_figures(old.policy)), dict(policy_figures(new.policy))):
        row = change.figure.startswith("weight_z from") and not (change.before and change.after)
        if row and "weight_z" in old.policy and "weight_z" in new.policy:  # the row before it holds, or held, in its place
            change = change._replace(direction=CHANGED)
        yield change


def _of_sources(old: Formulary, new: Formulary) -> Iterator[Change]:
    before, after = (parse("sources.toml", side.files["sources.toml"]) for side in (old, new))
    for id_ in dict.fromkeys((*before, *after)):
        said = ["; ".join(map(str, side[id_].values())) if id_ in side else "" for side in (before, after)]
        if said[0] != said[1]:
            yield Change(WORDING, "", False, f"source {id_}", "text", *said)


def _of_lists(old: Formulary, new: Formulary) -> Iterator[Change]:
    """The sheet's list and the accepted advice hold no figure."""
    for file in (SHEET, ACCEPTED):
        tables = [parse(file, side.files[file]) if file in side.files else {} for side in (old, new)]
        if tables[0] != tables[1]:
            said = [f"{sum(map(len, table.values()))} entries" if table else "" for table in tables]
            yield Change(WORDING, "", False, file, "list", *said)
