"""A new medicine's file to be filled in: every key with what it holds, `""` and `[]` where a figure or a word is needed.

The words are those of the editors' help (`key_words.py`), the keys those of the models, so neither is said twice.
"""

from __future__ import annotations

import re
import textwrap
from collections.abc import Iterator
from typing import get_args

from dosecheck.errors import Fault, FormularyError, InputError
from dosecheck.formulary import models
from dosecheck.formulary.fields import Word
from dosecheck.formulary.folder import parse, read_folder
from dosecheck.formulary.names import look, names_of
from dosecheck.formulary.parts import Table
from dosecheck.formulary.plainly import ENTRIES, EXAMPLES, problems
from dosecheck.workshop.key_words import about
from dosecheck.workshop.tidy import tidied

_SOURCE = '{ id = "", place = "" }'
_TABLES: tuple[tuple[str, type[Table], dict[str, str]], ...] = (  # header, model, what stands there until it is filled in
    ("", models.MedicineFile, {"id": '"{id}"', "name": '"{name}"', "status": '"draft"'}),
    ("[[ingredient]]", models.Ingredient, {"id": '"{name}"'}),
    (
        "[[product]]",
        models.Product,
        {"id": '""', "name": '""', "form": '""', "routes": "[]", "strength": '""', "source": _SOURCE},
    ),
    (
        "[[regimen]]",
        models.Regimen,
        {
            **{"id": '""', "valid_from": '""', "route": '""', "for": "[]", "age": '{ from = "", below = "" }'},
            **{"dose": '""', "min_gap": '""', "max_daily": "[]", "source": _SOURCE},
        },
    ),
)
_OWN_EXAMPLES = {
    "basis": '"stated"',
    "equals": '{ amount = "1 mmol", is = "246.5 mg", source = { id = "invented-handbook-2024", place = "table 3, row 2" } }',
    "ingredient": '"{name}"',
    "band": '[ { age = { from = "1 year", below = "2 years" }, dose = "60 mg" } ]',
    "rounding": '"The source rounds to 5 mg."',
}
_HEAD = (
    'Fill in every "" and []. Take the # away before a key that the source has something for, and delete what it has not. '
    "An entry that is not needed, such as [[product]], goes as a whole; one that is needed twice is copied. "
    "Name each source in sources.toml. Then: dosecheck formulary lint. formulary/README.md tells more, and of further entries: "
    "[[regimen.band]], [[age_limit]], [[daily_band]], [[example]]."
)
_WIDTH = 110


def new_file(folder: str, medicine: str) -> tuple[str, bytes]:
    """(name in the folder, content) of the file; nothing is written.

    Args:
        folder: the formulary, which may have faults: a draft that waits to be filled in must not hinder the next.
        medicine: its name, in lower case; spaces become hyphens in the id.

    Raises:
        InputError: it is no name, or a medicine has it, or looks like having it.
        FormularyError: the folder cannot be read.
    """
    id_ = medicine.replace(" ", "-")
    _refuse_odd(id_, medicine)
    file = f"medicines/{id_}.toml"
    files = read_folder(folder)
    taken = file if file in files else next((name for text, name in _names(files) if _bare(text) == _bare(medicine)), None)
    if taken:
        why = f"{taken} has this name already, or one that looks like it."
        raise InputError([Fault("medicine", medicine, why, "Add to that file, or choose another name.")])
    return file, tidied(file, "\n".join(_lines(id_, medicine)).encode())


def _refuse_odd(id_: str, medicine: str) -> None:
    class Named(Table):
        id: models.Id
        name: Word

    found = problems(Named, {"id": id_, "name": medicine})
    if found:
        raise InputError(
            [
                Fault(
                    "medicine",
                    ascii(medicine[:60])[1:-1],
                    found[-1].why.removeprefix(f'"{medicine}": '),
                    'Write it as "exampol", or "exampol sodium".',
                )
            ]
        )


def _names(files: dict[str, bytes]) -> Iterator[tuple[str, str]]:
    """(name, file) of every medicine whose file can be parsed."""
    raws = {}
    for name, content in files.items():
        try:
            raws[name] = parse(name, content)
        except FormularyError:
            continue  # lint tells of it
    return ((text, name) for text, name, _ in names_of(raws))


def _bare(name: str) -> str:
    """Two names that differ by a hyphen or a space would have one file."""
    return look(name).replace("-", " ")


def _lines(id_: str, medicine: str) -> Iterator[str]:
    yield from _comment(_HEAD)
    yield ""
    for header, model, given in _TABLES:
        yield from [header] if header else []
        for name, field in model.model_fields.items():
            key = field.alias or name
            if key == "checked" or (not header and key in (*ENTRIES, "ingredient")):
                continue  # written by approve; entries follow below
            words, told = _choices(field.annotation), about(model.__name__, key)
            yield from _comment(told if all(word in told for word in words) else f"{told} One of: {', '.join(words)}.")
            value = given.get(key, _example(key, words)).replace("{id}", id_).replace("{name}", medicine)
            yield f"{'' if key in given else '# '}{key} = {value}".rstrip()
        yield ""


def _comment(text: str) -> list[str]:
    return textwrap.wrap(text, _WIDTH, initial_indent="# ", subsequent_indent="# ", break_on_hyphens=False)


def _choices(annotation: object) -> list[str]:
    """The words of a Literal, however deep: of a list of words, too."""
    inner = get_args(annotation)
    return [word for one in inner for word in ([one] if isinstance(one, str) else _choices(one))]


def _example(key: str, words: list[str]) -> str:
    if key in _OWN_EXAMPLES:
        return _OWN_EXAMPLES[key]
    if key in EXAMPLES:
        return re.split(r"(?<=[\]}]): |, or |, with ", EXAMPLES[key])[0].partition(" = ")[2]
    return f'"{words[0]}"' if words else ""
