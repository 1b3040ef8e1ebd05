"""`dosecheck formulary replay`: a file of past orders under two formularies."""

from __future__ import annotations

import gc
import json
from datetime import date

import click

from dosecheck.cli.formulary.diff import SIDES
from dosecheck.cli.options import Once
from dosecheck.cli.order import refuse
from dosecheck.cli.text import heading, wrapped
from dosecheck.errors import DosecheckError, FormularyError
from dosecheck.formulary.load import Formulary
from dosecheck.workshop.sides import open_side

_CAUTION = (
    "The same orders under two sets of figures, each by itself: earlier doses were not told. Which answer is right is for the "
    "pharmacist and the sources, and local guidance comes first."
)
_WIDTH = 14


@click.command("replay", epilog=SIDES + "Exit status: 0 no outcome differs, 1 some do, 2 bad input, or a row that could not be read.")
@click.argument("old")
@click.argument("new")
@click.argument("orders")
@click.option("--out", "results", metavar="FILE", cls=Once, help="where the orders that differ go: .csv, .parquet or .jsonl")
@click.option("--columns", "columns", metavar="MAP.toml", cls=Once, help="your own column names and codes")
@click.option("--json", "as_json", is_flag=True, help="answer as JSON")
def command(old: str, new: str, orders: str, results: str | None, columns: str | None, as_json: bool) -> int:
    """A file of past ORDERS under the OLD and the NEW formulary: which outcomes change."""
    try:
        from dosecheck.batch.colmap import read_map
        from dosecheck.workshop.replay import replay
    except ImportError:
        raise DosecheckError('Files of orders need polars and pyarrow. Install them: pip install "polars>=1.30" "pyarrow>=17"') from None
    gc.enable()
    try:
        before, after = open_side(old), open_side(new)
    except FormularyError as error:
        return refuse(error, as_json, "Nothing was replayed.")
    found = replay(orders, before, after, date.today(), read_map(columns) if columns else None, results or None)
    if as_json:
        whole = {"old": before.about(), "new": after.about(), **found.as_dict(), "written": results or "", "caution": _CAUTION}
        click.echo(json.dumps(whole, indent=2, ensure_ascii=False))
    else:
        click.echo(replay_text(found, before, after) + (f"\nWritten: {results}" if results else ""))
    if found.refused or not found.rows:
        return 2
    return 1 if found.changed else 0


def replay_text(found, old: Formulary, new: Formulary) -> str:
    """80 columns: the table of outcomes, then by medicine, then the first orders with both sentences."""
    from dosecheck.workshop.replay import moves_table

    lines = [wrapped(f"{found.rows:,} orders from {old.folder} ({old.fingerprint}) to {new.folder} ({new.fingerprint}):")]
    lines.append(
        wrapped(
            f"{found.changed:,} outcome{' differs' if found.changed == 1 else 's differ'}: {found.looser:,} less strict than before, "
            f"{found.changed - found.looser:,} stricter. {found.codes:,} with the same outcome and other findings."
        )
    )
    lines += [""] + ["  " + f"{row[0]:<{_WIDTH}}" + "".join(f"{cell:>{_WIDTH}}" for cell in row[1:]) for row in moves_table(found.moves)]
    if found.by_medicine:
        lines += ["", heading("By medicine")]
        lines += [wrapped(f"{name}: {_moves(moves)}", "  - ") for name, moves in found.by_medicine.items()]
        lines += ["", heading(f"The first {len(found.shown)} that differ")]
        lines += [line for row in found.shown for line in _order(row)]
    if found.refused:
        lines.append(wrapped(f"{found.refused:,} of the rows could not be read, and are not-checked under both."))
    return "\n".join([*lines, "", wrapped(_CAUTION)])


def _moves(moves: dict[tuple[str, str], int]) -> str:
    return "; ".join(f"{number:,} {old} -> {new}" for (old, new), number in sorted(moves.items(), key=lambda row: -row[1]))


def _order(row) -> list[str]:
    return [
        wrapped(f"row {row.row:,}, {row.medicine} {row.dose}: {row.old} -> {row.new}", "  - "),
        wrapped(row.old_sentence or "no reason against it", "      before: "),
        wrapped(row.new_sentence or "no reason against it", "      after:  "),
    ]
