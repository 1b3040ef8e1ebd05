"""`dosecheck batch verify`: a result against its ledger.  Exit status 0 they agree, 1 they do not, 2 one cannot be read."""

from __future__ import annotations

import json

import click

from dosecheck.cli.options import Once
from dosecheck.cli.text import heading, wrapped

_EPILOG = "Exit status: 0 all agrees, 1 something does not, 2 a file cannot be read or there is no ledger."


@click.command("verify", epilog=_EPILOG)
@click.argument("results")
@click.option("--orders", metavar="FILE", cls=Once, help="also compare the file of orders that was read")
@click.option("--json", "as_json", is_flag=True, help="answer as JSON")
def command(results: str, orders: str | None, as_json: bool) -> int:
    """Compare a result with the ledger that was written beside it."""
    from dosecheck.batch.verify import verify

    compared = verify(results, orders)
    agrees = all(each.agrees for each in compared)
    if as_json:
        rows = [{**each._asdict(), "agrees": each.agrees} for each in compared]
        click.echo(json.dumps({"agrees": agrees, "compared": rows}, indent=2))
    else:
        click.echo(_text(results, compared, agrees))
    return 0 if agrees else 1


def _text(results: str, compared, agrees: bool) -> str:
    says = "The result and its ledger agree" if agrees else "DO NOT USE: the result and its ledger do not agree"
    lines = [heading(wrapped(f"{says}: {results}"))]
    for each in compared:
        known = f"{each.found:,}" if isinstance(each.found, int) else str(each.found)
        lines.append(f"  {'agrees' if each.agrees else 'DIFFERS':8}  {each.what}: {known[:16]}")
        if not each.agrees:
            said = f"{each.said:,}" if isinstance(each.said, int) else str(each.said)
            lines.append(f"            the ledger says {said[:16]}")
    if not agrees:
        lines.append(wrapped("Something changed the result or the ledger after the run, or they are of two runs. Check the orders again."))
    return "\n".join(lines)
