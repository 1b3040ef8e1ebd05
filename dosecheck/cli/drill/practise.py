"""`dosecheck drill practise`: questions one after the other at the terminal, or as JSON Lines for another program."""

from __future__ import annotations

import secrets
from datetime import UTC, datetime

import click

from dosecheck.cli.drill.faces import JsonFace, TerminalFace, run_session
from dosecheck.cli.drill.options import FORMULARY, LEARNER, OWN, RECORD, open_record, refuse_drill
from dosecheck.cli.options import open_formulary
from dosecheck.drill.kinds import KINDS
from dosecheck.drill.make import MOST_SEED
from dosecheck.drill.own import read_own
from dosecheck.drill.pool import Pool
from dosecheck.drill.question import CannotFill
from dosecheck.drill.session import Session
from dosecheck.errors import FormularyError, InputError
from dosecheck.reading.answers import FLAWS

_EPILOG = (
    "With --json each question, hint and mark is one line of JSON on standard output, and each line of standard input one "
    'of {"answer": "213 mg"}, {"hint": true}, {"skip": true}, {"stop": true}. '
    "Exit status: 0 ended, 4 the formulary cannot fill the kinds asked for, 2 bad input, 130 broken off (what was answered is kept)."
)


@click.command("practise", epilog=_EPILOG)
@click.option(
    "--kind",
    "kinds",
    type=click.Choice(tuple(KINDS)),
    multiple=True,
    metavar="KIND",
    help="only this kind, of those that drill kinds lists; repeatable",
)
@click.option("--level", type=click.IntRange(1, 3), help="always this level; left out, it follows what you get right")
@click.option("--questions", type=click.IntRange(1, 500), default=10, show_default=True, help="how many")
@click.option("--seed", type=click.IntRange(0, MOST_SEED), help="where the figures start; by chance when left out")
@click.option("--overlook", type=click.Choice(tuple(FLAWS)), multiple=True, help="a way of writing not to be pointed out here; repeatable")
@LEARNER
@RECORD
@OWN
@FORMULARY
@click.option("--json", "as_json", is_flag=True, help="one line of JSON for each question, hint and mark")
def command(
    kinds: tuple[str, ...],
    level: int | None,
    questions: int,
    seed: int | None,
    overlook: tuple[str, ...],
    learner: str,
    path: str | None,
    own: str | None,
    folder: str | None,
    as_json: bool,
) -> int:
    """Practise: what you get wrong comes again. Type the answer with its unit; ? for a hint, skip, or stop."""
    face = JsonFace() if as_json else TerminalFace()
    start = secrets.randbelow(MOST_SEED) if seed is None else seed
    try:
        asked = read_own(own) if own else ()
        pool = None if own else Pool(open_formulary(folder))
        record = open_record(learner, path)
        session = Session(pool, record, lambda: datetime.now(UTC), start, kinds, level, asked, overlook)
        return run_session(session, min(questions, len(asked)) if asked else questions, face, record.path)
    except (InputError, FormularyError, CannotFill) as error:
        return refuse_drill(error, as_json)
