"""`dosecheck journal verify FILE`.  Exit status 0 whole, 1 broken, 2 it cannot be read."""

from __future__ import annotations

import json
import re
from contextlib import closing

import click

from dosecheck.cli.options import Once
from dosecheck.cli.text import wrapped
from dosecheck.journal import Journal

_FOUND = "The hash that was noted down is there: nothing up to it was changed."
_NOTE = "Somebody who may write the file could have made all of it anew: note the hash down elsewhere, and ask with --head."


@click.command("verify", epilog="Exit status: 0 every link holds, 1 a link is broken, 2 the file cannot be read.")
@click.argument("path", metavar="FILE")
@click.option("--head", metavar="HASH", cls=Once, help="a hash that was noted down: it must be that of an entry")
@click.option("--json", "as_json", is_flag=True, help="answer as JSON")
def command(path: str, head: str | None, as_json: bool) -> int:
    """Whether every entry is as it was written, and none is missing."""
    noted = _hash(head) if isinstance(head, str) else ""  # an option of click that is not there is no text
    with closing(Journal(path, new=False)) as journal:
        (number, last), broken = journal.head(), journal.verify(noted)
    if as_json:
        told = {"whole": not broken, "entry": broken and broken.number, "why": broken and broken.why, "last": number, "hash": last}
        click.echo(json.dumps(told))
    elif broken:
        click.echo(wrapped(f"BROKEN at entry {broken.number}: {broken.why}."))
    else:
        click.echo(wrapped(f"Whole: every link holds, to entry {number}, {last}."))
        click.echo(wrapped(_FOUND if noted else _NOTE))
    return 1 if broken else 0


def _hash(text: str) -> str:
    """As `head` prints it, in either case; anything else would never be found, and an empty one would not be looked for."""
    text = text.strip().lower()
    if not re.fullmatch("[0-9a-f]{64}", text):
        raise click.UsageError("--head is no hash. Write the 64 figures and letters that `dosecheck journal head` printed.")
    return text
