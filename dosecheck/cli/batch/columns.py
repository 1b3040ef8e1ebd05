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
    "Exit status: 0 every value looked at was understood, 1 some were not, or a column is missing or to be decided, "
    "2 the file or the map cannot be read."
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
    from dosecheck.batch.contents import Contents
    from dosecheck.batch.files import read_orders
    from dosecheck.batch.propose import NEEDED, Proposal, map_of, map_text, propose_from
    from dosecheck.batch.understood import look, rows_of

    formulary = open_formulary(folder)
    rows = next(read_orders(orders, asked=asked())).rows
    proposal = Proposal() if columns else propose_from(rows, Contents(formulary))
    mapping = read_map(columns) if columns else map_of(proposal.guesses)
    names = mapping.mapped_names(rows.columns, orders)
    missing = [field for field in NEEDED if field not in names]
    seen, looked_at = look(rows, mapping, formulary), len(rows_of(rows))
    if out:
        save(out, map_text(proposal, seen).encode())
    if as_json:
        click.echo(json.dumps(_told(proposal, seen, looked_at, missing), indent=2, ensure_ascii=False))
    else:
        useful = missing or proposal.guesses or proposal.dates or any(column.codes for column in seen)
        text = map_text(proposal, seen) if useful and not columns else ""
        click.echo(_text(text, seen, looked_at, missing, out))
    undecided = missing or any(not guess.clear for guess in proposal.guesses)
    return 1 if undecided or any(column.not_read for column in seen) else 0


def _told(proposal, seen, looked_at: int, missing: list[str]) -> dict:
    guesses = [
        {"field": g.field, "columns": [_column(c, u, dict(g.written).get(c)) for c, u in g.columns], "clear": g.clear, "by": g.by}
        for g in proposal.guesses
    ]
    return {
        "proposed": guesses,
        "dates_to_decide": [name for name, _ in proposal.dates],
        "not_known": [name for name, _ in proposal.rest],
        "missing": missing,
        "rows_looked_at": looked_at,
        "seen": [{**column._asdict(), "values": [value._asdict() for value in column.values]} for column in seen],
    }


def _column(name: str, unit: str, way) -> dict:
    """With the ways in which its dates or decimals may be written, where that is not the plain one."""
    return {"column": name, "unit": unit, **({way.key: list(way.spellings)} if way else {})}


def _text(proposal: str, seen, looked_at: int, missing: list[str], out: str | None) -> str:
    parts = []
    if proposal:
        where = f"written to {out}" if out else "to be written with --out MAP.toml"
        title = heading(wrapped(f"A map proposed from names and first rows, {where}"))
        parts.append("\n".join([title, *(f"  {line}".rstrip() for line in proposal.rstrip().splitlines())]))
    lines = [heading(f"How the first {looked_at:,} rows are understood")]
    for column in seen:
        lines += _column_lines(column)
    parts.append("\n".join(lines) if seen else "No column is known: write a map, and look again with --columns.")
    if missing:
        parts.append(wrapped(f"No file can be checked without {' and '.join(missing)}: name the column in the map."))
    parts.append(wrapped("A proposal is no more than that, and only the first rows were looked at. Check each line, the units above all."))
    return "\n\n".join(parts)


def _column_lines(column) -> list[str]:
    lines = [wrapped(f"{column.field}, from {_shown(column.column)}" + _blank(column.blank), "  ", "    ")]
    lines += [
        wrapped(f"{_shown(value.text)}: " + (value.understood or f"NOT READ. {value.fault}"), "    ", "      ") for value in column.values
    ]
    more = column.not_read - sum(bool(value.fault) for value in column.values)
    return [*lines, f"    and {more:,} more texts that are NOT READ"] if more else lines


def _blank(rows: int) -> str:
    return f": {rows:,} row{'s tell' if rows > 1 else ' tells'} nothing" if rows else ""


def _shown(text: str) -> str:
    short = text if len(text) <= 60 else text[:60] + " ..."
    return '"' + "".join(c if c.isprintable() else c.encode("unicode_escape").decode() for c in short) + '"'
