"""What the formulary lists for the one-page sheet: sections with their own headings, each an ordered list of lines.

A line names a medicine's figures or a sum, and holds no figure itself.  What each comes to for a child is worked out
in `reports/`; that the names exist is held by `sheet_lint.py`.
"""

from __future__ import annotations

from typing import Any, NamedTuple

FILE = "sheet.toml"
# The sums that may stand on it, with the rules to choose from.  They live on a higher floor; a test holds both alike.
SUMS: dict[str, tuple[str, ...]] = {
    "tube-size": (),
    "shock-energy": (),
    "fluid-bolus": ("resuscitation", "shock with dehydration", "ketoacidosis"),
    "maintenance-fluid": ("100-50-20", "4-2-1", "100-50-25"),
}
MOST_LINES = 30  # more does not fit one page in print that can be read


class MedicineLine(NamedTuple):
    """A regimen by its id, or every regimen of that route and purpose: the child then decides which fits."""

    medicine: str
    regimen: str | None
    route: str | None
    for_: str | None
    step: str | None
    product: str | None


class SumLine(NamedTuple):
    """A sum by its name, and the rule that it goes by where there are several."""

    sum: str
    rule: str | None


class Section(NamedTuple):
    title: str
    lines: tuple[MedicineLine | SumLine, ...]


def sections(raw: dict[str, Any]) -> tuple[Section, ...]:
    """The tables of `sheet.toml`, once lint has found them right."""
    return tuple(Section(entry["title"], tuple(map(_line, entry["lines"]))) for entry in raw["section"])


def _line(entry: dict[str, Any]) -> MedicineLine | SumLine:
    if "sum" in entry:
        return SumLine(entry["sum"], entry.get("rule"))
    return MedicineLine(*(entry.get(key) for key in ("medicine", "regimen", "route", "for", "step", "product")))
