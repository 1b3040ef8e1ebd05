"""The TOML parser's complaints in plain words, with their line; loaded only when a file cannot be read."""

from __future__ import annotations

import re

from dosecheck.errors import FormularyFault

# How the parser's sentence starts, what is wrong, what to write.
_WORDS = {
    "Cannot overwrite a value": ("The same key stands twice in one entry.", "Keep one of them."),
    "Cannot declare": ("The same table stands twice.", "Keep one; the entries of a list have double brackets, such as [[regimen]]."),
    "Cannot mutate": ("The table was closed before, and is added to here.", "Keep all of it in one place."),
    "Invalid value": ("The value cannot be read.", "Text stands in double quotes, a date without any: 2024-05-01."),
    "Invalid date": ("There is no such date.", "Look at the month and the day."),
    "Invalid statement": ("The line is neither a key with its value nor a table.", 'Write key = "value".'),
    "Invalid initial character": ("A key is missing, or a table in braces runs over several lines.", "Write such a table on one line."),
    "Expected '='": ("A key has no value.", 'Write key = "value"; a key of two words has an underscore between them.'),
    "Expected newline": ("Something more stands after the value.", "Write one key a line; a comment starts with #."),
    "Expected ']'": ("The table's name is not closed.", "Write it as [[regimen]]."),
    'Expected "\'"': ("A text is not closed.", "Close it as it was opened."),
    "Unterminated string": ("A text is not closed.", "Close it as it was opened."),
    "Illegal character": ("A text is not closed on its line, or holds a hidden character.", "Close it with a double quote."),
    "Found invalid character": ("There is a hidden character.", "Type the line again."),
    "Unescaped": ("A text has a backslash.", "Write two of them, or none."),
    "Unclosed array": ("A list is not closed, or a comma is missing in it.", 'Write it as ["1 g", "60 mg/kg"].'),
    "Unclosed inline table": (
        "A table in braces is not closed, or a comma is missing in it.",
        'Write it as { low = "10 mg/kg", high = "15 mg/kg" }.',
    ),
    "Exceeds the limit": ("A number has thousands of digits.", "Look for it, and write it again."),
}


def toml_fault(name: str, said: str, content: bytes) -> FormularyFault:
    """Args: said: the parser's own sentence, which stands as it is where this table does not know it."""
    found = re.search(r"\(at line (\d+), column (\d+)", said)
    at = (int(found[1]), int(found[2])) if found else (content.count(b"\n") + 1, 1)
    place = f"line {at[0]}" if found else "at the end" if "end of document" in said else ""
    for start, (why, write) in _WORDS.items():
        if said.startswith(start):
            return FormularyFault(name, place, "", why, write, *at)
    return FormularyFault(name, place, "", f"It is not well-formed TOML: {said}.", "Look at that line and the one before.", *at)
