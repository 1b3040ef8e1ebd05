"""Counts what a class answered: by learner, by question, by kind and by slip.  Right is what was right without a hint."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable
from decimal import Decimal
from fractions import Fraction
from typing import NamedTuple

from dosecheck.drill.class_marks import Marked
from dosecheck.drill.item_stats import difficulty, discrimination
from dosecheck.drill.mark import RIGHT, UNREADABLE
from dosecheck.drill.paper import Papers

PASSED, FAILED, OPEN, NO_MARK = "passed", "not passed", "open", ""


class Learner(NamedTuple):
    """verdict: open where rows that are missing or cannot be read could still change it; "" without a pass mark.

    slips: those that were named alone, the most frequent first.
    """

    learner: str
    version: str
    right: int
    of: int
    unread: int
    missing: int
    verdict: str
    slips: tuple[str, ...]


class Item(NamedTuple):
    """right of answers; difficulty and discrimination None where there are too few to say."""

    item: str
    kind: str
    level: int
    right: int
    answers: int
    difficulty: Fraction | None
    discrimination: Decimal | None


class Kind(NamedTuple):
    kind: str
    right: int
    answers: int
    difficulty: Fraction | None


class Slip(NamedTuple):
    """learners: it was named alone in an answer of theirs.  perhaps: further learners with whom it was one of several.

    says: to a learner, in one of the answers.  kind: where it was made most often.
    """

    slip: str
    learners: int
    perhaps: int
    answers: int
    says: str
    kind: str


def _right(one: Marked) -> bool:
    return one.result == RIGHT and one.alone


def learners_of(marked: list[Marked], papers: Papers | None) -> tuple[Learner, ...]:
    return tuple(_learner(name, mine, papers) for name, mine in sorted(_by(marked, "learner").items()))


def _learner(name: str, mine: list[Marked], papers: Papers | None) -> Learner:
    right, unread = sum(map(_right, mine)), sum(one.result == UNREADABLE for one in mine)
    of = papers.plan.questions if papers else len(mine)
    missing, verdict = of - len(mine), NO_MARK
    if papers:
        sure, possible = right >= papers.plan.needed, right + unread + missing >= papers.plan.needed
        verdict = PASSED if sure else OPEN if possible else FAILED
    slips = Counter(slip for one in mine if len(one.slips) == 1 for slip in one.slips[0])
    ranked = tuple(slip for slip, _ in sorted(slips.items(), key=lambda row: (-row[1], row[0])))
    return Learner(name, mine[0].version, right, of, unread, missing, verdict, ranked)


def _by(marked: Iterable[Marked], field: str) -> dict[str, list[Marked]]:
    found: dict[str, list[Marked]] = {}
    for one in marked:
        found.setdefault(getattr(one, field), []).append(one)
    return found


def items_of(marked: list[Marked], papers: Papers | None) -> tuple[Item, ...]:
    """Of a paper in its order, where a question without a row counts as not right; of exports by kind and level."""
    by_item, learners = _by(marked, "item"), _by(marked, "learner")
    names = [str(n) for n in range(1, papers.plan.questions + 1)] if papers else sorted(by_item)
    items = []
    for name in names:
        mine = by_item.get(name, [])
        right = sum(map(_right, mine))
        answers = len(learners) if papers else len(mine)
        kind, level = _what(name, mine, papers)
        pairs = [_score(name, theirs, bool(papers)) for theirs in learners.values()]
        shown = discrimination([pair for pair in pairs if pair])
        items.append(Item(name, kind, level, right, answers, difficulty(right, answers), shown))
    return tuple(items)


def _what(name: str, mine: list[Marked], papers: Papers | None) -> tuple[str, int]:
    if not papers:
        return mine[0].kind, mine[0].level
    row, own = papers.plan.places[int(name) - 1]
    return ("own", 1) if own else (row.kind, row.level)


def _score(item: str, theirs: list[Marked], paper: bool) -> tuple[Fraction, Fraction] | None:
    """A learner's score in the item and in the rest: right answers of a paper, shares right of an export; None if it has not both."""
    here, rest = ([_right(one) for one in theirs if (one.item == item) is inside] for inside in (True, False))
    if paper:
        return Fraction(sum(here)), Fraction(sum(rest))
    return (Fraction(sum(here), len(here)), Fraction(sum(rest), len(rest))) if here and rest else None


def kinds_of(marked: list[Marked]) -> tuple[Kind, ...]:
    """The hardest first; those with too few answers last."""
    rows = [(kind, sum(map(_right, mine)), len(mine)) for kind, mine in _by(marked, "kind").items()]
    kinds = (Kind(kind, right, answers, difficulty(right, answers)) for kind, right, answers in rows)
    return tuple(sorted(kinds, key=lambda row: (row.difficulty is None, row.difficulty or 0, row.kind)))


def slips_of(marked: list[Marked]) -> tuple[Slip, ...]:
    """The commonest first, by learners."""
    sure: dict[str, list[Marked]] = {}
    perhaps: dict[str, set[str]] = {}
    for one in marked:
        for slip in {slip for names in one.slips for slip in names}:
            if len(one.slips) == 1:
                sure.setdefault(slip, []).append(one)
            perhaps.setdefault(slip, set()).add(one.learner)
    rows = [_slip(slip, sure.get(slip, []), perhaps[slip], marked) for slip in perhaps]
    return tuple(sorted(rows, key=lambda row: (-row.learners, -row.answers, -row.perhaps, row.slip)))


def _slip(slip: str, sure: list[Marked], anyone: set[str], marked: list[Marked]) -> Slip:
    learners = {one.learner for one in sure}
    said = next((dict(one.says)[slip] for one in [*sure, *marked] if slip in dict(one.says)), "")
    kinds = Counter(one.kind for one in sure)
    kind = min(kinds, key=lambda name: (-kinds[name], name)) if kinds else ""
    return Slip(slip, len(learners), len(anyone - learners), len(sure), said, kind)
