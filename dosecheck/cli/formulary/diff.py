"""`dosecheck formulary diff`: what changed between two formularies, the riskiest first."""

from __future__ import annotations

import json
from collections.abc import Sequence

import click

from dosecheck.cli.options import Once
from dosecheck.cli.order import refuse
from dosecheck.cli.text import heading, wrapped
from dosecheck.errors import FormularyError
from dosecheck.formulary.load import Formulary
from dosecheck.saving import save
from dosecheck.workshop.diff.changes import Change, changes
from dosecheck.workshop.diff.figure import DIRECTIONS
from dosecheck.workshop.diff.page import CAUTION, MEANS, to_html
from dosecheck.workshop.sides import open_side

SIDES = 'A side is a folder, or a revision under git: "HEAD~1", "v2:my-formulary". '


@click.command("diff", epilog=SIDES + "Exit status: 0 nothing changed, 1 something did, 2 bad input.")
@click.argument("old")
@click.argument("new")
@click.option("--out", metavar="FILE.html", cls=Once, help="write it as a page too")
@click.option("--json", "as_json", is_flag=True, help="answer as JSON")
def command(old: str, new: str, out: str | None, as_json: bool) -> int:
    """What changed from OLD to NEW, figure by figure: what lets more orders pass comes first."""
    try:
        before, after = open_side(old), open_side(new)
    except FormularyError as error:
        return refuse(error, as_json, "Nothing was compared.")
    found = changes(before, after)
    if out:
        save(out, to_html(found, before, after).encode())
    if as_json:
        whole = {"old": before.about(), "new": after.about(), "changes": [change.as_dict() for change in found], "caution": CAUTION}
        click.echo(json.dumps(whole, indent=2, ensure_ascii=False))
    else:
        click.echo("\n".join([changes_text(found, before, after), *([f"Written: {out}"] if out else [])]))
    return 1 if found else 0


def changes_text(found: Sequence[Change], old: Formulary, new: Formulary) -> str:
    """80 columns; by direction."""
    sides = wrapped(f"From {old.folder} (fingerprint {old.fingerprint}) to {new.folder} (fingerprint {new.fingerprint}):")
    if not found:
        spelling = (
            "" if old.fingerprint == new.fingerprint else " The files differ in spelling, comments, examples or a local reason alone."
        )
        return f"{sides}\n{wrapped('nothing changed in meaning or wording.' + spelling)}"
    lines = [sides]
    for name in DIRECTIONS:
        rows = [change for change in found if change.direction == name]
        if rows:
            lines += ["", heading(f"{len(rows)} {name}") + f": {MEANS[name]}", *(change_text(change) for change in rows)]
    return "\n".join([*lines, "", wrapped(CAUTION)])


def change_text(change: Change) -> str:
    """ "paracetamol, regimen oral-child: max_daily 60 mg/kg -> 75 mg/kg, 1.25 times" """
    risk = " (high risk)" if change.high_risk else ""
    where = f"{change.medicine}{risk}, {change.entry}" if change.medicine else change.entry
    said = f"{where}: {change.figure} {change.before or 'nothing'} -> {change.after or 'nothing'}"
    return wrapped(said + f", {change.times}" * bool(change.times) + f". {change.doubt.capitalize()}" * bool(change.doubt), "  - ")
