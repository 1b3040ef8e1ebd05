"""`dosecheck journal verify FILE`.  Exit status 0 whole, 1 broken, 2 it cannot be read."""

from __future__ import annotations

import json

import click

from dosecheck.cli.options import Once
from dosecheck.cli.text import wrapped
from dosecheck.journal import Journal


@click.command("verify", epilog="Exit status: 0 every link holds, 1 a link is broken, 2 the file cannot be read.")
@click.argument("path", metavar="FILE")
@click.option("--head", metavar="HASH", cls=Once, help="a hash that was noted down: it must be that of an entry")
@click.option("--json", "as_json", is_flag=True, help="answer as JSON")
def command(path: str, head: str | None, as_json: bool) -> int:
    """Whether every entry is as it was written, and none is missing."""
    journal = Journal(path, new=False)
    number, last = journal.head()
    broken = journal.verify((head or "").strip().lower())
    if as_json:
        click.echo(
            json.dumps(
                {"whole": broken is None, "entry": broken and broken.number, "why": broken and broken.why, "last": number, "hash": last}
            )
        )
    elif broken:
        click.echo(wrapped(f"BROKEN at entry {broken.number}: {broken.why}."))
    else:
        click.echo(wrapped(f"Whole: every link holds, to entry {number}, {last}."))
        if not head:
            click.echo(
                wrapped(
                    "Somebody who may write the file could have made all of it anew: note the hash down elsewhere, and ask with --head."
                )
            )
    return 1 if broken else 0
