"""`dosecheck formulary lint`: every fault of a formulary at once."""

from __future__ import annotations

import json

import click

from dosecheck.cli.text import heading, wrapped
from dosecheck.formulary.folder import find_folder, read_folder


@click.command("lint")
@click.argument("folder", required=False)
@click.option("--json", "as_json", is_flag=True, help="answer as JSON")
def command(folder: str | None, as_json: bool) -> int:
    """Every fault of a formulary at once.  Exit status 0 when there is none, 2 otherwise."""
    from dosecheck.formulary.lint import lint_files

    path, found = find_folder(folder)
    report = lint_files(read_folder(path))
    if as_json:
        click.echo(
            json.dumps(
                {"faults": [f._asdict() for f in report.faults], "advice": [f._asdict() for f in report.advice]},
                indent=2,
                ensure_ascii=False,
            )
        )
        return 2 if report.faults else 0
    for title, rows in (("Faults", report.faults), ("Advice", report.advice)):
        if rows:
            click.echo(heading(title))
            click.echo("\n".join(wrapped(str(row), "  - ") for row in rows))
    names = set(report.index.values())
    click.echo(f"{path} ({found}): {len(names)} medicines, {_count(report.faults, 'fault')}, {_count(report.advice, 'advice line')}.")
    return 2 if report.faults else 0


def _count(rows: list, what: str) -> str:
    return f"{len(rows)} {what}{'s' * (len(rows) != 1)}"
