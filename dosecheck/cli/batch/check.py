"""`dosecheck batch check`: a file of orders.  Exit status 0 when every row was answered, 2 otherwise; --fail-on makes it 1."""

from __future__ import annotations

import gc
import json
import sys
from collections.abc import Callable
from datetime import date

import click

from dosecheck.cli.batch.asked import asked_options
from dosecheck.cli.options import Once, as_of_option, common_options, open_formulary
from dosecheck.cli.text import heading, wrapped
from dosecheck.errors import DosecheckError
from dosecheck.records import NOT_CHECKED, OUTCOMES

_EPILOG = "Exit status: 0 every row was answered, 1 an outcome named by --fail-on came up, 2 a row or the file could not be read."


@click.command("check", epilog=_EPILOG)
@click.argument("orders")
@click.option(
    "--out",
    "results",
    metavar="FILE",
    required=True,
    cls=Once,
    help="where the results go: .csv, .tsv, .jsonl (each also .gz or .zst), .parquet, .arrow, .xlsx, - or a new table of a database",
)
@click.option("--columns", "columns", metavar="MAP.toml", cls=Once, help="your own column names and codes")
@asked_options
@click.option("--spark", "master", metavar="MASTER_URL", cls=Once, help="check Parquet on Spark, such as local[4] or spark://host:7077")
@click.option(
    "--fail-on", metavar="OUTCOME", type=click.Choice(OUTCOMES), multiple=True, help="exit 1 when this outcome comes up; repeatable"
)
@click.option("--refused", metavar="FILE", cls=Once, help="where rows that cannot be read go, as given; else beside the results")
@click.option("--resume", is_flag=True, help="go on with a run that was stopped, if there is one")
@click.option("--ledger", "ledger_to", metavar="FILE.json", cls=Once, help="where the ledger goes when the result is - or a table")
@as_of_option
@common_options
def command(
    orders: str,
    results: str,
    columns: str | None,
    asked: Callable,
    master: str | None,
    fail_on: tuple[str, ...],
    refused: str | None,
    resume: bool,
    ledger_to: str | None,
    as_of: str | None,
    folder: str | None,
    as_json: bool,
) -> int:
    """Check a file of orders: text, packed text, Parquet or Arrow; a folder of them; a workbook; a table of a database."""
    try:
        from dosecheck.batch.colmap import read_map
        from dosecheck.batch.database import told
        from dosecheck.batch.run import run_batch
        from dosecheck.batch.unfinished import begun_on
    except ImportError:
        raise DosecheckError('Files of orders need polars and pyarrow. Install them: pip install "polars>=1.30" "pyarrow>=17"') from None
    gc.enable()
    formulary = open_formulary(folder, as_of)
    mapped = read_map(columns) if columns else None
    if master:
        if refused or resume or ledger_to:
            raise click.UsageError("--refused, --resume and --ledger do not go with --spark. Leave them out.")
        from dosecheck.cli.batch.on_spark import on_spark

        summary = on_spark(master, orders, results, formulary, mapped, asked(), as_json)
        return _status(summary, fail_on)
    today = (begun_on(results) if resume else None) or date.today()
    with _Progress(as_json) as progress:
        summary = run_batch(orders, results, formulary, today, mapped, progress.show, asked(), refused, resume, ledger_to or None)
    click.echo(_as_json(summary) if as_json else summary_text(summary, told(results)), err=results == "-")
    return _status(summary, fail_on)


def _status(summary, fail_on: tuple[str, ...]) -> int:
    if summary.refused or not summary.rows:
        return 2
    return 1 if any(summary.outcomes[name] for name in fail_on) else 0


class _Progress:
    """A bar on a terminal that can show one; silence elsewhere."""

    def __init__(self, quiet: bool) -> None:
        self._bar = None
        if not quiet and sys.stderr.isatty():
            from rich.console import Console
            from rich.progress import MofNCompleteColumn, Progress, SpinnerColumn, TextColumn, TimeElapsedColumn

            self._bar = Progress(
                SpinnerColumn(), TextColumn("orders checked"), MofNCompleteColumn(), TimeElapsedColumn(), console=Console(stderr=True)
            )

    def __enter__(self) -> _Progress:
        if self._bar:
            self._bar.start()
            self._task = self._bar.add_task("orders", total=None)
        return self

    def __exit__(self, *_: object) -> None:
        if self._bar:
            self._bar.stop()

    def show(self, rows: int) -> None:
        if self._bar:
            self._bar.update(self._task, completed=rows)


def counts(summary, results: str) -> list[str]:
    """How many rows came out how; the same for whatever did the checking."""
    if not summary.rows:
        return ["0 orders checked: the file has a header and no rows. This is not an all-clear."]
    width = len(f"{summary.rows:,}")
    lines = [heading(f"{summary.rows:,} orders, each with one result row in {results}")]
    lines += [f"  {summary.outcomes[name]:>{width},}  {name}" for name in OUTCOMES]
    lines.append(f"  {sum(summary.outcomes.values()):>{width},}  in all")
    if summary.outcomes[NOT_CHECKED]:
        lines.append(wrapped(f"Of the not-checked, {summary.refused:,} could not be read; the column sentence says why."))
    return lines


def summary_text(summary, results: str) -> str:
    lines = counts(summary, results)
    if not summary.rows:
        return lines[0]
    if summary.aside:
        lines.append(
            wrapped(f"The rows that could not be read are in {summary.aside.name}, as given: mend them there, and check that file.")
        )
    if summary.gone_on:
        lines.append(wrapped(f"{summary.gone_on:,} of the rows were answered before the run was stopped."))
    ledger = f" Ledger: {summary.ledger.name}; dosecheck batch verify compares." if summary.ledger else ""
    repeats = summary.repeats.lines()
    if repeats:
        lines += [heading("Look at these together (totals across orders were not reckoned)"), *(wrapped(line, "  - ") for line in repeats)]
    figures = f", by the figures of {summary.as_of} whatever an order's own date" if summary.as_of else ""
    lines.append(
        wrapped(
            "A second check of the arithmetic, not a prescription: defer to the prescriber and to local guidance. "
            f"Earlier doses were not told. Formulary fingerprint {summary.fingerprint}{figures}; {summary.slow:,} rows were checked one by one.{ledger}"
        )
    )
    return "\n".join(lines)


def _as_json(summary) -> str:
    return json.dumps(
        {
            "rows": summary.rows,
            "outcomes": summary.outcomes,
            "refused": summary.refused,
            "one_by_one": summary.slow,
            "same_child": summary.repeats.lines(),
            "fingerprint": summary.fingerprint,
            "as_of": str(summary.as_of or ""),
            "ledger": str(summary.ledger or ""),
            "refused_rows": str(summary.aside or ""),
            "caution": "A second check of the arithmetic, not a prescription: defer to the prescriber and to local guidance.",
        },
        indent=2,
    )
