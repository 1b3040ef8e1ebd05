"""Parquet that can be gone on with: each chunk is a Parquet file within the file, and a footer for all of them comes last.

A Parquet file is told by its footer alone, whose offsets go by the whole file; what else stands between the rows is never
looked at.  So every chunk is written behind the last one with a footer of its own, and after that, where the chunk begins.
At the end the footers are found from the last chunk to the first, also those of a run that was stopped.
"""

from __future__ import annotations

import os
from collections.abc import Sequence
from io import BytesIO
from typing import BinaryIO

import polars as pl
import pyarrow as pa
import pyarrow.parquet as pq

from dosecheck.batch.coded import few_texts
from dosecheck.batch.typed import Typed

_MARK = b"PAR1"  # begins and ends a Parquet file; before the last one stands the length of the footer
_LENGTH, _BEGIN = 4, 8  # bytes of that length, and of the place where a chunk begins


class Parquet:
    """One form of results; see `out_forms.Form`.  The file is written by its name: only so do the offsets go by all of it."""

    def __init__(self, file: BinaryIO, columns: Sequence[str], own: Sequence[str]) -> None:
        self._path, self._typed, self._ended = file.name, Typed(columns), False

    def begin(self) -> None: ...

    def go_on(self) -> None:
        with open(self._path, "rb") as part:
            self._typed.take_up(_before(part, os.path.getsize(self._path))[0].schema.to_arrow_schema())

    def write(self, rows: pl.DataFrame) -> None:
        table = self._typed.coded(rows)
        # The least and the greatest text tell nobody anything.
        measured = [field.name for field in table.schema if not _is_text(field.type)]
        coded = [name for name, kind in rows.schema.items() if isinstance(kind, pl.Enum)]
        repeated = [*coded, *(name for name in rows.columns if name not in coded and few_texts(rows[name]))]  # others have a text a row
        with pa.OSFile(self._path, "ab") as sink:
            begin = sink.tell()
            os.lseek(sink.fileno(), 0, os.SEEK_SET)  # the writer wants to begin at 0; the first bytes take it back to the end
            with pq.ParquetWriter(sink, table.schema, write_statistics=measured, use_dictionary=repeated, store_schema=False) as writer:
                writer.write_table(table)
            sink.write(begin.to_bytes(_BEGIN, "little"))

    def finish(self) -> None:
        if self._ended:
            return
        self._ended = True
        if not os.path.getsize(self._path):
            self.write(self._typed.no_rows())
        footer = BytesIO()
        self._of_all().write_metadata_file(footer)
        with open(self._path, "ab") as file:
            file.write(footer.getbuffer()[len(_MARK) :])

    def _of_all(self) -> pq.FileMetaData:
        footers, end = [], os.path.getsize(self._path)
        with open(self._path, "rb") as part:
            while end:
                footer, begin = _before(part, end)
                if any(not begin < place < end for place in _places(footer)):
                    raise AssertionError(f"The footer of the chunk from {begin} to {end} tells of rows elsewhere.")
                footers.append(footer)
                end = begin
        whole = footers.pop()
        while footers:
            whole.append_row_groups(footers.pop())
        return whole


def _is_text(kind: pa.DataType) -> bool:
    return pa.types.is_dictionary(kind) or pa.types.is_large_string(kind)


def _before(part: BinaryIO, end: int) -> tuple[pq.FileMetaData, int]:
    """The footer of the chunk that ends there, and where the chunk begins."""
    tail = _LENGTH + len(_MARK)
    part.seek(end - _BEGIN - tail)
    length = int.from_bytes(part.read(_LENGTH), "little")
    part.seek(end - _BEGIN - tail - length)
    footer = pq.read_metadata(BytesIO(_MARK + part.read(length + tail)))
    return footer, int.from_bytes(part.read(_BEGIN), "little")


def _places(footer: pq.FileMetaData) -> list[int]:
    """Where the values of each column stand, by the footer."""
    groups = [footer.row_group(n) for n in range(footer.num_row_groups)]
    return [group.column(n).data_page_offset for group in groups if group.num_rows for n in range(group.num_columns)]
