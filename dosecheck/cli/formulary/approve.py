"""`dosecheck formulary approve`: the figures of a medicine shown, and who checked them written beside each."""

from __future__ import annotations

import json
import sys
from datetime import date

import click

from dosecheck.cli.formulary.approvals import as_dict, signed_text
from dosecheck.cli.formulary.show import medicine_text
from dosecheck.cli.options import Once, common_options, day_of, open_formulary
from dosecheck.cli.order import refuse
from dosecheck.cli.text import wrapped
from dosecheck.errors import Fault, FormularyError, InputError
from dosecheck.formulary.load import Formulary
from dosecheck.workshop.approve import MEANS, approvals
from dosecheck.workshop.approve import approve as sign

_UNREAD = "Nothing was approved."


@click.command("approve", epilog="Exit status: 0 written, 1 not confirmed, 2 bad input. " + MEANS)
@click.argument("medicine")
@click.option("--by", required=True, metavar="NAME", cls=Once, help="who has checked the figures against their sources")
@click.option("--only", metavar="ID", multiple=True, help='only this entry ("medicine": its names and ingredients); repeatable')
@click.option("--on", metavar="DATE", cls=Once, help="the day on which they were checked; today when left out")
@click.option("--yes", is_flag=True, help="the figures were looked at elsewhere: do not show them and ask")
@common_options
def command(medicine: str, by: str, only: tuple[str, ...], on: str | None, yes: bool, folder: str | None, as_json: bool) -> int:
    """Write that you checked a medicine's figures; a high-risk medicine needs two different people."""
    try:
        formulary = open_formulary(folder)
        approvals(formulary, medicine)
        if not yes and not _confirmed(formulary, medicine, by):
            click.echo(_UNREAD, err=True)
            return 1
        after = sign(formulary, medicine, by, day_of(on), date.today(), only)
    except (InputError, FormularyError) as error:
        return refuse(error, as_json, _UNREAD)
    if as_json:
        click.echo(json.dumps({"files": [as_dict(one) for one in after], "means": MEANS}, indent=2, ensure_ascii=False))
    else:
        click.echo("\n".join([*map(signed_text, after), "", wrapped(MEANS)]))
    return 0


def _confirmed(formulary: Formulary, medicine: str, by: str) -> bool:
    if not sys.stdin.isatty():
        why = "The figures are shown and confirmed by a person at a terminal, and there is none here."
        raise InputError([Fault("yes", "", why, "Write --yes once they have been looked at.")])
    click.echo(medicine_text(formulary.medicine(medicine), formulary))
    click.echo()
    return click.confirm(wrapped(f"{by}: have you compared each of these figures with its source?"))
