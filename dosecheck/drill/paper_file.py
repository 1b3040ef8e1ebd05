"""A teacher's plan of a paper: a small TOML file.

    title      = "Weights and volumes"
    calculator = false
    minutes    = 30
    pass_mark  = "80 %"
    seed       = 17                    # left out: 1; --seed comes before it

    [[row]]                            # questions made from the formulary
    kind     = "dose-by-weight"        # as `dosecheck drill kinds` lists them
    level    = 2
    how_many = 3

    [[row]]                            # or a teacher's own, from a file beside this one
    own = "own.toml"
    ids = ["syrup-1", "syrup-2"]       # left out: all of the file

The questions stand in the order of the rows.  The file is read strictly, and every fault told at once.
"""

from __future__ import annotations

import json
from collections.abc import Iterator
from dataclasses import dataclass
from fractions import Fraction
from hashlib import sha256
from pathlib import Path
from typing import Any, NamedTuple

from dosecheck.drill.kinds import KINDS
from dosecheck.drill.make import MOST_SEED
from dosecheck.drill.own import read_own
from dosecheck.drill.question import LEVELS, Question
from dosecheck.errors import Fault, FileError, InputError, TextError
from dosecheck.reading.figures import read_percent
from dosecheck.tables_read import read_file, tables_of, unknown_keys

MOST_QUESTIONS, MOST_MINUTES, LONGEST_TITLE = 60, 600, 80
_KEYS = ("title", "calculator", "minutes", "pass_mark", "seed", "row")
_MADE, _OWN = ("kind", "level", "how_many"), ("own", "ids")


class Row(NamedTuple):
    """So many questions of a kind and level, or the teacher's `own`."""

    kind: str = ""
    level: int = 0
    how_many: int = 0
    own: tuple[Question, ...] = ()


@dataclass(frozen=True)
class Plan:
    """pass_mark: the share of the questions that must be right.  digest: of all that the questions hang on, the seed aside."""

    title: str
    calculator: bool
    minutes: int
    pass_mark: Fraction
    seed: int
    rows: tuple[Row, ...]

    @property
    def places(self) -> tuple[tuple[Row, Question | None], ...]:
        """For each question of the paper its row, and the teacher's own question where it is one."""
        return tuple((row, own) for row in self.rows for own in (row.own or (None,) * row.how_many))

    @property
    def questions(self) -> int:
        return len(self.places)

    @property
    def needed(self) -> int:
        """The fewest right answers that reach the pass mark."""
        return -(-self.pass_mark.numerator * self.questions // self.pass_mark.denominator)

    @property
    def digest(self) -> str:
        """Four figures that change with the rows and with the teacher's own questions."""
        told = [[row.kind, row.level, row.how_many, [[q.id, q.text, q.ask, q.shown_answer] for q in row.own]] for row in self.rows]
        return sha256(json.dumps(told).encode()).hexdigest()[:4]


def read_plan(path: str) -> Plan:
    """The plan of a file.

    Raises:
        FileError: it cannot be read.
        InputError: every fault of it, at once.
    """
    content = read_file(path)
    if Path(path).suffix.lower() != ".toml":
        raise FileError(path, "A paper is planned in a TOML file.", "Name a file that ends in .toml.")
    table = tables_of(path, content)
    faults = list(_faults(table))
    pass_mark = _pass_mark(table, faults)
    rows = _rows(table.get("row"), Path(path).parent, faults)
    plan = None
    if not faults:
        plan = Plan(table["title"].strip(), table["calculator"], table["minutes"], pass_mark, table.get("seed", 1), rows)
        if plan.questions > MOST_QUESTIONS:
            faults.append(Fault("row", "", f"The paper has {plan.questions} questions.", f"At most {MOST_QUESTIONS} make a paper."))
    if faults:
        raise InputError(faults)
    return plan


def _faults(table: dict[str, Any]) -> Iterator[Fault]:
    """Of the keys above the rows."""
    yield from unknown_keys(table, _KEYS, "")
    title = table.get("title")
    if not isinstance(title, str) or not 0 < len(title.strip()) <= LONGEST_TITLE or not title.isprintable():
        yield Fault("title", "", f"It is no line of 1 to {LONGEST_TITLE} letters.", 'Write title = "Weights and volumes".')
    if not isinstance(table.get("calculator"), bool):
        yield Fault("calculator", "", "It must be said whether one is allowed.", "Write calculator = true, or false.")
    yield from _whole(table.get("minutes"), "minutes", 1, MOST_MINUTES, "minutes = 30")
    yield from _whole(table.get("seed", 1), "seed", 0, MOST_SEED, "seed = 17, or leave it out")


def _pass_mark(table: dict[str, Any], faults: list[Fault]) -> Fraction:
    text = table.get("pass_mark")
    try:
        if isinstance(text, str):
            return read_percent(text, "pass mark", "80 %")
        faults.append(Fault("pass_mark", "", "It is missing, or not in quotes.", 'Write pass_mark = "80 %".'))
    except TextError as error:
        faults.append(Fault("pass_mark", error.given, error.why, error.write))
    return Fraction(1)


def _rows(tables: Any, folder: Path, faults: list[Fault]) -> tuple[Row, ...]:
    if not isinstance(tables, list) or not tables or not all(isinstance(table, dict) for table in tables):
        faults.append(Fault("row", "", "There is no row of questions.", "Each starts with [[row]]."))
        return ()
    rows = []
    for number, table in enumerate(tables, 1):
        place = f"row {number}, "
        found = list(_of_own(table, place) if "own" in table else _of_made(table, place))
        faults += found
        if not found:
            rows.append(_own_row(table, folder, place, faults) if "own" in table else Row(**table))
    ids = [asked.id for row in rows for asked in row.own]
    for twice in dict.fromkeys(name for name in ids if ids.count(name) > 1):
        faults.append(Fault("row", twice, "This question of your own stands twice on the paper.", "Keep one of them."))
    return tuple(rows)


def _of_made(table: dict[str, Any], place: str) -> Iterator[Fault]:
    yield from unknown_keys(table, (*_MADE, *_OWN), place)
    kind = table.get("kind")
    if kind not in tuple(KINDS):
        given = ascii(kind[:40])[1:-1] if isinstance(kind, str) else ""
        yield Fault(f"{place}kind", given, "There is no such kind of question.", f"There are: {', '.join(KINDS)}.")
    yield from _whole(table.get("level"), f"{place}level", LEVELS[0], LEVELS[-1], "level = 1, 2 or 3")
    yield from _whole(table.get("how_many"), f"{place}how_many", 1, MOST_QUESTIONS, "how_many = 3")
    if "ids" in table:
        yield Fault(f"{place}ids", "", "It goes with own, and this row has none.", "Leave it out.")


def _of_own(table: dict[str, Any], place: str) -> Iterator[Fault]:
    yield from unknown_keys(table, (*_MADE, *_OWN), place)
    for key in _MADE:
        if key in table:
            yield Fault(f"{place}{key}", "", "A row has either a kind or own questions.", "Write two rows.")
    if not isinstance(table["own"], str) or not table["own"]:
        yield Fault(f"{place}own", "", "It is no name of a file in quotes.", 'Write own = "own.toml".')
    ids = table.get("ids", ["all"])
    if not isinstance(ids, list) or not ids or not all(isinstance(name, str) for name in ids):
        yield Fault(f"{place}ids", "", "It is no list of ids in quotes.", 'Write ids = ["syrup-1"], or leave it out.')


def _own_row(table: dict[str, Any], folder: Path, place: str, faults: list[Fault]) -> Row:
    """Raises: FileError: the file of own questions cannot be read."""
    try:
        known = {asked.id: asked for asked in read_own(str(folder / table["own"]))}
    except InputError as error:
        faults += [fault._replace(field=f"{place}{table['own']}, {fault.field}") for fault in error.faults]
        return Row()
    ids = table.get("ids", list(known))
    for name in ids:
        if name not in known:
            given = ascii(name[:40])[1:-1]
            faults.append(Fault(f"{place}ids", given, "The file has no question of that id.", f"It has: {', '.join(known)}."))
    return Row(own=tuple(known[name] for name in ids if name in known))


def _whole(value: Any, key: str, least: int, most: int, example: str) -> Iterator[Fault]:
    if not isinstance(value, int) or isinstance(value, bool) or not least <= value <= most:
        yield Fault(key, "", f"It is no whole number from {least} to {most:,}.", f"Write {example}.")
