"""`dosecheck formulary from-sheet`: what was changed in a spreadsheet brought into the formulary's files."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Any

import click

from dosecheck.cli.options import Once
from dosecheck.cli.order import refuse
from dosecheck.cli.text import wrapped
from dosecheck.errors import FormularyError, InputError

if TYPE_CHECKING:
    from dosecheck.workshop.sheet_back import Brought

_UNREAD = "Nothing was written: the spreadsheet cannot be brought into the formulary."


@click.command(
    "from-sheet",
    epilog="Exit status: 0 written or nothing to do, 1 --check found changes, 2 bad input. Files are put in their places one after the "
    "other: should the computer stop in between, each is whole, some new and some old; run the same command again with --force.",
)
@click.argument("sheet")
@click.option("--into", metavar="FOLDER", required=True, cls=Once, help="the formulary that is edited")
@click.option("--check", is_flag=True, help="tell what would change, and write nothing")
@click.option("--remove", is_flag=True, help="remove the entries that have no row")
@click.option("--force", is_flag=True, help="also where the formulary was edited since the sheet was made")
@click.option("--json", "as_json", is_flag=True, help="answer as JSON")
def command(sheet: str, into: str, check: bool, remove: bool, force: bool, as_json: bool) -> int:
    """Bring a reviewed spreadsheet back: SHEET is a .xlsx file, or a folder of CSV files.

    Only entries that changed are touched. Nothing is written if the formulary would have a fault; each is told by row and
    column. An edited figure loses its approval.
    """
    from dosecheck.workshop.sheet_back import from_sheet

    try:
        brought = from_sheet(sheet, into, check, remove, force)
    except InputError as error:
        return refuse(error, as_json, _UNREAD)
    except FormularyError as error:
        return refuse(error, as_json)
    if as_json:
        click.echo(json.dumps(_as_dict(brought), indent=2, ensure_ascii=False, default=str))
    else:
        click.echo(_as_text(brought, check))
    return 1 if check and brought.changes else 0


def _as_dict(brought: Brought) -> dict[str, Any]:
    changes = {name: [one._asdict() for one in getattr(brought, name)] for name in ("changes", "missing")}
    return {**changes, "lapsed": brought.lapsed, "hidden": brought.hidden, "written": brought.written}


def _as_text(brought: Brought, check: bool) -> str:
    lines = [wrapped(str(change), "  ", "      ") for change in brought.changes]
    head = f"{len(brought.changes)} changes:" if len(brought.changes) != 1 else "1 change:"
    lines = [head, *lines] if lines else ["Nothing to change: the formulary says what the spreadsheet says."]
    lines += _told("These entries have no row. They stay; --remove removes them.", [str(one).rpartition(":")[0] for one in brought.missing])
    lines += _told("These approvals hold no more; the figures are to be checked again.", brought.lapsed)
    lines += _told("These rows were hidden in the spreadsheet, and were read.", brought.hidden)
    if check and brought.changes:
        lines += ["", "Nothing was written (--check)."]
    elif brought.written:
        lines += ["", wrapped(f"Written: {', '.join(brought.written)}.")]
    return "\n".join(lines)


def _told(head: str, ones: Any) -> list[str]:
    return ["", wrapped(head), *(wrapped(one, "  ", "      ") for one in ones)] if ones else []
