"""Cuts a CSV file into its header and blocks of whole rows, and finds the rows whose form is broken.

A quote opens only at the start of a field and closes only at its end; inside, it is written twice.  A row ends at
a line feed (with or without a carriage return) outside quotes.  So the end of each row is certain even where a row
is broken, and a broken row cannot swallow its neighbours.  Reading the fields is left to `csv_in.py`.
"""

from __future__ import annotations

import codecs
import csv
import io
import re
from collections import Counter
from collections.abc import Iterator
from pathlib import Path
from typing import BinaryIO, NamedTuple

import pyarrow as pa
import pyarrow.compute as pc

from dosecheck.batch.chunk import CHUNK_BYTES, LONGEST_FIELD, LONGEST_ROW, shown
from dosecheck.errors import FileError

MOST_COLUMNS = 1_000
BOM = codecs.BOM_UTF8
Span = tuple[int, int]

# A field in good form, and any field whose end is certain.  The repeats are bounded so that no text can make the
# matcher eat memory; nothing here can match in two ways, so that the time stays in proportion to the text.
_GOOD = rb'(?:"[^"\x00]*(?:""[^"\x00]*)*"|[^",\r\n\x00]*)'
_ANY = rb'(?:"[^"]*(?:""[^"]*){0,%d}"(?!")[^,\n]*|[^",\n][^,\n]*|)' % LONGEST_FIELD
_GOOD_ROW = _GOOD + rb"(?:,%s)*\r?\n" % _GOOD

_GOOD_ROWS = re.compile(rb"(?:%s(?:,%s){0,%d}\r?\n){0,500}" % (_GOOD.replace(b")*", b"){0,%d}" % LONGEST_FIELD), _GOOD, MOST_COLUMNS))
_GOOD_FIELDS = re.compile(rb"(?:%s,){0,%d}" % (_GOOD, MOST_COLUMNS))
_ANY_FIELDS = re.compile(rb"(?:%s,){0,%d}" % (_ANY, MOST_COLUMNS))
_ANY_FIELD = re.compile(_ANY)
