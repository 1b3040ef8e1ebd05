"""`dosecheck order`: one order, checked.  Exit status 0 within, 1 query, 3 stop, 4 not-checked, 2 bad input."""

from __future__ import annotations

import json
from datetime import date
from typing import TYPE_CHECKING, Any

import click

from dosecheck.cli.options import (
    as_of_option,
    child_options,
    common_options,
    earlier_options,
    how_options,
    medicine_options,
    open_formulary,
    texts_of,
)
from dosecheck.errors import Fault, FormularyError, FormularyFault, InputError
from dosecheck.records import NOT_CHECKED, QUERY, STOP, WITHIN, Child, Order, read_order
from dosecheck.rules.check import check_order

if TYPE_CHECKING:
    from dosecheck.earlier import Earlier

STATUS = {WITHIN: 0, QUERY: 1, STOP: 3, NOT_CHECKED: 4}
_EPILOG = "Exit status: 0 within, 1 query, 3 stop, 4 not-checked, 2 bad input."


@click.command("order", epilog=_EPILOG)
@medicine_options
@click.option("--dose", metavar="DOSE", multiple=True, help='such as "240 mg", "15 mg/kg", "5 mL", "2 puffs", "600 mg a day"')
@how_options
@earlier_options
@child_options
@as_of_option
@common_options
@click.pass_context
def command(ctx: click.Context, folder: str | None, as_of: str | None, as_json: bool, dose: tuple[str, ...], **fields: Any) -> int:
    """Check one order against the formulary, with the working shown."""
    if len(dose) > 1:
        raise click.UsageError("--dose is given twice. Give it once.", ctx)
    if not any((dose, *(value for value in fields.values()))):
        raise click.UsageError(
            'Nothing to check. Try: dosecheck order --medicine paracetamol --route oral --dose "210 mg" --every "6 hours" --weight "14.2 kg" --age "3 years"',
            ctx,
        )
    fields["dose"] = dose[0] if dose else None
    try:
        order, child, earlier = read_all(fields)
        verdict = check_order(order, child, open_formulary(folder, as_of), earlier)
    except (InputError, FormularyError) as error:
        return refuse(error, as_json)
    if as_json:
        click.echo(json.dumps(verdict.as_dict(), indent=2, ensure_ascii=False))
    else:
        from dosecheck.cli.text import verdict_text

        click.echo(verdict_text(verdict))
    return STATUS[verdict.outcome]


def read_all(fields: dict[str, Any]) -> tuple[Order, Child, Earlier | None]:
    """The order, the child and the doses given before (None: not told); the faults of all come together."""
    if not any(fields.get(name) for name in ("given", "none_given", "now")):
        return (*read_order(texts_of(fields)), None)
    from dosecheck.asked import read_asked  # loaded only when earlier doses are told

    return read_asked(fields, date.today())


_UNUSABLE = "Nothing was checked: the formulary cannot be used."


def refuse(
    error: InputError | FormularyError,
    as_json: bool,
    unread: str = "Nothing was checked: the order cannot be read.",
    unusable: str = _UNUSABLE,
) -> int:
    """Every fault of the input or of the formulary at once; exit status 2.  `unread`, `unusable`: what stands above them."""
    of_formulary = isinstance(error, FormularyError)
    if as_json:
        faults = [_of_formulary(fault) if of_formulary else fault for fault in error.faults]
        click.echo(json.dumps({"errors": [fault._asdict() for fault in faults]}, indent=2, ensure_ascii=False))
    else:
        from dosecheck.cli.text import wrapped

        click.echo(unusable if of_formulary else unread, err=True)
        for fault in error.faults:
            click.echo(wrapped(fault.located if of_formulary else str(fault), "  - "), err=True)
    return 2


def _of_formulary(fault: FormularyFault) -> Fault:
    """A fault of the formulary in the form that every error of this command has."""
    return Fault("formulary", ", ".join(part for part in (fault.file, fault.entry, fault.key) if part), fault.why, fault.write)
