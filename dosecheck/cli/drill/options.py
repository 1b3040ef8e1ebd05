"""What the commands of the drill share: options, one question of a file, and refusals."""

from __future__ import annotations

import json

import click

from dosecheck.cli.options import Once
from dosecheck.cli.order import refuse
from dosecheck.cli.text import wrapped
from dosecheck.drill.own import read_own
from dosecheck.drill.question import CannotFill, Question
from dosecheck.drill.record import Record, record_path
from dosecheck.errors import Fault, FormularyError, InputError

_UNREAD = "There is no such question."
FORMULARY = click.option("--formulary", "folder", metavar="DIR", help="the formulary's folder", cls=Once)
JSON = click.option("--json", "as_json", is_flag=True, help="answer as JSON")
OWN = click.option("--own", metavar="FILE", help="a file of your own questions, instead of the formulary's", cls=Once)
LEARNER = click.option("--learner", metavar="NAME", default="learner", show_default=True, help="whose record; best an invented name")
RECORD = click.option("--record", "path", metavar="FILE", help="the record's file, instead of the one of that name", cls=Once)


def open_record(learner: str, path: str | tuple[()] | None) -> Record:
    """Raises: InputError: no such name.  FileError: it is no record, or cannot be used."""
    return Record(path or record_path(learner))


def refuse_drill(error: InputError | FormularyError | CannotFill, as_json: bool, unread: str = _UNREAD) -> int:
    if not isinstance(error, CannotFill):
        return refuse(error, as_json, unread)
    click.echo(json.dumps({"errors": [{"why": str(error)}]}) if as_json else wrapped(str(error)), err=not as_json)
    return 4


def own_question(path: str, name: str) -> Question:
    questions = {asked.id: asked for asked in read_own(path)}
    if name not in questions:
        given = ascii(name[:40])[1:-1]
        raise InputError([Fault("question", given, "The file has no question of that id.", f"It has: {', '.join(questions)}.")])
    return questions[name]
