"""One key or one entry of a file edited by tomlkit: what stays keeps its bytes, its comments and the order of its keys."""

from __future__ import annotations

from typing import Any

import tomlkit
from tomlkit.items import AoT, Table

from dosecheck.workshop.sheet_cells import toml_key, toml_of
from dosecheck.workshop.sheet_grammar import BAND

Raw = dict[str, Any]
_LAST = "example"


def item(value: Any) -> Any:
    return tomlkit.value(toml_of(value))


def set_key(table: Any, key: str, old: Any, new: Any) -> None:
    """One key as it should be; rows of bands one by one, so that those that stay keep their comments."""
    if new is None:
        table.remove(key)
    elif isinstance(table.get(key), AoT):
        _set_rows(table, key, old, new)
    elif key == BAND:
        for row in new:
            append(table, key, row)
    else:
        table[key] = item(new)


def _set_rows(table: Any, key: str, old: list[Raw], new: list[Raw]) -> None:
    for at, (was, now) in enumerate(zip(old, new, strict=False)):
        for one in [*was, *(one for one in now if one not in was)]:
            if was.get(one) != now.get(one):
                set_key(table[key][at], one, was.get(one), now.get(one))
    for row in new[len(old) :]:
        append(table, key, row)
    for at in range(len(old) - 1, len(new) - 1, -1):
        del table[key][at]


def append(where: Any, kind: str, entry: Raw) -> None:
    """One more entry of its kind, with a free line before it; examples stay the last of a file, as its readers want."""
    examples = where.get(_LAST) if kind not in where else None
    if examples is not None:
        where.remove(_LAST)
    if kind not in where:
        spaced = where.as_string().endswith("\n\n")
        where.append(kind, tomlkit.aot())
    else:
        spaced = bool(where[kind]) and where[kind][-1].as_string().endswith("\n\n")
    table = table_of(entry)
    if spaced:  # the free line before the next heading stays the last one
        table.trivia.indent = ""
        (table[BAND][-1] if BAND in table else table).add(tomlkit.nl())
    where[kind].append(table)
    if examples is not None:
        where.append(_LAST, examples)


def table_of(entry: Raw) -> Table:
    """An entry as a table in the style of the files, its signs of equality in one column."""
    table = tomlkit.table()
    table.trivia.indent = "\n"
    width = max((len(toml_key(key)) for key in entry if key != BAND), default=0)
    for key, value in entry.items():
        if key == BAND:
            continue
        line = tomlkit.parse(f"{toml_key(key):<{width}} = {toml_of(value)}\n")
        for name, item in line.body:
            table.append(name, item)
    for row in entry.get(BAND, []):
        append(table, BAND, row)
    return table
