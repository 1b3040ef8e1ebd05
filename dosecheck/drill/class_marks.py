"""Marks what a class answered, every answer again by `mark.py`: a result that a table tells is taken only where the
question cannot be made again (another formulary's, or a teacher's own in an export), and counted as told."""

from __future__ import annotations

from collections.abc import Iterable
from typing import NamedTuple

from dosecheck.drill.class_rows import Row
from dosecheck.drill.make import remake
from dosecheck.drill.mark import RESULTS, mark
from dosecheck.drill.paper import Paper, Papers
from dosecheck.drill.pool import Pool
from dosecheck.drill.question import CannotFill, Question
from dosecheck.drill.schedule import SKIPPED
from dosecheck.errors import Fault, InputError


class Marked(NamedTuple):
    """One answer of a learner.

    item: the question's number on the paper, or kind and level of an exported one.
    slips: what explains it: several where they explain it alike, each a slip or a pair.  says: of each slip, to a learner.
    told: the result is the table's own.  alone: without a hint.
    """

    learner: str
    version: str
    item: str
    kind: str
    level: int
    answer: str
    result: str
    slips: tuple[tuple[str, ...], ...] = ()
    says: tuple[tuple[str, str], ...] = ()
    told: bool = False
    alone: bool = True


def mark_papers(rows: Iterable[Row], papers: Papers) -> tuple[list[Marked], list[Fault]]:
    """Of a teacher's table; a row that fits no question of the paper, or comes twice, is refused."""
    marked, faults = [], []
    version_of: dict[str, str] = {}
    seen: set[tuple[str, str]] = set()
    for row in rows:
        found = _paper_and_number(row, papers, version_of, seen)
        if isinstance(found, Fault):
            faults.append(found)
            continue
        paper, number = found
        learner = row.cells["learner"]
        version_of[learner] = paper.version
        seen.add((learner, str(number)))
        marked.append(_marked(learner, paper.questions[number - 1], row.cells["answer"], str(number), paper.version))
    return marked, faults


def _paper_and_number(row: Row, papers: Papers, version_of: dict[str, str], seen: set[tuple[str, str]]) -> tuple[Paper, int] | Fault:
    learner, number = row.cells["learner"], row.cells["number"]
    if not learner:
        return Fault(row.place, "", "It names no learner.", "Write the learner's invented id.")
    paper = _paper(row, papers)
    if isinstance(paper, Fault):
        return paper
    if number not in map(str, range(1, papers.plan.questions + 1)):
        given = ascii(number[:40])[1:-1]
        return Fault(row.place, given, "The paper has no question of that number.", f"Write 1 to {papers.plan.questions}.")
    if version_of.get(learner, paper.version) != paper.version:
        return Fault(row.place, paper.version, f'"{learner}" has version {version_of[learner]} above.', "Put one of them right.")
    if (learner, number) in seen:
        return Fault(row.place, number, f'"{learner}" has answered this question above.', "Keep one of the rows.")
    return paper, int(number)


def _paper(row: Row, papers: Papers) -> Paper | Fault:
    """By the version's letter, or by the whole code, which must be that of these papers."""
    told = row.cells["version"]
    given = ascii(told[:60])[1:-1]
    name = told.rpartition("-")[2]
    if "-" in told and told != papers.code_of(name):
        why = f"It is the code of another paper, seed or formulary than {papers.code_of(name[:2])}."
        return Fault(row.place, given, why, "Name that paper's file, --seed and --formulary.")
    try:
        return papers.version(name)
    except InputError as error:
        return Fault(row.place, given, error.faults[0].why, "Write the version's letter, or the whole code of the paper.")
    except CannotFill as error:
        return Fault(row.place, given, str(error), "Look at the version on the paper.")


def mark_exports(rows: Iterable[Row], pool: Pool) -> tuple[list[Marked], list[Fault]]:
    """Of learners' exports; a row with neither a question that can be made again nor a known result is refused."""
    marked, faults = [], []
    for row in rows:
        found = _exported(row, pool)
        (faults if isinstance(found, Fault) else marked).append(found)
    return marked, faults


def _exported(row: Row, pool: Pool) -> Marked | Fault:
    cells = row.cells
    if not cells["learner"]:
        return Fault(row.place, "", "It names no learner.", "Write the learner's invented id.")
    alone = cells["hints"] in ("", "0")
    try:
        question = remake(cells["question"], pool)
    except (InputError, CannotFill):
        return _as_told(row, alone)
    item = f"{question.kind} {question.level}"
    return _marked(cells["learner"], question, cells["answer"], item, "")._replace(alone=alone)


def _as_told(row: Row, alone: bool) -> Marked | Fault:
    """The table's own result, where it is one that marking gives."""
    cells = row.cells
    if cells["result"] not in (*RESULTS, SKIPPED) or not cells["kind"] or cells["level"] not in ("1", "2", "3"):
        given = ascii(cells["question"][:60])[1:-1]
        return Fault(row.place, given, "This question cannot be made again, and no result is told.", "Export it anew.")
    slips = tuple(tuple(one.split("+")) for one in cells["slips"].split(";") if one)
    item = f"{cells['kind']} {cells['level']}"
    item = cells["question"] if cells["kind"] == "own" else f"{cells['kind']} {cells['level']}"
    return Marked(cells["learner"], "", item, cells["kind"], int(cells["level"]), cells["answer"], cells["result"], slips, (), True, alone)


def _marked(learner: str, question: Question, answer: str, item: str, version: str) -> Marked:
    if not answer:
        return Marked(learner, version, item, question.kind, question.level, "", SKIPPED)
    found = mark(question, answer)
    says = {trap.slip: trap.says for traps in found.diagnosis.explanations for trap in traps}
    told = (found.result, found.diagnosis.slips, tuple(says.items()))
    return Marked(learner, version, item, question.kind, question.level, answer, *told)
