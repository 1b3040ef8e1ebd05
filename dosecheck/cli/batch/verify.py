"""`dosecheck batch verify`: a result against its ledger.  Exit status 0 they agree, 1 they do not, 2 one cannot be read."""

from __future__ import annotations

import json

import click

from dosecheck.cli.options import Once
from dosecheck.cli.text import heading, wrapped

_EPILOG = "Exit status: 0 all agrees, 1 something does not, 2 a file cannot be read or there is no ledger."


@click.command("verify", epilog=_EPILOG)
@click.argument("results")
@click.option("--orders", metavar="FILE", cls=Once, help="also compare the file of orders that was read, or the folder or pattern of them")
@click.option("--json", "as_json", is_flag=True, help="answer as JSON")
def command(results: str, orders: str | None, as_json: bool) -> int:
    """Compare a result with the ledger that was written beside it; or a ledger alone, of what is no file, with itself and the orders."""
    from dosecheck.batch.verify import not_compared, verify

    compared, left_out = verify(results, orders), not_compared(results)
    agrees = all(each.agrees for each in compared)
    if as_json:
        rows = [{**each._asdict(), "agrees": each.agrees} for each in compared]
        click.echo(json.dumps({"agrees": agrees, "compared": rows, "not_compared": left_out}, indent=2))
    else:
        click.echo(_text(results, compared, agrees, left_out))
    return 0 if agrees else 1


def _text(results: str, compared, agrees: bool, left_out: str) -> str:
    of_result = all(each.agrees for each in compared if not each.of_orders)
    lines = [heading(wrapped(f"{_says(agrees, of_result, bool(left_out))}: {results}"))]
    for each in compared:
        lines.append(f"  {'agrees' if each.agrees else 'DIFFERS':8}  {each.what}: {_shown(each.found)}")
        if not each.agrees:
            lines.append(f"            the ledger says {_shown(each.said)}")
    if left_out:
        lines.append(wrapped(left_out))
    if not of_result:
        lines.append(wrapped("Something changed the result or the ledger after the run, or they are of two runs. Check the orders again."))
    elif not agrees:
        lines.append(
            wrapped("The result agrees with its ledger. The orders are not those that were read, or were changed since: check them again.")
        )
    return "\n".join(lines)


def _says(agrees: bool, of_result: bool, alone: bool) -> str:
    if agrees:
        return "The ledger adds up" if alone else "The result and its ledger agree"
    if alone and not of_result:
        return "DO NOT USE: the ledger does not add up"
    return "DO NOT USE for these orders, the result is of others" if of_result else "DO NOT USE: the result and its ledger do not agree"


def _shown(value) -> str:
    """Of a SHA-256 the beginning, which is enough for the eye; JSON has the whole."""
    return "nothing" if value is None else f"{value:,}" if isinstance(value, int) else str(value)[:16]
