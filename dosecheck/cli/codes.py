"""`dosecheck codes`: what each finding code means."""

from __future__ import annotations

import json

import click

from dosecheck.cli.text import heading, wrapped
from dosecheck.rules.catalogue import CATALOGUE


@click.command("codes")
@click.argument("code", required=False)
@click.option("--json", "as_json", is_flag=True, help="answer as JSON")
def command(code: str | None, as_json: bool) -> int:
    """What a finding code means; all of them when none is named."""
    if code and code not in CATALOGUE:
        raise click.UsageError(f'There is no code "{code}". "dosecheck codes" lists them all.')
    chosen = {code: CATALOGUE[code]} if code else CATALOGUE
    if as_json:
        click.echo(json.dumps({name: entry.meaning for name, entry in chosen.items()}, indent=2, ensure_ascii=False))
        return 0
    for name, entry in chosen.items():
        click.echo(f"{heading(name)}\n{wrapped(entry.meaning, '  ')}")
    return 0
