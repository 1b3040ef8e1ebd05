"""The door for files of orders: `read_orders` and `ResultWriter`.  The end of the name decides the form.

for chunk in read_orders("orders.csv.gz"):
    ...
with ResultWriter("answers.csv", columns, source="orders.csv.gz") as result:
    result.write(answers)
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import BinaryIO

from dosecheck.batch.chunk import Chunk, Refused, plain
from dosecheck.batch.csv_in import read_csv
from dosecheck.batch.database import is_address, read_database, told
from dosecheck.batch.forms import NOTHING, STANDARD, Asked, Form, delimiter_of, form_of
from dosecheck.batch.lines_in import read_lines
from dosecheck.batch.out import ResultWriter
from dosecheck.batch.several import files_of, is_several, read_several
from dosecheck.batch.tables_in import read_arrow, read_parquet
from dosecheck.batch.unpack import opened, standard_input
from dosecheck.batch.workbook_in import read_workbook
from dosecheck.errors import FileError

__all__ = ["NOTHING", "Asked", "Chunk", "Refused", "ResultWriter", "read_coded", "read_orders", "sources_of"]


def read_orders(source: str | Path, known: Sequence[str] = (), asked: Asked = NOTHING) -> Iterator[Chunk]:
    """The rows of an order file as `read_coded` gives them, but with every column as plain text."""
    return map(plain, read_coded(source, known, asked))


def read_coded(source: str | Path, known: Sequence[str] = (), asked: Asked = NOTHING) -> Iterator[Chunk]:
    """The rows of an order file in chunks of bounded size, every value text or null; at least one chunk.

    Args:
        source: the address of a database, a file of a form that `forms.py` knows, a folder or a pattern of such files, or "-" for standard input.
        known: names of columns that may turn up later than the first line (JSON Lines only).
        asked: what the name does not say.

    Raises:
        FileError: at once, if no file ends so; or while chunks are asked for, if nothing of the file may be used,
            also when earlier chunks were good.
    """
    source = str(source)
    if is_address(source):
        return read_database(source, asked.query)
    if asked.query:
        raise FileError(source, "Only a database takes a query.", "Leave --query out.")
    if is_several(source):
        return read_several(source, lambda path: _one(str(path), known, asked))
    return _one(source, known, asked)


def sources_of(source: str | Path) -> list[str]:
    """The files that `read_orders` reads, one after another; what is no file stands for itself."""
    if is_address(str(source)):
        return [told(str(source))]
    return [str(path) for path in files_of(str(source))] if is_several(str(source)) else [str(source)]


def _one(source: str, known: Sequence[str], asked: Asked) -> Iterator[Chunk]:
    form = form_of(source, "file of orders", asked.form)
    mark = delimiter_of(form.name, asked.delimiter, source)
    if asked.sheet and form.name != "xlsx":
        raise FileError(source, "Only a workbook has sheets.", "Leave --sheet out.")
    return _chunks(source, form, mark, known, asked.sheet)


def _chunks(source: str, form: Form, mark: str, known: Sequence[str], sheet: str) -> Iterator[Chunk]:
    with standard_input() if source == STANDARD else opened(Path(source), form.compression) as file:
        path = "standard input" if source == STANDARD else source
        yield from read_workbook(file, path, sheet) if form.name == "xlsx" else _read(file, path, form.name, mark, known)


def _read(file: BinaryIO, path: str, form: str, mark: str, known: Sequence[str]) -> Iterator[Chunk]:
    if form == "parquet":
        return read_parquet(file, path)
    if form in ("arrow", "arrows"):
        return read_arrow(file, path)
    if form == "jsonl":
        return read_lines(file, path, known)
    return read_csv(file, path, mark)
