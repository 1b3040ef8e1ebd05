"""The table of hazards: every row is whole, and every test that it names is there and not skipped.

A row whose test does not exist fails here.  A row whose test does not pass fails in the same run, by that test itself:
so a build is right only if the whole of `tests/` was run.
"""

from __future__ import annotations

import ast
import tomllib
from collections.abc import Iterator
from datetime import date
from functools import cache
from pathlib import Path

import pytest

TESTS = Path(__file__).parent
HAZARDS = tomllib.loads((TESTS / "hazards.toml").read_text("utf-8"))["hazard"]
KEYS = {"id", "hazard", "cause", "effect", "harm", "control", "tests", "state", "evidence", "owner", "review"}
HARMS = {"Minor", "Significant", "Considerable", "Major", "Catastrophic"}
UNREVIEWED = "not yet reviewed by a clinician"
SKIPPING = {"skip", "skipif", "xfail", "importorskip"}
NAMED = sorted({node for hazard in HAZARDS for node in hazard["tests"]})


@cache
def tree(file: Path) -> ast.Module:
    return ast.parse(file.read_text("utf-8"))


def found(node_id: str) -> list[ast.AST]:
    """The test of a node id with the classes around it, outermost first.

    Raises:
        LookupError: no such file under tests/, or no such test in it; a parametrised id is none either.
    """
    name, *path = node_id.split("::")
    file = (TESTS.parent / name).resolve()
    if not (file.is_relative_to(TESTS) and file.name.startswith("test_") and file.suffix == ".py" and file.is_file()):
        raise LookupError(f"{name} is no file of tests under tests/")
    at: list[ast.AST] = [tree(file)]
    for part in path:
        kind = ast.ClassDef if part != path[-1] else ast.FunctionDef
        prefix = "Test" if part != path[-1] else "test_"
        inner = [child for child in at[-1].body if isinstance(child, kind) and child.name == part and part.startswith(prefix)]
        if not inner:
            raise LookupError(f"{name} has no {part}")
        at.append(inner[-1])
    if len(at) < 2:
        raise LookupError(f"{node_id} names no test")
    return at[1:]


def skips(nodes: list[ast.AST]) -> Iterator[str]:
    """Marks and calls that could leave the test out: above it, above its classes, and in its own lines."""
    for node in (*(mark for outer in nodes[:-1] for mark in outer.decorator_list), nodes[-1]):
        for inner in ast.walk(node):
            name = inner.attr if isinstance(inner, ast.Attribute) else inner.id if isinstance(inner, ast.Name) else ""
            if name in SKIPPING:
                yield name


def module_marks(node_id: str) -> list[str]:
    """Marks of a whole file."""
    lines = tree((TESTS.parent / node_id.split("::")[0]).resolve()).body
    marks = [line for line in lines if isinstance(line, ast.Assign) and any(ast.unparse(t) == "pytestmark" for t in line.targets)]
    return [name for name in SKIPPING for line in marks if f".{name}" in ast.unparse(line)]


@pytest.mark.parametrize("hazard", HAZARDS, ids=[hazard.get("id", "?") for hazard in HAZARDS])
def test_each_row_is_whole(hazard: dict) -> None:
    """Every key, none left blank; a known harm; an open row says what is missing, a controlled one has tests."""
    assert set(hazard) == KEYS | ({"open"} if hazard["state"] == "open" else set())
    assert all(value.strip() for value in hazard.values() if isinstance(value, str))
    assert hazard["harm"] in HARMS and hazard["state"] in ("controlled", "open")
    assert isinstance(hazard["review"], date) or hazard["review"] == UNREVIEWED
    assert hazard["state"] == "open" or hazard["tests"], "a controlled hazard names at least one test"
    assert len(set(hazard["tests"])) == len(hazard["tests"]) <= 6


def test_the_rows_are_each_there_once_and_in_order() -> None:
    """A row is closed, never deleted: the numbers run without a gap."""
    assert [hazard["id"] for hazard in HAZARDS] == [f"H{number:02}" for number in range(1, len(HAZARDS) + 1)]
    assert len(HAZARDS) >= 34


@pytest.mark.parametrize("node_id", NAMED)
def test_each_named_test_exists_and_is_not_skipped(node_id: str) -> None:
    nodes = found(node_id)
    assert not [*skips(nodes), *module_marks(node_id)]


@pytest.mark.parametrize(
    "node_id",
    [
        "tests/test_hazards.py",
        "tests/test_hazards.py::test_nosuch",
        "tests/test_hazards.py::found",
        "tests/test_hazards.py::TestNone::test_each_row_is_whole",
        "tests/test_hazards.py::test_each_row_is_whole[H01]",
        "tests/test_nosuch.py::test_each_row_is_whole",
        "tests/conftest.py::test_each_row_is_whole",
        "dosecheck/test_hazards.py::test_each_row_is_whole",
        "../test_hazards.py::test_each_row_is_whole",
    ],
)
def test_a_name_of_no_test_is_found_out(node_id: str) -> None:
    """The check's own: it finds what is wrong."""
    with pytest.raises(LookupError):
        found(node_id)


@pytest.mark.parametrize(
    "text",
    [
        "@pytest.mark.skip\ndef test_x(): pass",
        "@pytest.mark.skipif(True, reason='r')\ndef test_x(): pass",
        "@pytest.mark.parametrize('n', [pytest.param(1, marks=pytest.mark.xfail)])\ndef test_x(n): pass",
        "def test_x(): pytest.skip('r')",
        "@pytest.mark.skip\nclass TestX:\n    def test_x(self): pass",
    ],
)
def test_a_skipped_test_is_found_out(text: str) -> None:
    """The check's own: marks on the test, on its class, within its parameters, and calls inside it."""
    outer = ast.parse(text).body[0]
    assert list(skips([outer, outer.body[0]] if isinstance(outer, ast.ClassDef) else [outer]))
