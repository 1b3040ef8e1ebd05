"""`dosecheck formulary schema`: what editors need for completion and hover help."""

from __future__ import annotations

import json

import click

from dosecheck.workshop.schema import FILES, schema

_EPILOG = (
    "Write it beside the files, and name it in a file's first line, which editors read and lint does not: "
    '"#:schema ../medicine.schema.json". Exit status: 0 shown, 2 bad input.'
)


@click.command("schema", epilog=_EPILOG)
@click.argument("kind", type=click.Choice(list(FILES)), default="medicine")
def command(kind: str) -> int:
    """The JSON Schema of a formulary's file, of a medicine's when left out: its keys, words and the look of amounts.

    It says less than lint, which alone knows whether the figures hold together.
    """
    click.echo(json.dumps(schema(kind), indent=2, ensure_ascii=False))
    return 0
