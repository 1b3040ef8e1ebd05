"""`--columns MAP.toml`: a hospital's own column names and codes, linted before a row is read.

[columns]
medicine = "drug_name"
weight   = { column = "weight_kg", unit = "kg", decimal = "," }    # the unit that the header stands for; 14,2 is 14.2
born     = { column = "Geb.-Datum", date = "dd.mm.yyyy" }          # how its dates are written

[codes.route]
"PO" = "oral"

[codes.every]
"TDS" = "3 times a day"

[constants]
route = "oral"                                      # of every row: the file has no such column
"""

from __future__ import annotations

import tomllib
from collections.abc import Iterator, Sequence
from difflib import get_close_matches
from functools import partial
from pathlib import Path
from typing import Any

import polars as pl

from dosecheck.batch.coded import each_text
from dosecheck.batch.columns import FIELDS
from dosecheck.batch.written import plainly, written_fault
from dosecheck.errors import FileError, InputError
from dosecheck.records import read_field

KNOWN = (*FIELDS, "order_id", "child_id", "given_at")
_TABLES = ("columns", "codes", "constants")
_AMOUNTS = ("weight", "dose", "age", "height", "gestation", "creatinine", "every", "over", "made_up_to", "course")
_KEYS = ("column", "unit", "date", "decimal")
_TRIED = ("1", "2", "30")  # numbers with which a unit is tried: a field may ask for a whole one, or for more than one


class ColumnMap:
    """Names, codes and constants of one file of orders.

    Args:
        columns: our name to theirs, and the unit to add, if any.
        codes: our name to {their code: our text}.
        constants: our name to the text that every row has.
        written: our name to the way in which its dates or decimals are written (`written.py`).
    """

    def __init__(
        self,
        columns: dict[str, tuple[str, str]],
        codes: dict[str, dict[str, str]],
        constants: dict[str, str] | None = None,
        written: dict[str, str] | None = None,
    ) -> None:
        self.columns, self.codes, self.constants, self.written = columns, codes, constants or {}, written or {}

    def to_read(self, known: Sequence[str]) -> list[str]:
        """Of the names that we know, those that a file may hold beside this map, and the file's own names that the map reads."""
        filled = {*self.columns, *self.constants}
        return [*(name for name in known if name not in filled), *(theirs for theirs, _ in self.columns.values())]

    def mapped_names(self, names: list[str], path: str) -> list[str]:
        """The names after mapping.

        Raises:
            FileError: a mapped column is not in the file, two columns would have one name, or a field has codes and no column.
        """
        missing = [theirs for theirs, _ in self.columns.values() if theirs not in names]
        if missing:
            raise FileError(path, f'The map names the column "{missing[0]}", which is not in the file.', f"It has: {', '.join(names)}.")
        ours = {theirs: name for name, (theirs, _) in self.columns.items()}
        twice = [name for name in (*self.columns, *self.constants) if name in names and name not in ours]
        if twice:
            raise FileError(
                path, f'The file has a column "{twice[0]}" of its own, and the map fills it otherwise.', "Leave one of them out."
            )
        mapped = [*(ours.get(name, name) for name in names), *self.constants]
        idle = [name for name in self.codes if name not in mapped]
        if idle:
            raise FileError(path, f'The map has codes for "{idle[0]}", and the file has no such column.', "Map the column too.")
        return mapped

    def apply(self, rows: pl.DataFrame) -> pl.DataFrame:
        """The rows with our names, dates and decimals written plainly, units added and codes written out."""
        renamed = rows.rename({theirs: ours for ours, (theirs, _) in self.columns.items()})
        units = {ours: unit for ours, (_, unit) in self.columns.items() if unit}
        changed = [
            each_text(renamed[name], partial(_changed, self.codes.get(name, {}), self.written.get(name, ""), units.get(name, "")))
            for name in dict.fromkeys((*self.codes, *self.written, *units))
            if name in renamed.columns
        ]
        return renamed.with_columns(changed).with_columns(pl.lit(text).alias(name) for name, text in self.constants.items())


def _changed(codes: dict[str, str], spelling: str, unit: str, texts: pl.Series) -> pl.Series:
    plain = plainly(texts, spelling) if spelling else texts
    plain = texts.replace_strict(codes, default=plain) if codes else plain  # what a code stands for is plain already
    return plain + f" {unit}" if unit else plain


def read_map(path: str | Path) -> ColumnMap:
    """Reads and lints the map.

    Raises:
        FileError: the file is missing or is no such map; every fault at once, each with its line.
    """
    try:
        content = Path(path).read_bytes()
        raw = tomllib.loads(content.decode("utf-8"), parse_float=str)
    except OSError as error:
        raise FileError(str(path), f"It cannot be read: {error.strerror}.", "Name a map of columns.") from None
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as error:
        raise FileError(str(path), f"It is not well-formed TOML: {error}.", "Look at that line.") from None
    faults = [f"{_line(content, place)}{why}" for place, why in _faults(raw)]
    if faults:
        raise FileError(str(path), "\n  - ".join(["It is no map of columns.", *faults]))
    tables = {name: {"column": value} if isinstance(value, str) else value for name, value in raw.get("columns", {}).items()}
    columns = {name: (table["column"], table.get("unit", "")) for name, table in tables.items()}
    written = {name: table[key] for name, table in tables.items() for key in ("date", "decimal") if key in table}
    return ColumnMap(columns, raw.get("codes", {}), raw.get("constants", {}), written)


Place = tuple[str, ...]


def _line(content: bytes, place: Place) -> str:
    from dosecheck.formulary.placed import line_and_column  # loaded only where something is wrong, for it takes a while

    line, _ = line_and_column(content, place)
    return f"line {line}, {'.'.join(place)}: " if line else f"{'.'.join(place)}: "


def _faults(raw: dict[str, Any]) -> Iterator[tuple[Place, str]]:
    for name, value in raw.items():
        if name not in _TABLES:
            yield (name,), f"There is no such table. A map has [columns], [codes.NAME] and [constants].{_near(name, _TABLES)}"
        elif not isinstance(value, dict):
            yield (name,), f'It is not a table. Write [{name}] on a line of its own, then medicine = "drug_name".'
    tables = {name: raw[name] for name in _TABLES if isinstance(raw.get(name), dict)}
    yield from _column_faults(tables.get("columns", {}))
    yield from _code_faults(tables.get("codes", {}))
    yield from _constant_faults(tables.get("constants", {}), tables.get("columns", {}))


def _near(name: str, known: tuple[str, ...]) -> str:
    near = get_close_matches(name[:60], known, n=1, cutoff=0.6)
    return f' Did you mean "{near[0]}"?' if near else ""


def _unknown(name: str) -> str:
    return f"dosecheck reads no column of this name.{_near(name, KNOWN) or ' It reads: ' + ', '.join(KNOWN) + '.'}"


def _column_faults(columns: dict[str, Any]) -> Iterator[tuple[Place, str]]:
    seen: dict[str, str] = {}
    for name, value in columns.items():
        place = ("columns", name)
        if name not in KNOWN:
            yield place, _unknown(name)
            continue
        table = {"column": value} if isinstance(value, str) else value
        if not (
            isinstance(table, dict) and set(table) <= set(_KEYS) and "column" in table and all(isinstance(v, str) for v in table.values())
        ):
            write = 'Write { column = "weight_kg", unit = "kg" }.'
            yield place, f"It is neither a column's name nor a table of column, unit, date and decimal, each a text. {write}"
            continue
        if table["column"] in seen:
            yield place, f'The column "{table["column"]}" is "{seen[table["column"]]}" already. One column fills one field.'
        seen.setdefault(table["column"], name)
        yield from ((place, why) for why in _key_faults(name, table) if why)


def _key_faults(name: str, table: dict[str, str]) -> Iterator[str]:
    """What is wrong with each key beside `column`, "" for nothing."""
    if "unit" in table:
        yield unit_fault(name, table["unit"])
    yield from (written_fault(name, key, table[key]) for key in ("date", "decimal") if key in table)


def unit_fault(name: str, unit: str) -> str:
    """Why the field cannot have that unit, or ""."""
    faults = [_reading_fault(name, f"{number} {unit}") for number in _TRIED] if name in _AMOUNTS else ["It takes no unit."]
    return "" if "" in faults else f'The unit "{unit}" does not fit: {faults[0]}'


def _reading_fault(name: str, text: str) -> str:
    """What the strict reader says against a text of that field, or ""."""
    try:
        read_field("for_" if name == "for" else name, text)
    except InputError as error:
        return f"{error.faults[0].why} {error.faults[0].write}".rstrip()
    return ""


def _code_faults(codes: dict[str, Any]) -> Iterator[tuple[Place, str]]:
    for name, table in codes.items():
        if name not in FIELDS:
            yield ("codes", name), _unknown(name)
        elif not isinstance(table, dict):
            yield ("codes", name), f'It is not a table. Write [codes.{name}] on a line of its own, then "PO" = "oral".'
        else:
            yield from (((("codes", name, code)), why) for code, text in table.items() if (why := _text_fault(name, text)))


def _text_fault(name: str, text: Any) -> str:
    if not isinstance(text, str):
        return 'It is no text. Write it in quotes, such as "PO" = "oral".'
    why = _reading_fault(name, text)
    return f'"{text}" cannot be read as {name}: {why}' if why else ""


def _constant_faults(constants: dict[str, Any], columns: dict[str, Any]) -> Iterator[tuple[Place, str]]:
    for name, text in constants.items():
        why = _unknown(name) if name not in FIELDS else _text_fault(name, text)
        if why or name in columns:
            yield ("constants", name), why or "The map fills it from a column too. Leave one of the two out."
