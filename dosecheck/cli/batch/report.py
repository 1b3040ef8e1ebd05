"""`dosecheck batch report`: what a file of results comes to.  Exit status 0 written or shown, 2 bad input or nothing written."""

from __future__ import annotations

import json
from pathlib import Path
from typing import TYPE_CHECKING

import click

from dosecheck.cli.options import Once, common_options, day_of, open_formulary
from dosecheck.cli.order import refuse
from dosecheck.cli.text import heading, wrapped
from dosecheck.errors import DosecheckError, FileError, FormularyError, InputError
from dosecheck.records import OUTCOMES, STOP
from dosecheck.saving import save

if TYPE_CHECKING:
    from dosecheck.reports.orders.report import Report

_FORMS = (".html", ".pdf", ".xlsx")
_SHOWN = 10
_MOST_IN_PDF = 1_000


@click.command("report", epilog="Exit status: 0 written or shown, 2 bad input, or nothing written.")
@click.argument("results")
@click.option("--out", metavar="FILE", cls=Once, help="the report to write: a .html, .pdf or .xlsx file; left out: a few lines here")
@click.option("--before", metavar="RESULTS", cls=Once, help="an earlier result, to compare with")
@click.option("--columns", "columns", metavar="MAP.toml", cls=Once, help="the map that the orders were checked with")
@click.option("--by", metavar="COLUMN", multiple=True, help="a column to count by; repeatable; ward and prescriber when left out")
@click.option(
    "--first",
    metavar="N",
    type=click.IntRange(0, 10_000),
    cls=Once,
    help="how many orders to look at first; 50 when left out, 1,000 at most in a PDF",
)
@click.option("--charts", metavar="FINDINGS", cls=Once, help="what dosecheck batch charts found, for a section of its own")
@click.option("--on", metavar="DATE", cls=Once, help='the date printed on it, "2026-05-04"; none when left out')
@common_options
def command(
    results: str,
    out: str | None,
    before: str | None,
    columns: str | None,
    by: tuple[str, ...],
    first: int | tuple[()],
    charts: str | None,
    on: str | None,
    folder: str | None,
    as_json: bool,
) -> int:
    """What a file of results comes to: a page, a PDF or a workbook.

    Counts that add up, the orders to look at first, what was not checked and why, doses against their range, flags per
    100 orders by medicine, ward and prescriber, and what changed since an earlier result. The same results give the same bytes.
    """
    try:
        from dosecheck.batch.colmap import read_map
        from dosecheck.reports.orders.report import FIRST, make_report
    except ImportError:
        raise DosecheckError('Files of orders need polars and pyarrow. Install them: pip install "polars>=1.30" "pyarrow>=17"') from None
    form = Path(out).suffix.lower() if out else ""
    if out and form not in _FORMS:
        raise FileError(out, f'A report cannot end in "{form}".', "Use a .html, a .pdf or a .xlsx file.")
    most = FIRST if first == () else first
    if form == ".pdf" and most > _MOST_IN_PDF:
        why = f"A PDF names {_MOST_IN_PDF:,} orders at most: more take minutes, and memory, to lay out."
        raise FileError(out, why, "Take a smaller --first, or write a .html or a .xlsx file.")
    try:
        day = day_of(on, "date of the report") if on else None
        mapped = read_map(columns) if columns else None
        report = make_report(results, open_formulary(folder), mapped, by, most, before or None, day, charts or None)
    except (InputError, FormularyError) as error:
        return refuse(error, as_json, "No report was made.")
    if out:
        save(out, _content(report, form))
    click.echo(_as_json(report, out) if as_json else _text(report, out))
    return 0


def _as_json(report: Report, out: str | None) -> str:
    from dosecheck.reports.orders.as_json import report_dict

    return json.dumps({**report_dict(report), "written": out or ""}, indent=2, ensure_ascii=False)


def _content(report: Report, form: str) -> bytes:
    if form == ".xlsx":
        from dosecheck.reports.orders.workbook import to_xlsx

        return to_xlsx(report)
    from dosecheck.reports.orders.page import to_html

    html = to_html(report)
    if form == ".html":
        return html.encode()
    from dosecheck.printing.pdf import to_pdf

    return to_pdf(html)


def _text(report: Report, out: str | None) -> str:
    width = len(f"{report.rows:,}")
    lines = [wrapped(f"Written: {out}.")] if out else []
    lines += [heading(f"{report.rows:,} orders")] if report.rows else ["0 orders. This is not an all-clear."]
    lines += [f"  {report.outcomes[name]:>{width},}  {name}" for name in OUTCOMES]
    if report.rows:
        lines.append(wrapped(f"{report.flags.per_100} flags per 100 orders (95 % interval {report.flags.interval}): queries and stops."))
    lines += [wrapped(notice) for notice in report.notices]
    if len(report.tables) == 1:
        lines.append(wrapped("Counted by medicine alone: no column is named ward or prescriber. --by COLUMN counts by another."))
    lines += _first(report) if not out else []
    if report.two_runs:
        runs = report.two_runs
        lines.append(
            wrapped(f"Against {runs.before}: {runs.changed:,} outcomes changed, {runs.new.count:,} orders new, {runs.gone.count:,} gone.")
        )
    if report.charts:
        found = report.charts.outcomes
        lines.append(wrapped(f"Charts in {report.charts.name}: {found.total():,} findings, {found[STOP]:,} of them a stop."))
    lines.append(wrapped(report.caution))
    return "\n".join(lines)


def _first(report: Report) -> list[str]:
    shown = report.first[:_SHOWN]
    if not shown:
        return []
    more = f" ({len(shown)} of {report.flagged:,})" if len(shown) < report.flagged else ""
    lines = [heading(f"Look at these first{more}")]
    for each in shown:
        times = f", {each.times_words} the most" if each.times not in (None, 1000) else ""
        lines.append(wrapped(f"{each.outcome.upper()} row {each.row:,}: {each.order}{times}", "  - "))
    return lines
