"""`dosecheck journal remove FILE --older-than DAYS`."""

from __future__ import annotations

from contextlib import closing

import click

from dosecheck.cli.options import Once
from dosecheck.cli.text import wrapped
from dosecheck.journal import Journal


@click.command("remove", epilog="Exit status: 0 done, 1 not confirmed, 2 the file cannot be read or written.")
@click.argument("path", metavar="FILE")
@click.option("--older-than", "days", metavar="DAYS", type=click.IntRange(1, 36_500), required=True, cls=Once, help="remove what is older")
@click.option("--yes", is_flag=True, help="do not ask")
def command(path: str, days: int, yes: bool) -> int:
    """Remove what is older than so many days; an entry says that it was done, and the chain stays whole."""
    with closing(Journal(path, new=False)) as journal:
        if not yes and not click.confirm(wrapped(f"Remove every entry older than {days} days from {path} for good?")):
            click.echo("Nothing was removed.")
            return 1
        click.echo(f"{journal.remove_older(days):,} entries were removed.")
    return 0
