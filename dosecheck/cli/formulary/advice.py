"""`dosecheck formulary advice`: what each code of advice means, and what to do about it."""

from __future__ import annotations

import json

import click

from dosecheck.cli.text import heading, wrapped
from dosecheck.workshop.advice.pages import ACCEPT, PAGES


@click.command("advice", epilog="Exit status: 0 shown, 2 bad input.")
@click.argument("code", required=False)
@click.option("--json", "as_json", is_flag=True, help="answer as JSON")
def command(code: str | None, as_json: bool) -> int:
    """What a code of advice of `formulary lint` means, why it matters, what to do; all of them when none is named."""
    if code and code not in PAGES:
        raise click.UsageError(f'There is no advice "{code}". "dosecheck formulary advice" lists it all.')
    chosen = {code: PAGES[code]} if code else PAGES
    if as_json:
        click.echo(json.dumps({name: page._asdict() for name, page in chosen.items()}, indent=2, ensure_ascii=False))
        return 0
    for name, page in chosen.items():
        click.echo("\n".join([heading(name), *(wrapped(text, "  ") for text in page)]))
    click.echo(wrapped(ACCEPT))
    return 0
