"""`dosecheck journal export FILE --out FILE.csv`."""

from __future__ import annotations

import os
from contextlib import closing

import click

from dosecheck.cli.options import Once
from dosecheck.journal import Journal
from dosecheck.journal.export import to_csv
from dosecheck.saving import save


@click.command("export", epilog="Exit status: 0 written, 2 a file cannot be read or written.")
@click.argument("path", metavar="FILE")
@click.option("--out", metavar="FILE.csv", required=True, cls=Once, help="where the entries go; it holds what was typed of children")
def command(path: str, out: str) -> int:
    """All entries as CSV, in a file for its owner alone."""
    with closing(Journal(path, new=False)) as journal:
        entries = list(journal.entries())
    before = os.umask(0o077)
    try:
        save(out, to_csv(entries))
    finally:
        os.umask(before)
    click.echo(f"{len(entries):,} entries are in {out}.\nIt holds what was typed of children: keep it accordingly.")
    return 0
