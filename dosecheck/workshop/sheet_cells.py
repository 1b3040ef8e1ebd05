"""One value of the formulary as the text of one cell, and back, exactly.

A cell is always text.  A list is joined with " | "; a list of tables is written as in the file.  What a spreadsheet could
change or lose (tabs, spaces at an end, a bar inside a list) is written as \\u and four hexadecimal digits, a backslash as
two; a text that would run as a formula, or be read as a number or a date, gets an apostrophe in front.
"""

from __future__ import annotations

import re
import tomllib
from datetime import date
from typing import Any

import tomlkit

from dosecheck.errors import TextError
from dosecheck.formulary.plainly import EXAMPLES

MARK = "'"
JOIN = " | "
EMPTY_LIST, EMPTY_TABLE = "[]", "{}"
_MARKED = re.compile(r"['=+\-@\t\r\n]|[\d.,:/\-%eE ]+\Z|(?i:true|false)\Z")
_ODD = re.compile(r"[^\S \n]|[\x00-\x09\x0b-\x1f\x7f]|_(?=x[0-9A-Fa-f]{4}_)|\A\s+|\s+\Z|\A(?:\[\]|\{\})\Z")
_ESCAPE = re.compile(r"\\(u[0-9A-Fa-f]{4}|[\\|]|)")


def to_cell(value: Any) -> str:
    """The value of a key as a cell's text."""
    return marked(_written(value))


def _written(value: Any) -> str:
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, list):
        tables = any(isinstance(one, (dict, list)) for one in value)
        return toml_of(value) if tables else JOIN.join(_in_list(one) for one in value) or EMPTY_LIST
    if isinstance(value, dict):
        return toml_of(value) if value else EMPTY_TABLE
    return _escaped(value) if isinstance(value, str) else str(value)


def _in_list(value: Any) -> str:
    return _written(value).replace("|", r"\|")


def marked(text: str) -> str:
    """The text so that no spreadsheet runs it, or makes a number or a date of it."""
    return MARK + text if _MARKED.match(text) else text


def unmarked(text: str) -> str:
    return text.removeprefix(MARK)


def _escaped(text: str) -> str:
    return _ODD.sub(lambda odd: "".join(f"\\u{ord(c):04x}" for c in odd[0]), text.replace("\\", "\\\\"))


def _plain(text: str) -> str:
    def one(found: re.Match[str]) -> str:
        if not found[1]:
            raise TextError(text[:60], "A single backslash means nothing here.", r"Write it twice: \\.")
        return found[1] if len(found[1]) == 1 else chr(int(found[1][1:], 16))

    return _ESCAPE.sub(one, text)


def from_cell(cell: str, kind: str) -> Any:
    """What a cell that is not empty says.

    Args:
        kind: "text", "count", "date", "yes", "texts", "counts" or "tables".

    Raises:
        TextError: it is not of this kind.
    """
    text = unmarked(cell.replace("\r\n", "\n").strip())
    if text == EMPTY_TABLE:
        return {}
    if kind == "tables":
        return _tables(text)
    if kind in ("texts", "counts"):
        return [] if text == EMPTY_LIST else [_single(part.strip(), kind[:-1]) for part in _parts(text)]
    return _single(text, kind)


def _parts(text: str) -> list[str]:
    """The text parted at each bar that no backslash keeps."""
    parts = [""]
    for token in re.findall(r"\\.|\||[^\\|]+|\\", text, re.DOTALL):
        if token == "|":
            parts.append("")
        else:
            parts[-1] += token
    return parts


def _single(text: str, kind: str) -> Any:
    return {"text": _plain, "count": _count, "date": _date, "yes": _yes}[kind](text)


def _count(text: str) -> int:
    if not re.fullmatch(r"[0-9]{1,9}", text):
        raise TextError(text[:60], "It is not a whole number.", "Write it with digits alone, such as 4.")
    return int(text)


def _date(text: str) -> date:
    try:
        if re.fullmatch(r"\d{4}-\d\d-\d\d", text, re.ASCII):
            return date.fromisoformat(text)
    except ValueError:
        pass
    raise TextError(text[:60], "It is not a date as year-month-day.", "Write it as text: 2024-05-01.")


def _yes(text: str) -> bool:
    if text.lower() not in ("true", "false"):
        raise TextError(text[:60], "It is neither true nor false.", "Write true, or leave the cell empty.")
    return text.lower() == "true"


def _tables(text: str) -> list[Any]:
    try:
        read = tomllib.loads(f"cell = {text}\n", parse_float=str)
    except (ValueError, RecursionError):
        read = {}
    if list(read) != ["cell"] or not isinstance(read["cell"], list):
        raise TextError(
            text[:60], "It is not a list of tables as the formulary's files have it.", f"For example: {EXAMPLES['measure'][10:]}."
        )
    return read["cell"]


def toml_of(value: Any) -> str:
    """A value in the files' own style: spaces inside braces, none inside brackets."""
    if isinstance(value, dict):
        return "{ " + ", ".join(f"{toml_key(key)} = {toml_of(one)}" for key, one in value.items()) + " }" if value else "{}"
    if isinstance(value, list):
        return "[" + ", ".join(map(toml_of, value)) + "]"
    if isinstance(value, str):
        return tomlkit.string(value).as_string()
    return str(value).lower() if isinstance(value, bool) else str(value)


def toml_key(key: str) -> str:
    return tomlkit.key(key).as_string()
