"""Reads orders from JSON Lines, one object a line, strictly: no key twice, no unknown key, no number, no NaN."""

from __future__ import annotations

import codecs
import json
import re
from collections.abc import Iterator, Sequence
from typing import Any, BinaryIO

import polars as pl

from dosecheck.batch.chunk import CHUNK_BYTES, CHUNK_ROWS, LONGEST_ROW, Chunk, Given, Refused, shown, without_unfit
from dosecheck.batch.csv_cut import not_utf8
from dosecheck.errors import FileError

_ODD = re.compile("[\\0\ud800-\udfff]")


class _Number(str):
    """A number of JSON, kept as its digits and never taken for text."""


class _NotAnOrder(Exception):
    """Why one line of JSON is refused."""


def read_lines(file: BinaryIO, path: str, known: Sequence[str]) -> Iterator[Chunk]:
    """One JSON object a line; the columns are those of the first good line and then the other `known` ones."""
    columns: list[str] = []
    for lines in _lines(file, path):
        items = [_item(raw) for _, raw in lines]
        if not columns:
            columns = _columns(items, known, path)
        yield _lines_chunk(lines, items, columns)
    if not columns:
        raise FileError(path, "It holds no orders.", "Write one JSON object a line.")


def _lines(file: BinaryIO, path: str) -> Iterator[list[tuple[int, bytes]]]:
    """The lines that are not blank, with their numbers, in lists of bounded size."""
    lines, size, number = [], 0, 0
    while raw := file.readline(LONGEST_ROW + 1):
        number += 1
        if len(raw) > LONGEST_ROW:
            raise FileError(path, f"Line {number} is longer than {LONGEST_ROW:,} bytes.", "Write one JSON object a line.")
        raw = raw.removeprefix(codecs.BOM_UTF8) if number == 1 else raw
        if raw.strip(b" \t\r\n"):
            lines.append((number, raw))
            size += len(raw)
        if size >= CHUNK_BYTES or len(lines) == CHUNK_ROWS:
            yield lines
            lines, size = [], 0
    if lines:
        yield lines


def _item(raw: bytes) -> dict[str, str | None] | _NotAnOrder:
    """The object on one line, or why there is none."""
    try:
        text = raw.decode()
        item = _DECODER.decode(text)
        if not isinstance(item, dict):
            return _NotAnOrder('It is not a JSON object. Write {"column": "text", ...}.')
        if "\\u" in text:  # only an escape can bring in what strict UTF-8 keeps out
            _refuse_odd_characters(item)
        return item
    except _NotAnOrder as why:
        return why
    except UnicodeDecodeError as error:
        return _NotAnOrder(not_utf8(error))
    except json.JSONDecodeError as error:
        return _NotAnOrder(f"It is not one JSON object: {error.msg}, at character {error.colno}.")
    except RecursionError:
        return _NotAnOrder("It is nested too deep. Write text in quotes.")


def _object(pairs: list[tuple[str, Any]]) -> dict[str, str | None]:
    item: dict[str, str | None] = {}
    for key, value in pairs:
        if key in item:
            raise _NotAnOrder(f'It names "{shown(key)}" twice. Write it once.')
        if not (value is None or type(value) is str):
            raise _NotAnOrder(f'"{shown(key)}" is not text. Write it as text with its unit, in quotes.')
        item[key] = value
    return item


_DECODER = json.JSONDecoder(object_pairs_hook=_object, parse_int=_Number, parse_float=_Number, parse_constant=_Number)


def _refuse_odd_characters(item: dict[str, str | None]) -> None:
    for key, value in item.items():
        if odd := _ODD.search(f"{key} {value}"):
            raise _NotAnOrder(f'"{shown(key)}" holds the character U+{ord(odd[0]):04X}, which is no text. Type it again.')


def _columns(items: list[dict[str, str | None] | _NotAnOrder], known: Sequence[str], path: str) -> list[str]:
    first = next((item for item in items if isinstance(item, dict) and item), None)
    if first is None:
        why = next((str(item) for item in items if isinstance(item, _NotAnOrder)), "It is empty.")
        raise FileError(path, f"None of its first {len(items):,} lines holds an order. The first: {why}", "")
    return list(dict.fromkeys([*first, *known]))


def _lines_chunk(lines: list[tuple[int, bytes]], items: list[dict[str, str | None] | _NotAnOrder], columns: list[str]) -> Chunk:
    names, rows, refused = set(columns), [], []
    nothing = (None,) * len(columns)
    for at, ((number, raw), item) in enumerate(zip(lines, items, strict=True)):
        if isinstance(item, dict) and not item.keys() <= names:
            item = _NotAnOrder(f'It has an unknown column "{shown(min(item.keys() - names))}". Known: {", ".join(columns)}.')
        if isinstance(item, dict):
            rows.append(tuple(item.get(name) or None for name in columns))
        else:
            rows.append(nothing)
            refused.append(Refused(at, number, str(item), shown(raw)))
    texts = dict(zip(columns, map(list, zip(*rows, strict=True)), strict=True))
    line = pl.Series("line", [number for number, _ in lines], pl.Int64)
    named = set().union(*(item for item in items if isinstance(item, dict)))
    later = tuple(name for name in columns if name not in named)
    chunk = Chunk(pl.DataFrame(texts, schema=dict.fromkeys(columns, pl.String)), line, refused, given=(_given(lines),), later=later)
    return without_unfit(chunk)


def _given(lines: list[tuple[int, bytes]]) -> Given:
    """The lines with empty ones where blank lines were left out."""
    pieces, at = [], lines[0][0]
    for number, raw in lines:
        pieces += [b"\n" * (number - at), raw if raw.endswith(b"\n") else raw + b"\n"]
        at = number + 1
    return Given(lines[0][0], b"".join(pieces), b"", len(lines))
