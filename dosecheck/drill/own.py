"""A teacher's own questions: a TOML file with text, answer and, as far as the teacher likes, working and known wrong answers.

    [[question]]
    id       = "syrup-1"
    text     = "SM-001 weighs 14.2 kg. Exampol: 15 mg/kg for one dose. How much is one dose, in mg?"
    answer   = "213 mg"
    rounding = "1 mg"                                    # or within = "2 mg"; left out: the exact figure
    working  = ["15 mg/kg x 14.2 kg = 213 mg"]
    source   = "Invented Handbook, page 3"
    wrong    = [{ answer = "2130 mg", says = "it is ten times the answer: look at the decimal point" }]

An answer with a unit is marked as any other; a question of choice has `choices = ["give", "ask"]` and one of them as its answer.
"""

from __future__ import annotations

import tomllib
from typing import Any

from dosecheck.drill.question import Choice, Question, Trap
from dosecheck.drill.traps import power_traps
from dosecheck.errors import Fault, FileError, InputError, TextError
from dosecheck.quantity import UNITS, Quantity
from dosecheck.reading import read_amount
from dosecheck.tables_read import read_file
from dosecheck.working import Step

_TEXTS = ("id", "text", "answer", "ask", "rounding", "within", "source")
_LISTS = ("working", "wrong", "choices")
_EXAMPLES = {"working": 'working = ["15 mg/kg x 14.2 kg = 213 mg"]', "choices": 'choices = ["give", "ask"]'}


def read_own(path: str) -> tuple[Question, ...]:
    """The questions of a file, in its order.

    Raises:
        FileError: it cannot be read as a file of questions.
        InputError: every fault of its questions, at once.
    """
    tables = _tables(path)
    questions, faults = [], []
    for number, table in enumerate(tables, 1):
        name = f'question {number}, "{table["id"]}"' if isinstance(table.get("id"), str) else f"question {number}"
        try:
            questions.append(_question(table))
        except InputError as error:
            faults += [fault._replace(field=f"{name}, {fault.field}") for fault in error.faults]
    ids = [question.id for question in questions]
    faults += [Fault(f'question "{i}"', "", "The id stands twice.", "Give each its own.") for i in dict.fromkeys(ids) if ids.count(i) > 1]
    if faults:
        raise InputError(faults)
    return tuple(questions)


def _tables(path: str) -> list[dict[str, Any]]:
    content = read_file(path)
    try:
        tables = tomllib.loads(content.decode("utf-8")).get("question")
    except UnicodeDecodeError:
        raise FileError(path, "The file is not UTF-8 text.", "Save it as UTF-8.") from None
    except (ValueError, RecursionError) as error:
        raise FileError(path, f"It is not well-formed TOML: {error}.", "Look at that line and the one before.") from None
    if not isinstance(tables, list) or not tables or not all(isinstance(table, dict) for table in tables):
        raise FileError(path, "There is no question in it.", "Each starts with [[question]].")
    return tables


def _question(table: dict[str, Any]) -> Question:
    faults = _shape(table)
    if faults:
        raise InputError(faults)
    if "choices" in table:
        return _of_choice(table)
    faults, read = [], {}
    for key in ("answer", "rounding", "within"):
        if key in table:
            try:
                read[key] = read_figure(table[key])
            except TextError as error:
                faults.append(Fault(key, error.given, error.why, error.write))
    answer = read.get("answer")
    faults += [
        Fault(key, table[key], "It is of another kind than the answer.", "Write it in the answer's unit.")
        for key in ("rounding", "within")
        if answer and key in read and read[key].kind != answer.kind
    ]
    traps = _wrong(table, answer, faults) if answer else ()
    if faults:
        raise InputError(faults)
    exact = f"rounded to {table['rounding']}" if "rounding" in table else "the exact figure"
    exact = f"within {table['within']}" if "within" in table else exact
    return Question(
        kind="own",
        level=1,
        text=table["text"],
        ask=table.get("ask", f"Write the number and the unit, {exact}."),
        answer=answer,
        steps=tuple(Step("working", (line,)) for line in table.get("working", [])),
        source=table.get("source", ""),
        step=read.get("rounding"),
        within=read.get("within"),
        traps=(*traps, *power_traps()),
        id=table["id"],
    )


def read_figure(text: str) -> Quantity:
    """An amount of any kind with its unit: "213 mg", "8.5 mL/h", "14.2 kg".

    Raises:
        TextError: with what to write instead.
    """
    return read_amount(text, tuple(UNITS), "answer", "213 mg")


def _wrong(table: dict[str, Any], answer: Quantity, faults: list[Fault]) -> tuple[Trap, ...]:
    traps = []
    for entry in table.get("wrong", []):
        if not isinstance(entry, dict) or set(entry) != {"answer", "says"} or not all(isinstance(v, str) for v in entry.values()):
            example = 'wrong = [{ answer = "2130 mg", says = "it is ten times the answer" }]'
            faults.append(Fault("wrong", "", "Each wrong answer has answer and says, and nothing else.", f"For example: {example}."))
            continue
        try:
            value = read_figure(entry["answer"])
        except TextError as error:
            faults.append(Fault("wrong", error.given, error.why, error.write))
            continue
        if value.kind != answer.kind:
            faults.append(Fault("wrong", entry["answer"], "It is of another kind than the answer.", "Write it in the answer's unit."))
            continue
        traps.append(Trap(f"own: {entry['says']}", entry["says"], value.value / answer.value))
    return tuple(traps)


def _of_choice(table: dict[str, Any]) -> Question:
    words = tuple(word.lower() for word in table["choices"])
    if table["answer"].lower() not in words:
        raise InputError([Fault("answer", table["answer"], "It is none of the choices.", f"Write one of: {', '.join(words)}.")])
    return Question(
        kind="own",
        level=1,
        text=table["text"],
        ask=table.get("ask", f"Write one of: {', '.join(words)}."),
        answer=table["answer"].lower(),
        steps=tuple(Step("working", (line,)) for line in table.get("working", [])),
        source=table.get("source", ""),
        choices=tuple(Choice(word, word) for word in words),
        id=table["id"],
    )


def _shape(table: dict[str, Any]) -> list[Fault]:
    """What is missing, unknown, or of the wrong sort."""
    faults = [Fault(key, "", "It is missing.", f'Write {key} = "...".') for key in ("id", "text", "answer") if key not in table]
    for key, value in table.items():
        if key not in (*_TEXTS, *_LISTS):
            faults.append(Fault(ascii(key)[1:-1], "", "There is no such key here.", f"There are: {', '.join((*_TEXTS, *_LISTS))}."))
        elif key in _TEXTS and not isinstance(value, str):
            faults.append(Fault(key, "", "It is not text in quotes.", f'Write {key} = "...".'))
        elif key in _EXAMPLES and not (isinstance(value, list) and value and all(isinstance(word, str) for word in value)):
            faults.append(Fault(key, "", "It is not a list of texts.", f"For example: {_EXAMPLES[key]}."))
        elif key == "wrong" and not isinstance(value, list):
            faults.append(Fault(key, "", "It is not a list.", "Write it in square brackets."))
    return faults
