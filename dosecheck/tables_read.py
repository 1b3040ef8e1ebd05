"""A TOML or JSON file of our own as plain tables, strictly: what other readers let pass in silence is refused.

Keys twice, NaN, numbers of thousands of digits, trailing data, foreign encodings.  A number with a point stays the text
that was written, so no binary float is ever made.
"""

from __future__ import annotations

import json
import tomllib
from collections.abc import Iterator
from difflib import get_close_matches
from pathlib import Path
from typing import Any

from dosecheck.errors import Fault, FileError, InputError

MOST_BYTES = 1_000_000


def read_file(path: str) -> bytes:
    """The file's bytes; at most 1,000,000 of them.

    Raises:
        FileError: missing, unreadable, or too large.
    """
    try:
        with open(path, "rb") as file:
            content = file.read(MOST_BYTES + 1)
    except OSError as error:
        raise FileError(path, f"It cannot be read: {error.strerror}.", "Look at the name.") from None
    if len(content) > MOST_BYTES:
        raise FileError(path, f"It is larger than {MOST_BYTES:,} bytes.", "Split it, or leave out what is old.")
    return content


def tables_of(name: str, content: bytes) -> dict[str, Any]:
    """The tables of a file by the ending of its name.

    Raises:
        InputError: with the one fault that stops the reading, and its line.
    """
    kind = Path(name).suffix.lower()
    if kind not in (".toml", ".json"):
        raise _fault(name, "The name ends neither in .toml nor in .json.", "Name the file for what it is.")
    try:
        text = content.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = content[: error.start].count(b"\n") + 1
        raise _fault(f"{name}, line {line}", "It is not UTF-8 text.", "Save the file as UTF-8.") from None
    try:
        return _toml(name, text) if kind == ".toml" else _json(name, text)
    except RecursionError:
        raise _fault(name, "It is nested too deeply.", "No table here is more than two deep.") from None


def _fault(place: str, why: str, write: str) -> InputError:
    return InputError([Fault(place, "", why, write)])


def _toml(name: str, text: str) -> dict[str, Any]:
    try:
        return tomllib.loads(text, parse_float=str)
    except ValueError as error:  # TOMLDecodeError, and a whole number of more digits than Python reads
        from dosecheck.formulary.toml_faults import toml_fault

        found = toml_fault(name, str(error), text.encode())
        place = ", ".join(part for part in (name, found.entry) if part)
        raise _fault(place, found.why, found.write.replace("[[regimen]]", "[[order]]")) from None


class _Refused(ValueError):
    """What Python's reader of JSON would let pass."""


def json_tables(content: bytes) -> dict[str, Any]:
    """The table of a JSON text that came over the wire.

    Raises:
        InputError: it is no table, not well formed, not UTF-8, nested too deeply, or says the same key twice.
    """
    return tables_of("request.json", content)


def _json(name: str, text: str) -> dict[str, Any]:
    try:
        read = json.loads(text, parse_float=str, parse_int=_whole, parse_constant=_constant, object_pairs_hook=_once)
    except json.JSONDecodeError as error:
        raise _fault(
            f"{name}, line {error.lineno}", f"It is not well-formed JSON: {error.msg}.", "Look at that line and the one before."
        ) from None
    except _Refused as error:
        raise _fault(name, *error.args) from None
    if not isinstance(read, dict):
        raise _fault(name, "It holds no table.", 'Write { "child": { ... }, "order": [ ... ], "given": [ ... ] }.')
    return read


def _whole(digits: str) -> int | str:
    return int(digits) if len(digits) <= 12 else digits


def _constant(word: str) -> Any:
    raise _Refused(f"{word} is no number.", "Leave the key out, or write the amount as text with its unit.")


def _once(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    found: dict[str, Any] = {}
    for key, value in pairs:
        if key in found:
            raise _Refused(f"The key {ascii(key)[:60]} stands twice in one table.", "Keep one of them.")
        found[key] = value
    return found


def unknown_keys(table: dict[str, Any], known: tuple[str, ...], place: str) -> Iterator[Fault]:
    """A key that is not known, with the nearest that is."""
    for key in table:
        if key not in known:
            near = get_close_matches(key[:60], known, n=1, cutoff=0.6)
            write = f'Did you mean "{near[0]}"?' if near else f"Known here: {', '.join(known)}."
            yield Fault(f"{place}{ascii(key[:40])[1:-1]}", "", "There is no such key here.", write)
