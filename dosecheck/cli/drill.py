"""`dosecheck drill`: questions about doses, marked with the unit, and which mistake it was."""

from __future__ import annotations

import json
from typing import Any

import click

from dosecheck.cli.options import Once, open_formulary
from dosecheck.cli.order import refuse
from dosecheck.cli.text import block, heading, wrapped
from dosecheck.drill.kinds import KINDS
from dosecheck.drill.make import MOST_SEED, make, remake
from dosecheck.drill.mark import RIGHT, UNREADABLE, Mark, mark
from dosecheck.drill.own import read_own
from dosecheck.drill.question import CAUTION, CannotFill, Question
from dosecheck.errors import Fault, FormularyError, InputError
from dosecheck.reading.answers import FLAWS

_UNREAD = "There is no such question."
_HEADLINES = {
    "right": "RIGHT.",
    "unit-missing": "NOT RIGHT: the unit is missing.",
    "unit-wrong": "NOT RIGHT: the unit is wrong.",
    "wrong": "NOT RIGHT.",
    "unreadable": "NOT MARKED: this answer cannot be read. Write it again.",
}
_FORMULARY = click.option("--formulary", "folder", metavar="DIR", help="the formulary's folder", cls=Once)
_JSON = click.option("--json", "as_json", is_flag=True, help="answer as JSON")
_OWN = click.option("--own", metavar="FILE", help="a file of your own questions, instead of the formulary's", cls=Once)


@click.group("drill")
def command() -> None:
    """Questions about doses: each is marked with its unit, and a wrong answer told by the slip that gives it."""


@command.command("kinds")
@_JSON
def kinds(as_json: bool) -> int:
    """The kinds of question, each with its three levels."""
    if as_json:
        rows = [{"kind": name, "about": kind.about, "levels": list(kind.levels)} for name, kind in KINDS.items()]
        click.echo(json.dumps(rows, indent=2, ensure_ascii=False))
    else:
        for name, kind in KINDS.items():
            click.echo(f"{heading(name)}: {kind.about}")
            click.echo("\n".join(wrapped(text, f"  {level}  ") for level, text in enumerate(kind.levels, 1)))
    return 0


@command.command("question", epilog="Exit status: 0 a question, 4 the formulary cannot fill this kind, 2 bad input.")
@click.argument("kind")
@click.option("--level", type=click.IntRange(1, 3), default=1, show_default=True, help="1 one step, 3 several")
@click.option("--seed", type=click.IntRange(0, MOST_SEED), default=1, show_default=True, help="the same seed gives the same question")
@click.option("--hints", type=click.IntRange(0), default=0, help="so many steps of the working, as far as it has them")
@_OWN
@_FORMULARY
@_JSON
def question(kind: str, level: int, seed: int, hints: int, own: str | None, folder: str | None, as_json: bool) -> int:
    """One question of KIND (or the one of that id, with --own).

    Nothing is stored: the id that is printed makes the same question again.
    """
    try:
        asked = _own(own, kind) if own else make(kind, level, seed, open_formulary(folder))
    except (InputError, FormularyError, CannotFill) as error:
        return _refuse(error, as_json)
    told = asked.hints[:hints][-1:]
    if as_json:
        click.echo(json.dumps({**asked.as_dict(), "hint": list(told), "caution": CAUTION}, indent=2, ensure_ascii=False))
    else:
        click.echo(question_text(asked, told))
    return 0


@command.command("mark", epilog="Exit status: 0 right, 1 not right, 2 the answer or the id cannot be read.")
@click.argument("question_id", metavar="ID")
@click.option("--answer", required=True, metavar="TEXT", help='such as "213 mg"', cls=Once)
@click.option("--overlook", type=click.Choice(tuple(FLAWS)), multiple=True, help="a way of writing not to be pointed out here; repeatable")
@_OWN
@_FORMULARY
@_JSON
def mark_command(question_id: str, answer: str, overlook: tuple[str, ...], own: str | None, folder: str | None, as_json: bool) -> int:
    """Marks an answer to the question of that ID, tells which mistake it was, and shows the working."""
    try:
        asked = _own(own, question_id) if own else remake(question_id, open_formulary(folder))
    except (InputError, FormularyError, CannotFill) as error:
        return _refuse(error, as_json)
    marked = mark(asked, answer, overlook)
    if as_json:
        lesson = {} if marked.result == UNREADABLE else {"lesson": asked.lesson()}
        click.echo(json.dumps({"id": asked.id, **marked.as_dict(), **lesson, "caution": CAUTION}, indent=2, ensure_ascii=False))
    else:
        click.echo(mark_text(asked, marked))
    return {RIGHT: 0, UNREADABLE: 2}.get(marked.result, 1)


def _refuse(error: InputError | FormularyError | CannotFill, as_json: bool) -> int:
    if not isinstance(error, CannotFill):
        return refuse(error, as_json, _UNREAD)
    click.echo(json.dumps({"errors": [{"why": str(error)}]}) if as_json else wrapped(str(error)), err=not as_json)
    return 4


def _own(path: str, name: str) -> Question:
    questions = {asked.id: asked for asked in read_own(path)}
    if name not in questions:
        given = ascii(name[:40])[1:-1]
        raise InputError([Fault("question", given, "The file has no question of that id.", f"It has: {', '.join(questions)}.")])
    return questions[name]


def question_text(asked: Question, hints: tuple[str, ...] = ()) -> str:
    """A question for eyes."""
    lines = [heading(f"Question {asked.id}"), wrapped(asked.text), wrapped(asked.ask)]
    lines += [wrapped(f"{choice.word}: {choice.means}", "  ", "      ") for choice in asked.choices if choice.means != choice.word]
    lines += [wrapped(hint, "Hint: ") for hint in hints]
    return "\n".join([*lines, "", wrapped(CAUTION)])


def mark_text(asked: Question, marked: Mark) -> str:
    """The mark first, then which mistake it was, then the lesson; an unreadable answer may be written again, so nothing is shown."""
    parts = [heading(_HEADLINES[marked.result])]
    said = [line for line in marked.said if line not in ("Right.", "Not right.")]
    parts += ["\n".join(wrapped(line, "  ") for line in said)] if said else []
    parts.append(block("Safer writing", [f"{flaw.why[0].upper()}{flaw.why[1:]}. {flaw.write}" for flaw in marked.flaws]))
    if marked.result != UNREADABLE:
        lesson: dict[str, Any] = asked.lesson()
        parts.append(wrapped(lesson["answer"], "Answer: "))
        parts.append(block("Working", lesson["working"]))
        parts.append(block("Notes", lesson["notes"]))
        parts.append(wrapped(lesson["source"], "Source: ") if lesson["source"] else "")
    return "\n\n".join(part for part in (*parts, wrapped(CAUTION)) if part)
