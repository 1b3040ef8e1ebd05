"""`dosecheck batch charts`: the doses of each child of a file together.  Exit status 0, or 1 by --fail-on, or 2."""

from __future__ import annotations

import gc
import json
from collections.abc import Callable
from datetime import date

import click

from dosecheck.cli.batch.asked import asked_options
from dosecheck.cli.options import Once, as_of_option, common_options, open_formulary
from dosecheck.cli.text import heading, wrapped
from dosecheck.errors import DosecheckError, Fault, InputError, TextError
from dosecheck.records import OUTCOMES
from dosecheck.rules.verdict import CAUTION

_EPILOG = (
    "Exit status: 0 every row is on a chart, 1 a chart came to an outcome named by --fail-on, 2 a row is on no chart, "
    "or the file could not be read."
)


@click.command("charts", epilog=_EPILOG)
@click.argument("orders")
@click.option("--out", "findings", metavar="FILE", required=True, cls=Once, help="where the findings go, in any form of a result")
@click.option("--zone", metavar="NAME", cls=Once, help='of times without an offset, such as "Europe/London"')
@click.option("--columns", "columns", metavar="MAP.toml", cls=Once, help="your own column names and codes")
@asked_options
@click.option("--spark", "master", metavar="MASTER_URL", cls=Once, help="read Parquet on Spark, such as local[4] or spark://host:7077")
@click.option(
    "--fail-on", metavar="OUTCOME", type=click.Choice(OUTCOMES), multiple=True, help="exit 1 when a chart comes to this; repeatable"
)
@as_of_option
@common_options
def command(
    orders: str,
    findings: str,
    zone: str | None,
    columns: str | None,
    asked: Callable,
    master: str | None,
    fail_on: tuple[str, ...],
    as_of: str | None,
    folder: str | None,
    as_json: bool,
) -> int:
    """Add up each child's doses in a file with times.

    Each row of ORDERS is a dose given at the time in its column "given_at".  Any 24 hours of one ingredient, under
    whatever name, product or route, are held against the figures that each dose was read by: total, number, gap.
    """
    try:
        from dosecheck.batch.chart_file import run_charts
        from dosecheck.batch.colmap import read_map
    except ImportError:
        raise DosecheckError('Files of orders need polars and pyarrow. Install them: pip install "polars>=1.30" "pyarrow>=17"') from None
    gc.enable()
    formulary = open_formulary(folder, as_of)
    mapped = read_map(columns) if columns else None
    if master:
        from dosecheck.cli.batch.on_spark import charts_on_spark

        summary = charts_on_spark(master, orders, findings, formulary, _zone(zone), mapped, asked())
    else:
        summary = run_charts(orders, findings, formulary, date.today(), _zone(zone), mapped, asked())
    click.echo(_as_json(summary) if as_json else _text(summary, findings), err=findings == "-")
    if summary.on_no_chart or not summary.rows:
        return 2
    return 1 if any(summary.outcomes[name] for name in fail_on) else 0


def _zone(text: str | None):
    from dosecheck.reading.clock import read_zone

    try:
        return read_zone(text) if text else None
    except TextError as error:
        raise InputError([Fault("zone", error.given, error.why, error.write)]) from None


def _text(summary, findings: str) -> str:
    if not summary.rows:
        return "0 doses: the file has a header and no rows. This is not an all-clear."
    charts, found = sum(summary.outcomes.values()), sum(summary.findings.values())
    width = len(f"{charts:,}")
    lines = [heading(f"{summary.rows:,} doses of {summary.children:,} children, in {charts:,} charts of one ingredient each")]
    lines += [f"  {summary.outcomes[name]:>{width},}  {name}" for name in OUTCOMES]
    lines.append(wrapped(f"{found:,} finding{'s' * (found != 1)}, each a row of {findings}" + (":" if found else ".")))
    lines += [f"  {count:>{width},}  {code}" for code, count in summary.findings.items()]
    if summary.on_no_chart:
        more = " ..." if summary.on_no_chart > len(summary.first) else ""
        rows = ", ".join(f"{row:,}" for row in summary.first) + more
        lines.append(wrapped(f"{summary.on_no_chart:,} on no chart, as no child is named or the row cannot be read: rows {rows}"))
    lines.append(
        wrapped(
            "Only what doses come to together is told here; each dose alone is checked by dosecheck batch. "
            f"Doses before the file's first are not known, and totals over a course are not held. Formulary fingerprint {summary.fingerprint}. {CAUTION}"
        )
    )
    return "\n".join(lines)


def _as_json(summary) -> str:
    return json.dumps({**summary._asdict(), "first": list(summary.first), "caution": CAUTION}, indent=2)
