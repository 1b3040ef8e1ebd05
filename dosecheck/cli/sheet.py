"""`dosecheck sheet`: the one-page sheet of one child.  Exit status 0 made, 1 made with something to ask first, 4 nothing reckoned, 2 bad input."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import click

from dosecheck.cli.options import Once, child_options, common_options, open_formulary, texts_of
from dosecheck.cli.order import refuse
from dosecheck.errors import FileError, FormularyError, InputError
from dosecheck.records import Child
from dosecheck.reports.sheet import ASK, MADE, NOTHING, Sheet, make_sheet, reference_faults
from dosecheck.saving import save

STATUS = {MADE: 0, ASK: 1, NOTHING: 4}
_FORMS = (".html", ".pdf")
_EPILOG = "Exit status: 0 made, 1 made but something on it is to be asked first, 4 nothing could be reckoned for this child, 2 bad input, or nothing written."


@click.command("sheet", epilog=_EPILOG, no_args_is_help=True)
@click.option("--child", "reference", metavar="ID", help='what the child is called here: "SM-001"', cls=Once)
@child_options
@click.option("--out", metavar="FILE", help="the page to write: a .html or a .pdf file", cls=Once)
@common_options
def command(reference: str | None, out: str | None, folder: str | None, as_json: bool, **fields: Any) -> int:
    """One A4 page for one child: the doses that the formulary lists, tubes, shocks and fluids.

    Every dose stands with its arithmetic, and has passed the check for this child. Without --out only the summary is
    printed.
    """
    form = _form(out)
    try:
        sheet = make_sheet(reference or None, _child(reference or None, texts_of(fields)), open_formulary(folder))
    except (InputError, FormularyError) as error:
        return refuse(error, as_json, "No sheet was made.")
    if out:
        save(out, _content(sheet, form))
    if as_json:
        click.echo(json.dumps({**sheet.as_dict(), "written": out or ""}, indent=2, ensure_ascii=False))
    else:
        from dosecheck.cli.sheet_text import sheet_text

        click.echo(sheet_text(sheet, out))
    return STATUS[sheet.outcome]


def _child(reference: str | None, texts: dict[str, Any]) -> Child:
    """The child; a fault of the reference comes together with those of the other fields."""
    try:
        return Child(**texts)
    except InputError as error:
        raise InputError([*reference_faults(reference), *error.faults]) from None


def _form(out: str | None) -> str:
    form = Path(out).suffix.lower() if out else ""
    if out and form not in _FORMS:
        raise FileError(out, f'A sheet cannot end in "{form}".', "Use a .html or a .pdf file.")
    return form


def _content(sheet: Sheet, form: str) -> bytes:
    if form == ".pdf":
        from dosecheck.reports.pdf import to_pdf

        return to_pdf(sheet)
    from dosecheck.reports.page import to_html

    return to_html(sheet).encode()
