"""The door for files of orders: `read_orders` and `ResultWriter`.  The suffix of the name decides the form.

for chunk in read_orders("orders.csv"):
    ...
with ResultWriter("answers.csv", columns, source="orders.csv") as result:
    result.write(answers)
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from pathlib import Path

from dosecheck.batch.chunk import Chunk, Refused
from dosecheck.batch.csv_in import read_csv
from dosecheck.batch.out import ResultWriter
from dosecheck.batch.tables_in import read_lines, read_parquet
from dosecheck.errors import FileError

__all__ = ["Chunk", "Refused", "ResultWriter", "read_orders"]


def read_orders(path: str | Path, known: Sequence[str] = ()) -> Iterator[Chunk]:
    """The rows of an order file in chunks of bounded size, every value text or null; at least one chunk.

    Args:
        path: a .csv, .parquet, .jsonl or .ndjson file.
        known: names of columns that may turn up later than the first line (JSON Lines only).

    Raises, while chunks are asked for:
        FileError: nothing of the file may be used, also when earlier chunks were good.
    """
    path = Path(path)
    suffix = path.suffix.lower()
    if suffix == ".csv":
        return read_csv(path)
    if suffix == ".parquet":
        return read_parquet(path)
    if suffix in (".jsonl", ".ndjson"):
        return read_lines(path, known)
    raise FileError(str(path), f'A file of orders cannot end in "{suffix}".', "Use a .csv, .parquet, .jsonl or .ndjson file.")
