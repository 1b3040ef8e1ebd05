"""Cuts a CSV file into its header and blocks of whole rows, and finds the rows whose form is broken.

A quote opens only at the start of a field and closes only at its end; inside, it is written twice.  A row ends at
a line feed (with or without a carriage return) outside quotes.  So the end of every row is certain even where the
row is broken, and a broken row cannot swallow its neighbours.  Reading the fields is left to `csv_in.py`.
"""

from __future__ import annotations

import codecs
import csv
import io
import re
from collections.abc import Iterator
from functools import lru_cache
from typing import BinaryIO, NamedTuple, NoReturn

import polars as pl
import pyarrow as pa

from dosecheck.batch.chunk import CHUNK_BYTES, CHUNK_ROWS, LONGEST_ROW, shown
from dosecheck.errors import FileError

HEADER_BYTES = LONGEST_ROW
Span = tuple[int, int]

_PLURAL = {",": "commas", ";": "semicolons", "\t": "tabs", "|": "pipes (upright strokes)"}
DELIMITERS = {"comma": ",", "semicolon": ";", "tab": "\t", "pipe": "|"}

_LONE_RETURN = re.compile(rb"\r[^\n]")
_BLANK_LINES = re.compile(rb"(?:\r?\n)*")

_MAGIC = {
    b"PK\x03\x04": "a zip file or a spreadsheet",
    b"\xd0\xcf\x11\xe0": "an old spreadsheet",
    b"PAR1": "a Parquet file",
    b"ARROW1": "an Arrow file",
    b"\x1f\x8b": "a compressed file",
    b"\x28\xb5\x2f\xfd": "a compressed file",
    b"\xff\xfe": "text in UTF-16",
    b"\xfe\xff": "text in UTF-16",
}


class Marks:
    """How rows and fields are told apart where `delimiter` separates the fields.

    A field in good form, and a field of any form whose end is certain.  Neither can match one text in two ways, so the
    time stays in proportion to the text; the memory is bounded by matching LONGEST_ROW bytes at a time.
    """

    def __init__(self, delimiter: str) -> None:
        self.name = next(name for name, mark in DELIMITERS.items() if mark == delimiter)
        mark = rb"\x%02x" % ord(delimiter)
        good = rb'(?:"[^"\x00]*(?:""[^"\x00]*)*"|[^' + mark + rb'"\r\n\x00]*)'
        any_ = rb'(?:"[^"]*(?:""[^"]*)*"(?!")[^M\n]*|[^"M\n][^M\n]*|)'.replace(b"M", mark)
        self.good_text = rb"(?:%s(?:%s%s)*\r?\n)*" % (good, mark, good)
        self.good_rows = re.compile(self.good_text)
        self.good_fields = re.compile(rb"(?:%s%s)*" % (good, mark))
        self.any_row = re.compile(rb"%s(?:%s%s)*\n" % (any_, mark, any_))
        self.any_fields = re.compile(rb"(?:%s%s)*" % (any_, mark))
        self.any_field = re.compile(any_)

    def is_good(self, text: bytes, end: int) -> bool:
        """All rows in good form: asked of Arrow's matcher, which is twice as fast as `walk` and says only yes or no."""
        import pyarrow.compute as pc  # loaded only for a file with quotes, for it takes a while

        sizes = pa.array([0, end], pa.int64()).buffers()[1]
        whole = pa.Array.from_buffers(pa.large_binary(), 1, [None, sizes, pa.py_buffer(text)])
        return pc.match_substring_regex(whole, rf"\A{self.good_text.decode()}\z")[0].as_py()

    def walk(self, text: bytes) -> tuple[int, list[Span]]:
        """Where the last whole row ends, and the broken rows before that place."""
        at, broken = 0, []
        while True:
            end = self.good_rows.match(text, at, at + LONGEST_ROW).end()
            if end == at:
                row = self.any_row.match(text, at, at + LONGEST_ROW)
                if row is None:
                    return at, broken
                broken.append(row.span())
                end = row.end()
            at = end

    def bad_field(self, row: bytes) -> tuple[int, bytes]:
        """The first field of a broken row that is broken, and where it starts."""
        at = self.good_fields.match(row).end()
        return at, self.any_field.match(row, at).group()

    def fault(self, row: bytes) -> str:
        """Why a broken row is broken, and what to write instead."""
        _, field = self.bad_field(row)
        if b"\0" in field:
            return "It holds a NUL byte. Type the row again."
        if field.startswith(b'"'):
            return "Text follows a closing quote. Inside quotes, write a quote twice."
        if b'"' in field:
            return "There is a quote in the middle of a field. Put the whole field in quotes and write the inner quote twice."
        return "There is a carriage return in the middle of it. End each row with a line feed."


marks_of = lru_cache(Marks)


class Block(NamedTuple):
    """Whole rows; `line` is the line of the first, `lines` how many there are; `broken`: where rows are in bad form."""

    text: bytes
    line: int
    lines: int
    broken: list[Span]


class CsvFile:
    """A CSV file, open at its start: `names` are the columns, `header` their line, `blocks` yields the rows; one `delimiter` for all."""

    def __init__(self, file: BinaryIO, path: str, delimiter: str = ",") -> None:
        self._file, self._path = file, path
        self.delimiter, self.marks = delimiter, marks_of(delimiter)
        text = file.read(HEADER_BYTES)
        self._refuse_other_forms(text)
        ended = len(text) < HEADER_BYTES  # asked before the mark goes, which makes any text shorter
        text = text.removeprefix(codecs.BOM_UTF8)
        if ended and not text.endswith(b"\n"):
            text += b"\n"
        start = _BLANK_LINES.match(text).end()
        self._line = 1 + text.count(b"\n", 0, start)
        header = self.marks.any_row.match(text, start) or self._raise_unended(text, start)
        self.header = header.group()
        self.names = self._read_names(self.header)
        self._line += header.group().count(b"\n")
        self._held = text[header.end() :]

    def _error(self, why: str, write: str) -> FileError:
        return FileError(self._path, why, write)

    def _refuse_other_forms(self, text: bytes) -> None:
        if not text.strip(codecs.BOM_UTF8 + b"\r\n"):
            raise self._error(f"It has no header line ({len(text)} bytes).", "The first line names the columns.")
        for magic, form in _MAGIC.items():
            if text.startswith(magic):
                raise self._error(f"This is {form}, not CSV text.", "Save or export it as CSV in UTF-8.")

    def _read_names(self, header: bytes) -> list[str]:
        self._refuse_other_delimiter(header)
        if not self.marks.good_rows.fullmatch(header):
            raise self._error(f"The header line cannot be read: {self.marks.fault(header)}", "Put it right first.")
        try:
            text = header.decode()
            names = next(csv.reader(io.StringIO(text, newline=""), strict=True, delimiter=self.delimiter))
        except UnicodeDecodeError as error:
            raise self._error(f"The header line cannot be read: {not_utf8(error)}", "") from error
        except csv.Error as error:
            raise self._error(f"The header line cannot be read: {error}.", "Put it right first.") from error
        self._check_names(names)
        return names

    def _refuse_other_delimiter(self, header: bytes) -> None:
        """A header with more of another delimiter than of ours is plainly of that one; which, only the user says."""
        bare = re.sub(rb'"[^"]*"', b"", header).decode("utf-8", "replace")
        counts = {mark: bare.count(mark) for mark in DELIMITERS.values()}
        most = max(counts, key=counts.__getitem__)
        if counts[most] > counts[self.delimiter]:
            option = next(name for name, mark in DELIMITERS.items() if mark == most)
            why = f"The columns are separated by {_PLURAL[most]}, and {_PLURAL[self.delimiter]} were expected."
            raise self._error(why, f"If that is how the file is meant, say so: --delimiter {option}.")

    def _check_names(self, names: list[str]) -> None:
        if len(names) == 1:
            why = f'The header has one column only, "{shown(names[0])}".'
            raise self._error(why, f"Separate the columns by {_PLURAL[self.delimiter]}.")
        if "" in names:
            raise self._error(f"Column {names.index('') + 1} has no name.", "Name each column in the header line.")
        twice = sorted({name for name in names if names.count(name) > 1})
        if twice:
            raise self._error(f'The header names "{shown(twice[0])}" twice.', "Give each column its own name.")

    def blocks(self) -> Iterator[Block]:
        """All rows after the header, in blocks of CHUNK_BYTES, or fewer where so many hold more than CHUNK_ROWS."""
        size, ended = _size_like(self._held, self._held.count(b"\n")), False
        while not ended:
            more = self._file.read(size)
            ended = len(more) < size
            text = self._held + more
            if ended and text and not text.endswith(b"\n"):
                text += b"\n"
            end, broken = _cut(text, self.marks)
            self._refuse_torn(text, broken)
            if len(text) - end > LONGEST_ROW or (ended and end < len(text)):
                self._raise_unended(text, end)
            self._held, text = text[end:], text[:end]
            if text:
                lines = how_many(text, "\n")
                yield Block(text, self._line, lines, broken)
                self._line += lines
                size = _size_like(text, lines)

    def rows(self, block: Block) -> Iterator[Span]:
        """The place of each row of the block that was yielded last, blank lines as well."""
        at = 0
        while at < len(block.text):
            row = self.marks.any_row.match(block.text, at, at + LONGEST_ROW) or self._raise_unended(block.text, at)
            yield row.span()
            at = row.end()

    def _refuse_torn(self, text: bytes, broken: list[Span]) -> None:
        """A quoted field that runs over lines and ends in mid-text: its own closing quote is surely missing."""
        for start, end in broken:
            at, field = self.marks.bad_field(text[start:end])
            if field.startswith(b'"') and b"\0" not in field and b"\n" in field:
                first = self._line + text.count(b"\n", 0, start + at)
                last = first + field.count(b"\n")
                raise self._error(f"The quote opened at line {first} is not closed before line {last}.", "Close it, and check again.")

    def _raise_unended(self, text: bytes, row: int) -> NoReturn:
        at = self.marks.any_fields.match(text, row, row + LONGEST_ROW).end()
        line = self._line + text.count(b"\n", 0, at)
        if text[at : at + 1] == b'"':
            cut = "never closed" if len(text) - row < LONGEST_ROW else f"not closed within {LONGEST_ROW:,} bytes"
            raise self._error(f"The quote opened at line {line} is {cut}.", "Is the file cut short? Close the quote.")
        raise self._error(f"The row at line {line} is longer than {LONGEST_ROW:,} bytes.", "Is this a file of orders?")


def how_many(text: bytes, mark: str) -> int:
    """As `bytes.count` of one ASCII character, in a tenth of the time."""
    return (pl.Series(pa.Array.from_buffers(pa.uint8(), len(text), [None, pa.py_buffer(text)])) == ord(mark)).sum()


def _size_like(text: bytes, lines: int) -> int:
    return min(CHUNK_BYTES, CHUNK_ROWS * len(text) // lines) if lines else CHUNK_BYTES


def _cut(text: bytes, marks: Marks) -> tuple[int, list[Span]]:
    """Where the last whole row ends, and the broken rows before that place."""
    end = text.rfind(b"\n") + 1
    if _is_plain(text, end) or marks.is_good(text, end):
        return end, []
    return marks.walk(text)


def _is_plain(text: bytes, end: int) -> bool:
    """No quotes and nothing odd: each line is a row."""
    if text.find(b'"', 0, end) >= 0 or text.find(b"\0", 0, end) >= 0:
        return False
    return text.find(b"\r", 0, end) < 0 or not _LONE_RETURN.search(text, 0, end)


def not_utf8(error: UnicodeDecodeError) -> str:
    """Names the byte, so that it is never dropped in silence."""
    return f"The byte 0x{error.object[error.start]:02X} is not UTF-8 text. Save the file as UTF-8."
