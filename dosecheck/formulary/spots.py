"""Where in a TOML text each key and entry stands; of text that the standard library's reader has accepted.

That reader says what a text means and not where; this says where and nothing else.  Loaded only to place a fault, or to
put a file in order.
"""

from __future__ import annotations

import re
import tomllib
from bisect import bisect_right
from collections.abc import Iterator
from typing import NamedTuple

Path = tuple[str | int, ...]
_BARE = re.compile(r"[A-Za-z0-9_-]+")
_SPACE = re.compile(r"[ \t]*")
_BLANK = re.compile(r"(?:[ \t\r\n]|#[^\n]*)*")
_SCALAR = re.compile(r"[^,\]}#\r\n]+")
_QUOTED = re.compile(r'"(?:[^"\\]|\\.)*"|\'[^\']*\'')
_LONG = re.compile(r'"""(?:[^\\]|\\.)*?"""(?:"{1,2}(?!"))?|\'\'\'.*?\'\'\'(?:\'{1,2}(?!\'))?', re.S)


class Spot(NamedTuple):
    """A key with its value, an element of a list, or a table's header (`header`): characters from `start` to before `end`.

    `value`: where the value starts; for a header, where it ends.
    """

    path: Path
    start: int
    value: int
    end: int
    header: bool = False


def spots(text: str) -> list[Spot]:
    """Every spot in file order; paths have numbers for elements of lists, from 0, as the reader's own result has them."""
    return list(_Walk(text).whole())


class Lines:
    """Line and column, both from 1, of a character of a text."""

    def __init__(self, text: str) -> None:
        self._starts = [0, *(found.end() for found in re.finditer("\n", text))]

    def at(self, offset: int) -> tuple[int, int]:
        line = bisect_right(self._starts, offset)
        return line, offset - self._starts[line - 1] + 1


class _Walk:
    def __init__(self, text: str) -> None:
        self.text, self.at = text, 0
        self._numbers: dict[Path, int] = {}  # the last element of each list of tables

    def whole(self) -> Iterator[Spot]:
        prefix: Path = ()
        while self._skip(_BLANK) < len(self.text):
            if self.text[self.at] == "[":
                spot = self._header()
                prefix = spot.path
                yield spot
            else:
                yield from self._pair(prefix)

    def _skip(self, what: re.Pattern[str]) -> int:
        found = what.match(self.text, self.at)
        self.at = found.end() if found else self.at
        return self.at

    def _header(self) -> Spot:
        start, double = self.at, self.text.startswith("[[", self.at)
        self.at += 2 if double else 1
        *outer, last = self._key()
        path: Path = ()
        for part in outer:
            path = self._inside((*path, part))
        path = (*path, last)
        if double:
            self._numbers[path] = self._numbers.get(path, -1) + 1
        path = self._inside(path)
        self._skip(_SPACE)
        self.at += 2 if double else 1
        return Spot(path, start, self.at, self.at, True)

    def _inside(self, path: Path) -> Path:
        return (*path, self._numbers[path]) if path in self._numbers else path

    def _key(self) -> list[str]:
        """One key, or several with points between them."""
        parts = []
        while True:
            self._skip(_SPACE)
            start = self.at
            if self.text[self.at] in "\"'":
                self._skip(_QUOTED)
                parts.append(_unquoted(self.text[start : self.at]))
            else:
                self._skip(_BARE)
                parts.append(self.text[start : self.at])
            self._skip(_SPACE)
            if self.text[self.at] != ".":
                return parts
            self.at += 1

    def _pair(self, prefix: Path) -> Iterator[Spot]:
        start = self.at
        path = (*prefix, *self._key())
        self.at += 1  # the sign of equality
        self._skip(_SPACE)
        value = self.at
        inner = list(self._value(path))
        yield Spot(path, start, value, self.at)
        yield from inner

    def _value(self, path: Path) -> Iterator[Spot]:
        char = self.text[self.at]
        if char == "[":
            yield from self._list(path)
        elif char == "{":
            yield from self._inline(path)
        elif self.text.startswith(('"""', "'''"), self.at):
            self._skip(_LONG)
        elif char in "\"'":
            self._skip(_QUOTED)
        else:
            start = self.at
            self._skip(_SCALAR)
            self.at = start + len(self.text[start : self.at].rstrip(" \t"))

    def _list(self, path: Path) -> Iterator[Spot]:
        self.at += 1
        number = 0
        while self.text[self._skip(_BLANK)] != "]":
            start = self.at
            inner = list(self._value((*path, number)))
            yield Spot((*path, number), start, start, self.at)
            yield from inner
            number += 1
            if self.text[self._skip(_BLANK)] == ",":
                self.at += 1
        self.at += 1

    def _inline(self, path: Path) -> Iterator[Spot]:
        self.at += 1
        while self.text[self._skip(_BLANK)] != "}":
            yield from self._pair(path)
            if self.text[self._skip(_BLANK)] == ",":
                self.at += 1
        self.at += 1


def _unquoted(text: str) -> str:
    return next(iter(tomllib.loads(f"{text} = 0")))
