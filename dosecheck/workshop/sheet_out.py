"""A formulary as the rows of a spreadsheet: one sheet a kind of entry, one row an entry, every cell text."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator
from typing import Any, NamedTuple

from dosecheck.formulary.folder import fingerprint, parse
from dosecheck.rules.verdict import CAUTION
from dosecheck.workshop.sheet_cells import marked, to_cell
from dosecheck.workshop.sheet_grammar import BAND, READ_ME, Grid, grids

FINGERPRINT = "fingerprint"
Raw = dict[str, Any]

HOW = (
    ("what this is", "The formulary as a spreadsheet, for review and for editing of figures. One row is one entry."),
    ("not for care", "It is not for looking up a dose at the bedside: nothing here checks anything."),
    ("how to bring it back", "dosecheck formulary from-sheet THIS-FILE --into FOLDER --check, and then the same without --check."),
    ("cells", "Every cell is text and must stay text, with its unit: 15 mg/kg. A number or a date that a spreadsheet made is refused."),
    ("opening CSV files", "Open them with every column set to text and the encoding UTF-8, and save them as CSV with commas, UTF-8."),
    ("dates", "Year-month-day as text: 2024-05-01."),
    ("empty cells", "An empty cell means that the key is not there."),
    ("lists", r"Several texts in one cell stand with a bar between them: pain | fever. A bar inside a text is written \|."),
    ("tables", "Cells in square brackets (measure, totals, checked, lines) are written as in the formulary's files."),
    (
        "apostrophe",
        "A text that a spreadsheet could run, or read as a number, has an apostrophe in front. It is taken off on the way back.",
    ),
    ("backslash", r"A backslash is written \\. Tabs, and spaces at an end, are written as \u and four hexadecimal digits."),
    (
        "do not touch",
        "The names of the sheets, the first row of each, the columns file, id and regimen of entries that exist, and this sheet.",
    ),
    (
        "new entries",
        "Write a new row. A later valid_from with the same id supersedes a regimen; give its bands the date in regimen_valid_from.",
    ),
    ("removed rows", "They are told, and the entries are removed only with --remove."),
    ("approvals", "An edited figure loses its approval by itself. Leave the column checked alone: dosecheck formulary approve writes it."),
)


class SheetRows(NamedTuple):
    """One sheet: its name, the names of its columns, and its rows as texts."""

    name: str
    header: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]


def to_rows(files: dict[str, bytes]) -> tuple[SheetRows, ...]:
    """Every sheet of a formulary right by lint, the one to read first before the others.

    Args:
        files: relative name to content, as `folder.read_folder` gives them.
    """
    raws = {name: parse(name, content) for name, content in files.items()}
    return (_read_me(fingerprint(files)), *(_sheet(grid, list(_cells(grid, raws))) for grid in grids().values()))


def _read_me(print_: str) -> SheetRows:
    rows = [*HOW, ("caution", CAUTION), (FINGERPRINT, print_)]
    return SheetRows(READ_ME, ("about", "text"), tuple((about, marked(text)) for about, text in rows))


def _sheet(grid: Grid, rows: list[dict[str, str]]) -> SheetRows:
    """All columns of the grammar: an empty one is where a key is to be added."""
    header = list(grid.fixed)
    for path in grid.columns:
        found = [name for row in rows for name in row if grid.kind_of(name) and name.partition(".")[0] == path[0]]
        header += sorted(set(found)) if path[-1] == "*" else [".".join(path)]
    header += [name for row in rows for name in row]
    header = list(dict.fromkeys(header))
    return SheetRows(grid.name, tuple(header), tuple(tuple(row.get(name, "") for name in header) for row in rows))


def _cells(grid: Grid, raws: dict[str, Raw]) -> Iterator[dict[str, str]]:
    for name, raw in raws.items():
        for fixed, entry in entries_of(grid, name, raw):
            yield {**dict(zip(grid.fixed, map(marked, fixed), strict=True)), **dict(_flat(grid, entry))}


def entries_of(grid: Grid, name: str, raw: Raw) -> Iterator[tuple[tuple[str, ...], Raw]]:
    """(what the fixed columns say, the entry) of every row that a file gives to this sheet."""
    in_place = name == grid.file if grid.file else name.startswith("local/" if grid.name == "local files" else ("medicines/", "local/"))
    if grid.name == "medicines":
        in_place = name.startswith("medicines/")
    if not in_place:
        return
    if grid.place == "head":
        yield (name,), head_of(raw)
    elif grid.place == "table":
        yield from (((key,), table) for key, table in raw.items())
    elif grid.place == "band":
        yield from _bands(name, raw)
    else:
        yield from (((name,)[: len(grid.fixed)], entry) for entry in raw.get(grid.kind, []))


def head_of(raw: Raw) -> Raw:
    """The keys of a medicine's or a local file that are no list of entries."""
    kinds = {grid.kind for grid in grids().values() if grid.place == "entry"}
    return {key: value for key, value in raw.items() if key not in kinds}


def _bands(name: str, raw: Raw) -> Iterator[tuple[tuple[str, ...], Raw]]:
    """The date stands only where an id alone would not say which regimen is meant."""
    regimens = raw.get("regimen", [])
    times = Counter(regimen["id"] for regimen in regimens)
    for regimen in regimens:
        day = str(regimen["valid_from"]) if times[regimen["id"]] > 1 else ""
        yield from (((name, regimen["id"], day), band) for band in regimen.get(BAND, []))


def _flat(grid: Grid, entry: Raw) -> Iterable[tuple[str, str]]:
    for key, value in entry.items():
        if grid.place == "entry" and grid.kind == "regimen" and key == BAND:
            continue
        yield from _flattened(key, value)


def _flattened(name: str, value: Any) -> Iterable[tuple[str, str]]:
    if isinstance(value, dict) and value:
        for key, inner in value.items():
            yield from _flattened(f"{name}.{key}", inner)
    else:
        yield name, to_cell(value)
