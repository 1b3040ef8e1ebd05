"""`dosecheck formulary lint`: every fault of a formulary at once, and what else is worth a look."""

from __future__ import annotations

import json
from datetime import date

import click

from dosecheck.cli.text import heading, wrapped
from dosecheck.formulary.folder import find_folder, read_folder
from dosecheck.formulary.lint import LintReport, lint_files
from dosecheck.formulary.load import Formulary
from dosecheck.workshop.advice.advise import Advised, advise
from dosecheck.workshop.examples import failing

_EPILOG = "Exit status: 0 no fault, 2 faults; advice does not change it. Each code of advice: dosecheck formulary advice CODE."


@click.command("lint", epilog=_EPILOG)
@click.argument("folder", required=False)
@click.option("--json", "as_json", is_flag=True, help="answer as JSON")
def command(folder: str | None, as_json: bool) -> int:
    """Every fault of a formulary at once, an example that does not come out as printed among them; of one without fault, what a pharmacist
    should have looked at."""
    path, found = find_folder(folder)
    report, advised = lint_files(read_folder(path)), Advised((), ())
    if not report.faults:
        formulary = Formulary(path)
        report = report._replace(faults=failing(formulary))
        advised = advised if report.faults else advise(formulary, date.today())
    click.echo(_as_json(report, advised) if as_json else _text(report, advised, f"{path} ({found})"))
    return 2 if report.faults else 0


def _as_json(report: LintReport, advised: Advised) -> str:
    whole = {
        "faults": [fault._asdict() for fault in report.faults],
        "advice": [line._asdict() for line in advised.open],
        "accepted": [{**line._asdict(), "reason": reason} for line, reason in advised.accepted],
    }
    return json.dumps(whole, indent=2, ensure_ascii=False)


def _text(report: LintReport, advised: Advised, where: str) -> str:
    lines = []
    for title, rows in (("Faults", [fault.located for fault in report.faults]), ("Advice", [line.located for line in advised.open])):
        lines += [heading(title), *(wrapped(row, "  - ") for row in rows)] if rows else []
    advice = f"{_count(advised.open, 'advice line')}, {len(advised.accepted)} accepted in accepted.toml"
    counts = [
        f"{len(set(report.index.values()))} medicines",
        _count(report.faults, "fault"),
        "advice only without faults" if report.faults else advice,
    ]
    return "\n".join([*lines, wrapped(f"{where}: {', '.join(counts)}.")])


def _count(rows: list | tuple, what: str) -> str:
    return f"{len(rows)} {what}{'s' * (len(rows) != 1)}"
