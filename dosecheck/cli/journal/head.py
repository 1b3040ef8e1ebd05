"""`dosecheck journal head FILE`."""

from __future__ import annotations

from contextlib import closing

import click

from dosecheck.journal import Journal


@click.command("head", epilog="Exit status: 0, or 2 when the file cannot be read.")
@click.argument("path", metavar="FILE")
def command(path: str) -> int:
    """Number and hash of the last entry: note them down elsewhere, for `verify --head`."""
    with closing(Journal(path, new=False)) as journal:
        number, last = journal.head()
    click.echo(f"{number} {last}")
    return 0
