"""What a browser or a program sends, read strictly: forms, and JSON.

A form's amounts come in two fields, a number and a unit that was pressed; `text_of` puts them together into the text that the
one strict reader reads.  Whatever is doubtful is a fault, never a guess.
"""

from __future__ import annotations

import json
import re
from collections.abc import Iterable, Mapping
from typing import Any
from urllib.parse import parse_qsl

from dosecheck.errors import Fault, InputError
from dosecheck.tables_read import json_tables

_MOST_FIELDS = 200
_BAD_ESCAPE = re.compile(rb"%(?![0-9A-Fa-f]{2})")


class Malformed(Exception):
    """The request itself cannot be read, whatever it wanted to say: why, and what to send."""

    def __init__(self, why: str, write: str) -> None:
        self.why, self.write = why, write
        super().__init__(why)


def read_form(body: bytes, many: Iterable[str] = ()) -> dict[str, Any]:
    """Field to text; the names in `many` to a list.  Blank fields are left out.

    Raises:
        Malformed: bad escapes, text that is not UTF-8, too many fields, or a field twice.
    """
    if _BAD_ESCAPE.search(body) or not body.isascii():
        raise Malformed("The form cannot be read: it is badly encoded.", "Send it from dosecheck's own page.")
    try:
        pairs = parse_qsl(
            body.decode("ascii"), keep_blank_values=True, strict_parsing=bool(body), errors="strict", max_num_fields=_MOST_FIELDS
        )
    except ValueError:
        raise Malformed("The form cannot be read: it is badly encoded, or too long.", "Send it from dosecheck's own page.") from None
    lists = frozenset(many)
    form: dict[str, Any] = {name: [] for name in lists}
    seen: set[str] = set()
    for name, value in pairs:
        if name in lists:
            form[name] += [value] if value.strip() else []
            continue
        if name in seen:
            raise Malformed(f"The field {ascii(name)[:60]} came twice.", "Send it once.")
        seen.add(name)
        if value.strip():
            form[name] = value
    return form


def read_json(body: bytes) -> dict[str, Any]:
    """The object of a JSON body; no key twice, no NaN, no lone surrogate; a number with a point stays its digits.

    Raises:
        Malformed: it is no such object.
    """
    try:
        read = json_tables(body)
        json.dumps(read, ensure_ascii=False).encode()
    except InputError as error:
        raise Malformed(error.faults[0].why, 'Send one object of texts, such as {"medicine": "paracetamol"}.') from None
    except UnicodeEncodeError:
        raise Malformed("A text holds half a character (a lone surrogate).", "Send whole characters.") from None
    return read


def put_together(form: Mapping[str, Any], amounts: Iterable[str], choices: Iterable[str] = ()) -> dict[str, str | None]:
    """The texts of amounts, from a number and a pressed unit, and of choices, from what was pressed or typed.

    Raises:
        InputError: two units, or two choices, for one; all such faults at once.
    """
    told: dict[str, str | None] = {}
    faults: list[Fault] = []
    for names, read in ((amounts, text_of), (choices, either)):
        for name in names:
            try:
                told[name] = read(form, name)
            except InputError as error:
                faults += error.faults
    if faults:
        raise InputError(faults)
    return told


def text_of(form: Mapping[str, Any], name: str) -> str | None:
    """The amount of two fields, `name` and `name`_unit; a unit typed with the number stands for itself.

    Raises:
        InputError: a unit is typed and another one pressed.
    """
    number, unit = (form.get(name) or "").strip(), (form.get(f"{name}_unit") or "").strip()
    if not number:
        return None
    if not unit or number.endswith(f" {unit}"):
        return number
    if re.search(r"[^\W\d_]|%", number):
        raise InputError([Fault(name, number, f'A unit is typed, and "{unit}" is pressed.', "Leave one of the two out.")])
    return f"{number} {unit}"


def either(form: Mapping[str, Any], name: str) -> str | None:
    """What was pressed for `name`, or what was typed in its field `name`_typed.

    Raises:
        InputError: both.
    """
    pressed, typed = (form.get(name) or "").strip(), (form.get(f"{name}_typed") or "").strip()
    if pressed and typed and pressed != typed:
        raise InputError([Fault(name, typed, f'It is typed, and "{pressed}" is pressed.', "Leave one of the two out.")])
    return pressed or typed or None


def flat(form: Mapping[str, Any]) -> list[tuple[str, str]]:
    """Every field as it came but the button, for a hidden copy with which the form can be filled again."""
    return [(name, each) for name, value in form.items() if name != "pressed" for each in (value if isinstance(value, list) else [value])]
