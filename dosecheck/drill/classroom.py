"""A class seen by its teacher: scores, the commonest slips, the hardest kinds, how each question did, what to teach next.

Reading is in `class_rows.py`, marking in `class_marks.py`, counting in `class_tally.py`, the formulas in `item_stats.py`.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction
from typing import Any

from dosecheck.drill.class_marks import Marked, mark_exports, mark_papers
from dosecheck.drill.class_rows import read_rows
from dosecheck.drill.class_tally import Item, Kind, Learner, Slip, items_of, kinds_of, learners_of, slips_of
from dosecheck.drill.item_stats import FEWEST, FEWEST_TO_DISCRIMINATE, difficulty
from dosecheck.drill.mark import UNREADABLE
from dosecheck.drill.paper import Papers
from dosecheck.drill.pool import Pool
from dosecheck.drill.question import CAUTION
from dosecheck.errors import Fault, FileError
from dosecheck.showing import show_number

_COMMON = Fraction(1, 10)  # of the learners, for a slip to be taught to all
_EASY = Fraction(9, 10)


@dataclass(frozen=True)
class ClassView:
    """rows: of the tables, as many as were marked and refused together.  codes: of the papers they were marked by."""

    title: str
    codes: tuple[str, ...]
    needed: int | None
    rows: int
    marked: int
    told: int
    refused: tuple[Fault, ...]
    unread: tuple[Marked, ...]
    learners: tuple[Learner, ...]
    items: tuple[Item, ...]
    kinds: tuple[Kind, ...]
    slips: tuple[Slip, ...]

    @property
    def next(self) -> str:
        """One sentence: what to teach next."""
        return _next(self)

    def share_of(self, slip: Slip) -> str:
        """Of the learners, or that there are too few to say."""
        return share(difficulty(slip.learners, len(self.learners)))

    def why_none(self, item: Item) -> str:
        """Why an item has no discrimination."""
        enough = len(self.learners) >= FEWEST_TO_DISCRIMINATE and item.answers >= FEWEST_TO_DISCRIMINATE
        return "all alike" if enough and item.right in (0, item.answers) else "too few to say"

    def as_dict(self) -> dict[str, Any]:
        def plain(row: Any) -> dict[str, Any]:
            return {key: _plain(value) for key, value in row._asdict().items()}

        return {
            "title": self.title,
            "codes": list(self.codes),
            "needed": self.needed,
            "rows": {"read": self.rows, "marked": self.marked, "refused": len(self.refused), "told": self.told},
            "next": self.next,
            "learners": [plain(row) for row in self.learners],
            "slips": [plain(row) for row in self.slips],
            "kinds": [plain(row) for row in self.kinds],
            "items": [plain(row) for row in self.items],
            "unread": [{"learner": one.learner, "item": one.item, "answer": one.answer} for one in self.unread],
            "refused": [fault._asdict() for fault in self.refused],
            "caution": CAUTION,
        }


def see_class(paths: Sequence[str], pool: Pool, papers: Papers | None) -> ClassView:
    """The class of these tables.

    Args:
        papers: what a teacher's tables are marked by; not needed for exports.

    Raises:
        FileError: a table cannot be read, tables of both sorts come together, or a teacher's comes without its paper.
    """
    read = [read_rows(path) for path in paths]
    rows = [row for found, _ in read for row in found]
    refused = [fault for _, faults in read for fault in faults]
    exported = {row.exported for row in rows}
    if len(exported) > 1:
        raise FileError(paths[0], "Tables of a teacher and exports of learners come together.", "Look at each sort by itself.")
    if False in exported and papers is None:
        raise FileError(paths[0], "A teacher's table is marked by its paper, and none is named.", "Name it: --paper FILE.toml.")
    by_paper = False in exported
    marked, more = mark_papers(rows, papers) if by_paper else mark_exports(rows, pool)
    return _view(marked, tuple(sorted([*refused, *more], key=_line)), papers if by_paper else None)


def _line(fault: Fault) -> tuple[str, int]:
    """The file and the line of a row's fault."""
    file, _, line = fault.field.rpartition(" ")
    return file, int(line)


def _view(marked: list[Marked], refused: tuple[Fault, ...], papers: Papers | None) -> ClassView:
    versions = sorted({one.version for one in marked}, key=lambda name: (len(name), name))
    return ClassView(
        title=papers.plan.title if papers else "Practice of a class",
        codes=tuple(papers.code_of(name) for name in versions) if papers else (),
        needed=papers.plan.needed if papers else None,
        rows=len(marked) + len(refused),
        marked=len(marked),
        told=sum(one.told for one in marked),
        refused=refused,
        unread=tuple(one for one in marked if one.result == UNREADABLE),
        learners=learners_of(marked, papers),
        items=items_of(marked, papers),
        kinds=kinds_of(marked),
        slips=slips_of(marked),
    )


def _next(view: ClassView) -> str:
    number = len(view.learners)
    if number < FEWEST:
        return f"Too few learners to say what to teach next: {number}, and at least {FEWEST} are needed."
    if view.slips and view.slips[0].learners >= max(2, _COMMON * number):
        slip = view.slips[0]
        says = f'; for example: "{slip.says}"' if slip.says else ""
        return (
            f'Teach next the slip "{slip.slip}", made by {slip.learners} of {number} learners, most often in the kind "{slip.kind}"{says}.'
        )
    hard = next((kind for kind in view.kinds if kind.difficulty is not None and kind.difficulty < _EASY), None)
    if hard:
        return f'No slip is common; teach next the kind "{hard.kind}", of which {hard.right} of {hard.answers} answers were right.'
    return "Nothing stands out: no slip is common, and no kind with enough answers was hard."


def share(part: Fraction | None) -> str:
    """ "54 %", rounded to 1 %; "too few to say"."""
    return "too few to say" if part is None else f"{show_number(round(part * 100))} %"


def _plain(value: Any) -> Any:
    """For JSON: an exact share as text, a correlation as text."""
    if isinstance(value, Fraction):
        return share(value)
    return str(value) if isinstance(value, Decimal) else list(value) if isinstance(value, tuple) else value
