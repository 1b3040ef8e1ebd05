"""The class view as one self-contained page, and its scores as a table for a spreadsheet."""

from __future__ import annotations

import csv
import io
from pathlib import Path

from dosecheck.drill.classroom import ClassView, share
from dosecheck.drill.item_stats import FEWEST, FEWEST_TO_DISCRIMINATE, POOR
from dosecheck.drill.progress import neutral
from dosecheck.drill.question import CAUTION
from dosecheck.printing.templates import style, template

_FOLDER = Path(__file__).parent
COLUMNS = ("learner", "version", "right", "of", "unread", "missing", "verdict", "slips")


def to_html(view: ClassView) -> str:
    """The whole page; everything that came from the tables is escaped."""
    return template(_FOLDER / "class.html").render(
        view=view,
        share=share,
        few=FEWEST,
        fewest=FEWEST_TO_DISCRIMINATE,
        poor=POOR,
        caution=CAUTION,
        style=style(_FOLDER / "paper.css") + style(_FOLDER / "class.css"),
    )


def to_csv(view: ClassView) -> str:
    """One row a learner, with COLUMNS; text that a spreadsheet would take for a formula begins with an apostrophe."""
    out = io.StringIO(newline="")
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(COLUMNS)
    for one in view.learners:
        row = (*one[:-1], ";".join(one.slips))
        writer.writerow([neutral(str(cell)) for cell in row])
    return out.getvalue()
