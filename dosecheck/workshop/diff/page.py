"""What changed as one self-contained page: for a committee, on a screen or on paper."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from dosecheck.formulary.folder import VERSION
from dosecheck.formulary.load import Formulary
from dosecheck.printing.templates import style, template
from dosecheck.workshop.diff.changes import Change
from dosecheck.workshop.diff.figure import DIRECTIONS

_FOLDER = Path(__file__).parent
MEANS = {
    "loosened": "more orders pass than before: look at each of these first",
    "changed": "which orders pass differs, neither more nor fewer in all",
    "tightened": "fewer orders pass than before",
    "wording": "no figure",
}
CAUTION = "A list of differences, not a judgement: whether a figure is right is for the pharmacist who compares it with its source, and local guidance comes first."


def to_html(found: Sequence[Change], old: Formulary, new: Formulary) -> str:
    """The whole page as text; everything that came from the formularies is escaped."""
    groups = [(name, MEANS[name], [change for change in found if change.direction == name]) for name in DIRECTIONS]
    return template(_FOLDER / "diff.html").render(
        groups=groups, old=old, new=new, count=len(found), caution=CAUTION, style=style(_FOLDER / "diff.css"), version=VERSION
    )
