"""`dosecheck journal export FILE --out FILE.csv`."""

from __future__ import annotations

import click

from dosecheck.cli.options import Once
from dosecheck.journal import Journal
from dosecheck.journal.export import to_csv
from dosecheck.saving import save


@click.command("export", epilog="Exit status: 0 written, 2 a file cannot be read or written.")
@click.argument("path", metavar="FILE")
@click.option("--out", metavar="FILE.csv", required=True, cls=Once, help="where the entries go; it holds what was typed of children")
def command(path: str, out: str) -> int:
    """All entries as CSV."""
    journal = Journal(path, new=False)
    save(out, to_csv(journal.entries()))
    click.echo(f"{sum(1 for _ in journal.entries()):,} entries are in {out}. It holds what was typed of children: keep it accordingly.")
    return 0
