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

from dosecheck.batch.chunk import Chunk, Refused
from dosecheck.batch.csv_in import read_csv
from dosecheck.batch.forms import NOTHING, Asked, delimiter_of, form_of
from dosecheck.batch.out import ResultWriter
from dosecheck.batch.tables_in import read_lines, read_parquet
from dosecheck.batch.unpack import opened

__all__ = ["NOTHING", "Asked", "Chunk", "Refused", "ResultWriter", "read_orders"]


def read_orders(path: str | Path, known: Sequence[str] = (), asked: Asked = NOTHING) -> Iterator[Chunk]:
    """The rows of an order file in chunks of bounded size, every value text or null; at least one chunk.

    Args:
        path: a file of a form that `forms.py` knows.
        known: names of columns that may turn up later than the first line (JSON Lines only).
        asked: what the name does not say.

    Raises:
        FileError: at once, if no file ends so; or while chunks are asked for, if nothing of the file may be used,
            also when earlier chunks were good.
    """
    form = form_of(path, "file of orders")
    mark = delimiter_of(form.name, asked.delimiter, str(path))
    return _chunks(Path(path), form.compression, form.name, mark, known)


def _chunks(path: Path, compression: str, form: str, mark: str, known: Sequence[str]) -> Iterator[Chunk]:
    with opened(path, compression) as file:
        yield from _read(file, str(path), form, mark, known)


def _read(file: BinaryIO, path: str, form: str, mark: str, known: Sequence[str]) -> Iterator[Chunk]:
    if form == "parquet":
        return read_parquet(file, path)
    if form == "jsonl":
        return read_lines(file, path, known)
    return read_csv(file, path, mark)
