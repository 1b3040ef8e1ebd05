"""The journal as CSV, for a spreadsheet or another program."""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Iterable

from dosecheck.journal.chain import Entry

_RUNS = re.compile(r"[=+\-@\t\r\n]")  # what a spreadsheet would take for a formula


def to_csv(entries: Iterable[Entry]) -> bytes:
    """One row an entry, by number; text that a spreadsheet would run gets a leading apostrophe."""
    text = io.StringIO(newline="")
    rows = csv.writer(text, lineterminator="\n")
    rows.writerow(Entry._fields)
    for entry in entries:
        rows.writerow("'" + field if isinstance(field, str) and _RUNS.match(field) else field for field in entry)
    return text.getvalue().encode()
