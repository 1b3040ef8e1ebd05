"""Where things stand in a TOML text: every key that the standard library's reader sees has its place, and stands there."""

from __future__ import annotations

import tomllib
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
import tomlkit
from cli.door import FOLDER
from hypothesis import given
from hypothesis import strategies as st

from dosecheck.formulary.spots import Lines, spots

FILES = [*FOLDER.rglob("*.toml"), *(Path(__file__).parents[1] / "formulary_broken").glob("*.toml")]


def paths(node: Any, at: tuple = ()) -> Iterator[tuple]:
    """Every key and element of what the reader gives."""
    rows = node.items() if isinstance(node, dict) else enumerate(node) if isinstance(node, list) else ()
    for key, value in rows:
        yield (*at, key)
        yield from paths(value, (*at, key))


def reached(node: Any, path: tuple) -> Any:
    for part in path:
        node = node[part]
    return node


def same(text: str) -> None:
    """Each path once, and the text of each value means that value."""
    whole = tomllib.loads(text, parse_float=str)
    found = spots(text)
    told = {spot.path for spot in found}
    implied = {path for path in paths(whole) if path not in told}  # tables that a header or a dotted key only implies
    assert told <= set(paths(whole)) and all(any(other[: len(path)] == path for other in told) for path in implied)
    for spot in found:
        if not spot.header:
            assert tomllib.loads(f"x = {text[spot.value : spot.end]}", parse_float=str)["x"] == reached(whole, spot.path)
            assert spot.start <= spot.value < spot.end
        else:
            assert text[spot.start] == "[" and text[spot.end - 1] == "]"


@pytest.mark.parametrize("file", FILES, ids=lambda file: file.stem)
def test_every_file_here(file: Path) -> None:
    text = file.read_text("utf-8")
    try:
        tomllib.loads(text)
    except tomllib.TOMLDecodeError:
        return
    same(text)


ODD = [
    'a.b."c d".\'e\' = [ 1, [2, 3], { x = 1, y.z = "}" } ] # ] }',
    '[[t]]\na = 1\n[[t.u]]\nb = """\n[[t]]\n"quoted" \\" """\n[[t]]\n[t.v]\nc = \'\'\'it\'s ]\'\'\'\n[[t.u]]\nb = 2024-05-01 # date\r\n',
    'x = [ # one\n  \'a#b\', # two\n  "c\\"]",\n]\ny = 1979-05-27 07:32:00Z\nz = -0.5e3',
    '"" = 1\n"\\u00e9" = 2\n[ "a" . b ]\nc=3',
    'a = """"quotes at the end""""\nb = 1',
]


@pytest.mark.parametrize("text", ODD)
def test_odd_texts(text: str) -> None:
    same(text)


VALUES = st.recursive(
    st.one_of(st.text(max_size=8), st.integers(-(10**9), 10**9), st.booleans(), st.dates()),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=5), inner, max_size=3),
    max_leaves=12,
)


@given(st.dictionaries(st.text(max_size=6), VALUES, max_size=5))
def test_any_tables_written_by_a_library(tables: dict) -> None:
    same(tomlkit.dumps(tables))


def test_line_and_column() -> None:
    lines = Lines("a\nbc\n")
    assert [lines.at(offset) for offset in range(5)] == [(1, 1), (1, 2), (2, 1), (2, 2), (2, 3)]
