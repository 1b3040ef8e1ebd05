"""The floors of the house: a module imports only from lower floors and from its own folder."""

from __future__ import annotations

import ast
from collections.abc import Iterator
from pathlib import Path

import pytest

PACKAGE = Path(__file__).parents[1] / "dosecheck"
FLOORS = (
    {"errors", "quantity", "reading", "saving", "showing"},
    {"records", "asked", "earlier", "chart_file", "tables_read", "working", "formulary"},
    {"body"},
    {"rules"},
    {"sums"},
    {"batch", "printing"},
    {"interop", "drill", "journal", "reports", "workshop", "demo"},  # none imports another
    {"cli", "web"},  # doors: neither imports the other
)
SHARED = FLOORS[0] | FLOORS[1]  # files of one floor that may import one another
DOORS = {"__init__", "__main__"}
PAGES = {"demo/notebook"}  # written as a user writes: from the front door
MODULES = {path.relative_to(PACKAGE).with_suffix("").as_posix(): path for path in sorted(PACKAGE.rglob("*.py"))}


def floor_of(part: str) -> int:
    return next(number for number, floor in enumerate(FLOORS, 1) if part in floor)


def imports_of(path: Path) -> Iterator[tuple[int, str]]:
    """(line, part of dosecheck) for each import, wherever in the file it stands; "" is the front door."""
    for node in ast.walk(ast.parse(path.read_text("utf-8"))):
        if isinstance(node, ast.Import):
            yield from ((node.lineno, alias.name.partition(".")[2]) for alias in node.names if alias.name.split(".")[0] == "dosecheck")
        elif isinstance(node, ast.ImportFrom):
            assert not node.level, f"{path}:{node.lineno}: write the import out in full"
            if node.module == "dosecheck":
                yield from ((node.lineno, alias.name if _is_part(alias.name) else "") for alias in node.names)
            elif node.module.startswith("dosecheck."):
                yield node.lineno, node.module.partition(".")[2]


def _is_part(name: str) -> bool:
    return any(name in floor for floor in FLOORS)


@pytest.mark.parametrize("module", [name for name in MODULES if name not in DOORS | PAGES])
def test_a_module_imports_only_from_lower_floors(module: str) -> None:
    mine = module.split("/")[0]
    for line, name in imports_of(MODULES[module]):
        part = name.split(".")[0]
        place = f"dosecheck/{module}.py:{line} imports {name or 'the front door'}"
        assert part, f"{place}: inside the house, import from the module itself"
        lower = floor_of(part) < floor_of(mine)
        beside = part == mine or (floor_of(part) == floor_of(mine) and {part, mine} <= SHARED)
        assert lower or beside, f"{place}: floor {floor_of(part)} is not below floor {floor_of(mine)}"


def test_every_part_has_a_floor() -> None:
    """A new folder needs its place in FLOORS."""
    for module in MODULES:
        assert module in DOORS or _is_part(module.split("/")[0]), module


def test_the_front_door_is_used_by_doors_alone() -> None:
    """`dosecheck/__init__.py` imports from rules and below; a single check must not load more."""
    for _, name in imports_of(MODULES["__init__"]):
        assert floor_of(name.split(".")[0]) <= floor_of("rules"), name
