"""`dosecheck drill mark`: one answer, marked with its unit, and which mistake it was."""

from __future__ import annotations

import json

import click

from dosecheck.cli.drill.options import FORMULARY, JSON, OWN, own_question, refuse_drill
from dosecheck.cli.drill.text import mark_text
from dosecheck.cli.options import Once, open_formulary
from dosecheck.drill.make import remake
from dosecheck.drill.mark import RIGHT, UNREADABLE, mark
from dosecheck.drill.question import CAUTION, CannotFill
from dosecheck.errors import FormularyError, InputError
from dosecheck.reading.answers import FLAWS


@click.command("mark", epilog="Exit status: 0 right, 1 not right, 2 the answer or the id cannot be read.")
@click.argument("question_id", metavar="ID")
@click.option("--answer", required=True, metavar="TEXT", help='such as "213 mg"', cls=Once)
@click.option("--overlook", type=click.Choice(tuple(FLAWS)), multiple=True, help="a way of writing not to be pointed out here; repeatable")
@OWN
@FORMULARY
@JSON
def command(question_id: str, answer: str, overlook: tuple[str, ...], own: str | None, folder: str | None, as_json: bool) -> int:
    """Marks an answer to the question of that ID, tells which mistake it was, and shows the working."""
    try:
        asked = own_question(own, question_id) if own else remake(question_id, open_formulary(folder))
    except (InputError, FormularyError, CannotFill) as error:
        return refuse_drill(error, as_json)
    marked = mark(asked, answer, overlook)
    if as_json:
        lesson = {} if marked.result == UNREADABLE else {"lesson": asked.lesson()}
        click.echo(json.dumps({"id": asked.id, **marked.as_dict(), **lesson, "caution": CAUTION}, indent=2, ensure_ascii=False))
    else:
        click.echo(mark_text(asked, marked))
    return {RIGHT: 0, UNREADABLE: 2}.get(marked.result, 1)
