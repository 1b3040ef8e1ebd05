"""`dosecheck chart`: one child's orders and doses given.  Exit status as for one order: 0, 1, 3, 4, and 2 for bad input."""

from __future__ import annotations

import json

import click

from dosecheck.chart_file import read_chart
from dosecheck.cli.options import Once, as_of_option, common_options, open_formulary
from dosecheck.cli.order import STATUS, refuse
from dosecheck.errors import FileError, FormularyError, InputError
from dosecheck.rules.chart import check_chart
from dosecheck.tables_read import read_file

_EPILOG = "Exit status: 0 within, 1 query, 3 stop, 4 not-checked, 2 bad input."


@click.command("chart", epilog=_EPILOG)
@click.argument("file", metavar="CHILD.toml|.json")
@click.option("--now", metavar="TIME", cls=Once, help='time of the check, in place of the file\'s: "2026-05-04 14:30+01:00"')
@click.option("--svg", "picture", metavar="FILE", cls=Once, help="write the 24 hours as a picture")
@as_of_option
@common_options
def command(file: str, now: str | None, picture: str | None, folder: str | None, as_of: str | None, as_json: bool) -> int:
    """Check a child's chart: current orders, doses given, any 24 hours, next doses."""
    try:
        verdict = check_chart(read_chart(file, read_file(file), now), open_formulary(folder, as_of))
    except (InputError, FormularyError) as error:
        return refuse(error, as_json, "Nothing was checked: the chart cannot be read.")
    if picture:
        _write(picture, verdict)
    if as_json:
        click.echo(json.dumps(verdict.as_dict(), indent=2, ensure_ascii=False))
    else:
        from dosecheck.cli.chart_text import chart_text

        click.echo(chart_text(verdict))
    return STATUS[verdict.outcome]


def _write(path: str, verdict) -> None:
    from dosecheck.reports.timeline import timeline_svg

    try:
        with open(path, "w", encoding="utf-8") as file:
            file.write(timeline_svg(verdict))
    except OSError as error:
        raise FileError(path, f"It cannot be written: {error.strerror}.", "Name a place that you may write to.") from None
