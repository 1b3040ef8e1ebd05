"""`dosecheck drill record`: how a learner does, as text, picture or table; and its removal."""

from __future__ import annotations

import json
import sys
from datetime import UTC, datetime

import click

from dosecheck.cli.drill.options import JSON, LEARNER, RECORD, open_record, refuse_drill
from dosecheck.cli.options import Once
from dosecheck.cli.text import heading, wrapped
from dosecheck.drill.progress import KindProgress, Progress, progress_of, to_csv
from dosecheck.drill.record import delete
from dosecheck.errors import InputError
from dosecheck.saving import save

_BAR = 10


@click.command("record", epilog="Exit status: 0 shown or done, 1 not confirmed, 2 bad input. Nothing leaves this machine.")
@LEARNER
@RECORD
@click.option("--export", metavar="FILE.csv", cls=Once, help="write every answer as a table, for a teacher")
@click.option("--svg", metavar="FILE", cls=Once, help="draw the progress")
@click.option("--png", metavar="FILE", cls=Once, help="draw the progress")
@click.option("--delete", "remove", is_flag=True, help="remove the whole record")
@click.option("--yes", is_flag=True, help="do not ask before removing")
@JSON
def command(
    learner: str, path: str | None, export: str | None, svg: str | None, png: str | None, remove: bool, yes: bool, as_json: bool
) -> int:
    """How you do: by kind and by slip, what comes next; or export it, draw it, remove it."""
    try:
        record = open_record(learner, path)
    except InputError as error:
        return refuse_drill(error, as_json)
    if remove:
        record.close()
        return _remove(record.path, yes)
    answers = record.answers()
    for file, form in ((svg, "svg"), (png, "png")):
        if file:
            from dosecheck.drill.progress_plot import plot

            save(file, plot(answers, form))
    if export:
        save(export, to_csv(learner, answers).encode())
    found = progress_of(answers)
    if as_json:
        click.echo(json.dumps({"learner": learner, "record": record.path, **found.as_dict()}, indent=2, ensure_ascii=False))
    else:
        written = [f"Written: {file}" for file in (svg, png, export) if file]
        click.echo("\n".join([progress_text(found, record.path, datetime.now(UTC)), *written]))
    return 0


def _remove(path: str, yes: bool) -> int:
    if not yes:
        if not sys.stdin.isatty():
            click.echo("Not removed: write --yes where nobody can be asked.", err=True)
            return 1
        if not click.confirm(wrapped(f"Remove {path} for good?")):
            click.echo("Not removed.")
            return 1
    click.echo(wrapped(f"Removed: {path}" if delete(path) else f"There was no record: {path}"))
    return 0


def progress_text(found: Progress, path: str, now: datetime) -> str:
    """80 columns: kinds with a bar, then slips."""
    if not found.answers:
        return wrapped(f"No answer yet. Start with: dosecheck drill practise. The record will be {path}")
    lines = [heading(f"{found.answers} answer{'s' * (found.answers != 1)}"), f"  {'kind':<16}{'right without a hint':<24}{'level':<7}next"]
    lines += [f"  {row.kind:<16}{_bar(row):<24}{row.level:<7}{_when(row.due, now)}" for row in found.kinds]
    lines += ["", heading("Slips")]
    lines += [f"  {row.times:>3} times  {row.slip}, last on {row.last:%Y-%m-%d}".replace("  1 times", "  1 time ") for row in found.slips]
    lines += [] if found.slips else ["  none was named"]
    return "\n".join([*lines, "", wrapped(f"Kept on this machine only: {path}")])


def _bar(row: KindProgress) -> str:
    full = row.right * _BAR // row.asked
    return f"[{'#' * full}{'.' * (_BAR - full)}] {row.right} of {row.asked}"


def _when(due: datetime, now: datetime) -> str:
    return "now" if due <= now else f"from {due:%Y-%m-%d}" if due.date() > now.date() else "later today"
