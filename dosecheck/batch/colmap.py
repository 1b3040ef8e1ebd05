"""`--columns MAP.toml`: a hospital's own column names and codes.

[columns]
medicine = "drug_name"
weight   = { column = "weight_kg", unit = "kg" }    # the unit that the header stands for

[codes.route]
"PO" = "oral"

[codes.every]
"TDS" = "3 times a day"
"""

from __future__ import annotations

import tomllib
from pathlib import Path
from typing import Any

import polars as pl

from dosecheck.batch.columns import FIELDS
from dosecheck.errors import FileError

_KNOWN = (*FIELDS, "order_id", "child_id")


class ColumnMap:
    """Names and codes of one file of orders, checked when it is made.

    Args:
        columns: our name to theirs, and the unit to add, if any.
        codes: our name to {their code: our text}.
    """

    def __init__(self, columns: dict[str, tuple[str, str]], codes: dict[str, dict[str, str]]) -> None:
        self.columns, self.codes = columns, codes

    def mapped_names(self, names: list[str], path: str) -> list[str]:
        """The names after mapping.

        Raises:
            FileError: a mapped column is not in the file, or two columns would have one name.
        """
        missing = [theirs for theirs, _ in self.columns.values() if theirs not in names]
        if missing:
            raise FileError(path, f'The map names the column "{missing[0]}", which is not in the file.', f"It has: {', '.join(names)}.")
        ours = {theirs: name for name, (theirs, _) in self.columns.items()}
        twice = [name for name in self.columns if name in names and name not in ours]
        if twice:
            raise FileError(
                path, f'The file has a column "{twice[0]}" of its own, and the map fills it from another.', "Leave one of them out."
            )
        return [ours.get(name, name) for name in names]

    def apply(self, rows: pl.DataFrame) -> pl.DataFrame:
        """The rows with our names, units added and codes written out."""
        renamed = rows.rename({theirs: ours for ours, (theirs, _) in self.columns.items()})
        units = [
            pl.when(pl.col(ours).is_not_null()).then(pl.col(ours) + f" {unit}").alias(ours)
            for ours, (_, unit) in self.columns.items()
            if unit
        ]
        codes = [pl.col(name).replace(table) for name, table in self.codes.items() if name in renamed.columns]
        return renamed.with_columns(codes).with_columns(units)


def read_map(path: str | Path) -> ColumnMap:
    """Reads and checks the map; every fault is one plain sentence.

    Raises:
        FileError: the file is missing or is no such map.
    """
    try:
        raw = tomllib.loads(Path(path).read_text("utf-8"), parse_float=str)
    except OSError as error:
        raise FileError(str(path), f"It cannot be read: {error.strerror}.", "Name a map of columns.") from None
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as error:
        raise FileError(str(path), f"It is not well-formed TOML: {error}.", "Look at that line.") from None
    unknown = set(raw) - {"columns", "codes"}
    if unknown:
        raise FileError(str(path), f'It has an unknown table "{sorted(unknown)[0]}".', "A map has [columns] and [codes.NAME].")
    columns = {name: _column(path, name, value) for name, value in _table(path, raw.get("columns", {})).items()}
    codes = {name: _codes(path, name, table) for name, table in _table(path, raw.get("codes", {})).items()}
    return ColumnMap(columns, codes)


def _table(path: str | Path, value: Any) -> dict[str, Any]:
    if not isinstance(value, dict):
        raise FileError(
            str(path), "[columns] and [codes.NAME] are tables.", 'Write [columns] on a line of its own, then medicine = "drug_name".'
        )
    return value


def _column(path: str | Path, name: str, value: Any) -> tuple[str, str]:
    if name not in _KNOWN:
        raise FileError(str(path), f'"{name}" is no column that dosecheck reads.', f"It reads: {', '.join(_KNOWN)}.")
    if isinstance(value, str):
        return value, ""
    if (
        isinstance(value, dict)
        and set(value) <= {"column", "unit"}
        and all(isinstance(v, str) for v in value.values())
        and "column" in value
    ):
        return value["column"], value.get("unit", "")
    raise FileError(
        str(path),
        f'"{name}" is neither a column\'s name nor a table of column and unit.',
        'Write it as { column = "weight_kg", unit = "kg" }.',
    )


def _codes(path: str | Path, name: str, table: Any) -> dict[str, str]:
    if name not in FIELDS:
        raise FileError(str(path), f'"{name}" is no column that dosecheck reads.', f"It reads: {', '.join(FIELDS)}.")
    if not isinstance(table, dict) or not all(isinstance(text, str) for text in table.values()):
        raise FileError(str(path), f"The codes of {name} are not texts.", 'Write each as "PO" = "oral".')
    return table
