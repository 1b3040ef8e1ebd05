"""Worksheets and keys as self-contained pages, for paper first: no script, nothing fetched, the same bytes every time."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from dosecheck.drill.paper import Paper, told_of
from dosecheck.drill.paper_key import POWERS, KeyEntry, WrongAnswer, key_of
from dosecheck.printing.templates import style, template
from dosecheck.showing import show_share

_FOLDER = Path(__file__).parent
_BOX = {1: 28, 2: 38, 3: 48}  # mm of room for the working, by level
_CHOICE_BOX = 24


def worksheet_html(papers: Sequence[Paper]) -> str:
    """Every paper on pages of its own; no answer in it."""
    plan = papers[0].plan
    return template(_FOLDER / "worksheet.html").render(
        papers=papers, told=told_of(plan), pass_mark=show_share(plan.pass_mark), box=_box, style=style(_FOLDER / "paper.css")
    )


def key_html(papers: Sequence[Paper]) -> str:
    """The answers of every paper with workings, sources, and the usual wrong answers."""
    plan = papers[0].plan
    return template(_FOLDER / "key.html").render(
        papers=[(paper, [(entry, *_parted(entry)) for entry in key_of(paper)]) for paper in papers],
        told=told_of(plan),
        pass_mark=show_share(plan.pass_mark),
        style=style(_FOLDER / "paper.css"),
    )


def _box(paper: Paper, number: int) -> int:
    question = paper.questions[number]
    return _CHOICE_BOX if question.choices else _BOX[question.level]


def _parted(entry: KeyEntry) -> tuple[list[WrongAnswer], list[tuple[str, str]]]:
    """The wrong answers one by one, and those of a slipped point or unit in a line for each: ("789 mg, 7.89 mg", "look at ...")."""
    alone = [one for one in entry.wrong if not set(one.slips) & set(POWERS) or len(one.says) > 1]
    lines = []
    for power in POWERS:
        mine = [one for one in entry.wrong if one.slips == (power,) and len(one.says) == 1]
        if mine:
            lines.append((", ".join(one.answer for one in mine), mine[0].says[0].partition(": ")[2]))
    return alone, lines
