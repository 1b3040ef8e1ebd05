"""`dosecheck formulary to-sheet`: the formulary as a workbook or as CSV files, for review in a spreadsheet."""

from __future__ import annotations

import json

import click

from dosecheck.cli.options import Once, open_formulary
from dosecheck.cli.order import refuse
from dosecheck.cli.text import wrapped
from dosecheck.errors import FormularyError


@click.command("to-sheet", epilog="Exit status: 0 written, 2 bad input.")
@click.argument("folder", required=False)
@click.option("--out", metavar="PLACE", required=True, cls=Once, help="a .xlsx file, or a folder for CSV files")
@click.option("--json", "as_json", is_flag=True, help="answer as JSON")
def command(folder: str | None, out: str, as_json: bool) -> int:
    """The formulary as a spreadsheet, one row an entry, every cell text.

    The first sheet says how to read it, and what not to touch. Bring it back with "dosecheck formulary from-sheet".
    """
    from dosecheck.workshop.sheet_files import write
    from dosecheck.workshop.sheet_out import to_rows

    try:
        formulary = open_formulary(folder)
        sheets = to_rows(formulary.files)
    except FormularyError as error:
        return refuse(error, as_json)
    write(sheets, out)
    rows = {sheet.name: len(sheet.rows) for sheet in sheets[1:]}
    if as_json:
        click.echo(json.dumps({"written": out, "fingerprint": formulary.fingerprint, "rows": rows}, indent=2))
        return 0
    click.echo(wrapped(f"Written: {out}. {sum(rows.values())} entries on {len(sheets)} sheets, of formulary {formulary.fingerprint}."))
    click.echo(wrapped("It is for review and editing, not for looking up a dose. Its first sheet says how to bring it back."))
    return 0
