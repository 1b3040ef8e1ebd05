"""`dosecheck batch columns FILE`: a map of the columns proposed, and how the first rows are understood.  Exit status 0, 1, 2."""

from __future__ import annotations

import json
from collections.abc import Callable

import click

from dosecheck.cli.batch.asked import asked_options
from dosecheck.cli.options import Once, common_options, open_formulary
from dosecheck.cli.text import heading, wrapped
from dosecheck.saving import save

_EPILOG = (
    "Exit status: 0 every value shown was understood, 1 some were not, or a column is to be decided, 2 the file or the map cannot be read."
)


@click.command("columns", epilog=_EPILOG)
@click.argument("orders")
@click.option("--columns", "columns", metavar="MAP.toml", cls=Once, help="look at the file by this map, in place of proposing one")
@click.option("--out", metavar="MAP.toml", cls=Once, help="write the proposal, to be looked at and mended")
@asked_options
@common_options
def command(orders: str, columns: str | None, out: str | None, asked: Callable, folder: str | None, as_json: bool) -> int:
    """What the columns of a file seem to be, and how its first rows are understood."""
    from dosecheck.batch.colmap import read_map
    from dosecheck.batch.files import read_orders
    from dosecheck.batch.propose import look, map_of, map_text, propose

    formulary = open_formulary(folder)
    rows = next(read_orders(orders, asked=asked())).rows
    guesses = [] if columns else propose(rows.columns)
    mapping = read_map(columns) if columns else map_of(guesses)
    mapping.mapped_names(rows.columns, orders)
    seen = look(rows, mapping, formulary)
    if out:
        save(out, map_text(guesses).encode())
    if as_json:
        click.echo(json.dumps(_told(guesses, seen), indent=2, ensure_ascii=False))
    else:
        click.echo(_text(guesses, seen, map_text(guesses) if guesses else "", out))
    undecided = any(not guess.clear for guess in guesses)
    return 1 if undecided or any(value.fault for column in seen for value in column.values) else 0


def _told(guesses, seen) -> dict:
    return {
        "proposed": [{"field": g.field, "columns": [{"column": c, "unit": u} for c, u in g.columns], "clear": g.clear} for g in guesses],
        "seen": [{**column._asdict(), "values": [value._asdict() for value in column.values]} for column in seen],
    }


def _text(guesses, seen, proposal: str, out: str | None) -> str:
    parts = []
    if guesses:
        where = f"written to {out}" if out else "to be written with --out MAP.toml"
        parts.append(
            "\n".join(
                [heading(wrapped(f"A map proposed from the names, {where}")), *(f"  {line}" for line in proposal.rstrip().splitlines())]
            )
        )
    lines = [heading("How the first rows are understood")]
    for column in seen:
        lines.append(wrapped(f"{column.field}, from {_shown(column.column)}" + _blank(column.blank), "  ", "    "))
        lines += [
            wrapped(f"{_shown(value.text)}: " + (value.understood or f"NOT READ. {value.fault}"), "    ", "      ")
            for value in column.values
        ]
    parts.append("\n".join(lines) if seen else "No column is known by its name: write a map, and look again with --columns.")
    parts.append(wrapped("A proposal goes by names alone, and only the first rows were looked at. Check each line, the units above all."))
    return "\n\n".join(parts)


def _blank(rows: int) -> str:
    return f": {rows:,} row{'s tell' if rows > 1 else ' tells'} nothing" if rows else ""


def _shown(text: str) -> str:
    short = text if len(text) <= 60 else text[:60] + " ..."
    return '"' + "".join(c if c.isprintable() else c.encode("unicode_escape").decode() for c in short) + '"'
