"""`dosecheck drill question`: one question."""

from __future__ import annotations

import json

import click

from dosecheck.cli.drill.options import FORMULARY, JSON, OWN, own_question, refuse_drill
from dosecheck.cli.drill.text import question_text
from dosecheck.cli.options import open_formulary
from dosecheck.drill.make import MOST_SEED, make
from dosecheck.drill.question import CAUTION, CannotFill
from dosecheck.errors import FormularyError, InputError


@click.command("question", epilog="Exit status: 0 a question, 4 the formulary cannot fill this kind, 2 bad input.")
@click.argument("kind")
@click.option("--level", type=click.IntRange(1, 3), default=1, show_default=True, help="1 one step, 3 several")
@click.option("--seed", type=click.IntRange(0, MOST_SEED), default=1, show_default=True, help="the same seed gives the same question")
@click.option("--hints", type=click.IntRange(0), default=0, help="so many steps of the working, as far as it has them")
@OWN
@FORMULARY
@JSON
def command(kind: str, level: int, seed: int, hints: int, own: str | None, folder: str | None, as_json: bool) -> int:
    """One question of KIND (or the one of that id, with --own).

    Nothing is stored: the id that is printed makes the same question again.
    """
    try:
        asked = own_question(own, kind) if own else make(kind, level, seed, open_formulary(folder))
    except (InputError, FormularyError, CannotFill) as error:
        return refuse_drill(error, as_json)
    told = asked.hints[:hints][-1:]
    if as_json:
        click.echo(json.dumps({**asked.as_dict(), "hint": list(told), "caution": CAUTION}, indent=2, ensure_ascii=False))
    else:
        click.echo(question_text(asked, told))
    return 0
