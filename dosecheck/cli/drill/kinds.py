"""`dosecheck drill kinds`: what can be asked."""

from __future__ import annotations

import json

import click

from dosecheck.cli.drill.options import JSON
from dosecheck.cli.text import heading, wrapped
from dosecheck.drill.kinds import KINDS


@click.command("kinds")
@JSON
def command(as_json: bool) -> int:
    """The kinds of question, each with its three levels."""
    if as_json:
        rows = [{"kind": name, "about": kind.about, "levels": list(kind.levels)} for name, kind in KINDS.items()]
        click.echo(json.dumps(rows, indent=2, ensure_ascii=False))
    else:
        for name, kind in KINDS.items():
            click.echo(f"{heading(name)}: {kind.about}")
            click.echo("\n".join(wrapped(text, f"  {level}  ") for level, text in enumerate(kind.levels, 1)))
    return 0
