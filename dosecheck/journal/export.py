"""The journal as CSV, for a spreadsheet or another program."""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Iterable

from dosecheck.journal.chain import Entry
from dosecheck.saving import FORMULA


def to_csv(entries: Iterable[Entry]) -> bytes:
    """One row an entry, by number; text that a spreadsheet would run gets a leading apostrophe, bytes that are no text are told by code."""
    text = io.StringIO(newline="")
    rows = csv.writer(text, lineterminator="\n")
    rows.writerow(Entry._fields)
    for entry in entries:
        rows.writerow("'" + field if isinstance(field, str) and re.match(FORMULA, field) else field for field in entry)
    return text.getvalue().encode("utf-8", "backslashreplace")
