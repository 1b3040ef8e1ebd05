"""`dosecheck dose`: what the formulary's figures come to for a child.  Exit status 0; 4 when nothing fits; 2 bad input."""

from __future__ import annotations

import json
from typing import Any

import click

from dosecheck.cli.options import (
    as_of_option,
    child_options,
    common_options,
    earlier_options,
    how_options,
    medicine_options,
    open_formulary,
)
from dosecheck.cli.order import read_all, refuse
from dosecheck.errors import FormularyError, InputError
from dosecheck.rules.reckon import reckon


@click.command(
    "dose", epilog="Exit status: 0 figures found, 1 found but something is to be asked first, 4 nothing fits this child, 2 bad input."
)
@medicine_options
@how_options
@earlier_options
@child_options
@as_of_option
@common_options
@click.pass_context
def command(ctx: click.Context, folder: str | None, as_of: str | None, as_json: bool, **fields: Any) -> int:
    """What the formulary's figures come to for a child: range, maxima, gap, measurable doses."""
    if not fields.get("medicine"):
        raise click.UsageError("Name the medicine: --medicine paracetamol", ctx)
    try:
        order, child, earlier = read_all(fields)
        reckoning = reckon(order, child, open_formulary(folder, as_of), earlier)
    except (InputError, FormularyError) as error:
        return refuse(error, as_json)
    if as_json:
        click.echo(json.dumps(reckoning.as_dict(), indent=2, ensure_ascii=False))
    else:
        from dosecheck.cli.text import reckoning_text

        click.echo(reckoning_text(reckoning))
    if not reckoning.figures:
        return 4
    return 1 if any(finding.outcome for finding in reckoning.findings) else 0
