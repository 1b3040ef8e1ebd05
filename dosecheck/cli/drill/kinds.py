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
    """The kinds of question, each with its three levels.

    Your own questions go into a TOML file, named with --own:

    \b
    [[question]]
    id       = "syrup-1"
    text     = "SM-001 weighs 14.2 kg. Exampol: 15 mg/kg. How many mg?"
    answer   = "213 mg"
    rounding = "1 mg"
    working  = ["15 mg/kg x 14.2 kg = 213 mg"]
    source   = "Invented Handbook, page 3"
    wrong    = [{ answer = "2130 mg", says = "it is ten times the answer" }]

    Only id, text and answer are needed. Without a rounding, or within = "2 mg" in its place, the exact figure is asked
    for. A question of choice has choices = ["give", "ask"], and one of them as its answer.
    """
    if as_json:
        rows = [{"kind": name, "about": kind.about, "levels": list(kind.levels)} for name, kind in KINDS.items()]
        click.echo(json.dumps(rows, indent=2, ensure_ascii=False))
    else:
        for name, kind in KINDS.items():
            click.echo(f"{heading(name)}: {kind.about}")
            click.echo("\n".join(wrapped(text, f"  {level}  ") for level, text in enumerate(kind.levels, 1)))
    return 0
