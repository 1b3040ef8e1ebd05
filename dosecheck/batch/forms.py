"""The forms of files of orders and of results: what the end of a name says, and what the user says instead of it.

A name ends in a form (.csv) and, for text, perhaps in a compression (.csv.gz).  Who reads and who writes a form is said
in `files.py` and `out_forms.py`.
"""

from __future__ import annotations

from pathlib import Path
from typing import NamedTuple

from dosecheck.batch.csv_cut import DELIMITERS
from dosecheck.errors import FileError

SUFFIXES = {".csv": "csv", ".tsv": "tsv", ".jsonl": "jsonl", ".ndjson": "jsonl", ".parquet": "parquet"}
SUFFIXES |= {".xlsx": "xlsx", ".arrow": "arrow", ".feather": "arrow", ".ipc": "arrow", ".arrows": "arrows"}
STREAMS = ("csv", "tsv", "jsonl", "arrow")  # what standard input and output may be; Arrow then as a stream
STANDARD = "-"
TEXT = ("csv", "tsv", "jsonl")
COMPRESSIONS = {".gz": "gzip", ".zst": "zstd"}
ENDINGS = "Use .csv, .tsv, .jsonl or .ndjson (each also with .gz or .zst after it), .parquet, .arrow, .arrows or .xlsx."


class Asked(NamedTuple):
    """What the user says of the orders beside their name; "" leaves it to the name.

    form: of standard input and output, one of STREAMS.
    delimiter: of csv, one of the values of DELIMITERS.
    sheet: of a workbook.
    query: of a database, in place of a table.
    """

    delimiter: str = ""
    form: str = ""
    sheet: str = ""
    query: str = ""


NOTHING = Asked()


class Form(NamedTuple):
    """`name` is one of SUFFIXES's values; `compression` is "", "gzip" or "zstd"."""

    name: str
    compression: str


def form_of(path: str | Path, what: str, asked: str = "") -> Form:
    """The form that the end of a name says; capitals do not matter.

    Args:
        what: "file of orders" or "result", for the message.
        asked: the form of standard input and output ("-"), which have no name.

    Raises:
        FileError: no form ends so.
    """
    if str(path) == STANDARD:
        if not asked:
            raise FileError(STANDARD, f"The form of the {what} is not told.", "Say it: --form csv, tsv, jsonl or arrow.")
        return Form("arrows" if asked == "arrow" else asked, "")
    path = Path(path)
    packed = COMPRESSIONS.get(path.suffix.lower(), "")
    suffix = Path(path.stem).suffix.lower() if packed else path.suffix.lower()
    name = SUFFIXES.get(suffix)
    if name is None or (packed and name not in TEXT):
        ending = suffix + path.suffix.lower() if packed else path.suffix
        raise FileError(str(path), f'A {what} cannot end in "{ending}".', ENDINGS)
    return Form(name, packed)


def delimiter_of(form: str, asked: str, path: str) -> str:
    """The mark between the fields of a CSV or TSV file."""
    if asked and form != "csv":
        raise FileError(path, "Only a CSV file has a delimiter of its own.", "Leave --delimiter out.")
    return asked or (DELIMITERS["tab"] if form == "tsv" else ",")
