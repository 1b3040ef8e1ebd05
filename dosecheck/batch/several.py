"""A folder or a pattern of names stands for files of one form, one after another, sorted by name."""

from __future__ import annotations

import glob
import os
from collections.abc import Callable, Iterator, Sequence
from fnmatch import fnmatchcase
from pathlib import Path

from dosecheck.batch.chunk import Chunk, shown
from dosecheck.batch.forms import form_of
from dosecheck.errors import FileError

Read = Callable[[Path], Iterator[Chunk]]


def is_several(source: str) -> bool:
    return os.path.isdir(source) or (not os.path.exists(source) and glob.has_magic(source))


def files_of(source: str) -> list[Path]:
    """The files of a folder (hidden ones left out) or of a pattern.

    Raises:
        FileError: there are none, one is a folder, or they are of several forms.
    """
    names = [os.path.join(source, name) for name in os.listdir(source)] if os.path.isdir(source) else glob.glob(source)
    files = sorted(Path(name) for name in names if not os.path.basename(name).startswith("."))
    if not files:
        raise FileError(source, "There is no file of orders.", "Name a file, a folder of files, or a pattern in quotes.")
    forms = {path: form_of(path, "file of orders").name for path in files}
    other = next((path for path in files if forms[path] != forms[files[0]]), None)
    if other is not None:
        why = f"Files of several forms: {shown(files[0].name)} and {shown(other.name)}."
        raise FileError(source, why, 'Name those that are meant, such as "orders/*.csv" in quotes.')
    return files


def names_of(paths: Sequence[str | Path]) -> list[str]:
    """What tells the files apart: their names, with the folders below their common one where two have the same name."""
    names = [Path(path).name for path in paths]
    if len(set(names)) == len(names):
        return names
    whole = [os.path.abspath(path) for path in paths]
    top = os.path.commonpath([os.path.dirname(path) for path in whole])
    return [Path(os.path.relpath(path, top)).as_posix() for path in whole]


def would_be_read(source: str, result: str) -> bool:
    """Whether a result of this name replaces a file of the source, or would be one of its files the next time."""
    if os.path.exists(result) and os.path.exists(source) and os.path.samefile(result, source):
        return True
    folder, name = os.path.split(os.path.realpath(result))
    if os.path.isdir(source):
        return os.path.samefile(source, folder) if os.path.isdir(folder) else False
    if not is_several(source):
        return False
    same = any(os.path.exists(result) and os.path.samefile(path, result) for path in glob.glob(source))
    pattern_folder, pattern = os.path.split(os.path.realpath(source))
    return same or (fnmatchcase(folder, pattern_folder) and fnmatchcase(name, pattern))


def read_several(source: str, read: Read) -> Iterator[Chunk]:
    """The chunks of every file, each row refused with the name of its file.

    Raises:
        FileError: the columns of a file are not those of the first.
    """
    files = files_of(source)
    columns: list[str] = []
    for path, name in zip(files, names_of(files), strict=True):
        for chunk in read(path):
            found = chunk.rows.columns
            if not columns:
                columns = found
            if sorted(found) != sorted(columns):
                raise FileError(
                    str(path), f"Its columns are not those of {shown(files[0].name)}: {_difference(columns, found)}.", "Make them the same."
                )
            refused = [row._replace(file=name) for row in chunk.refused]
            given = tuple(each for each in chunk.given if found == columns or not each.header)  # under the first file's header
            yield chunk._replace(rows=chunk.rows.select(columns), refused=refused, files=((0, name),), given=given)


def _difference(first: list[str], found: list[str]) -> str:
    missing = [f'"{shown(name)}" is missing' for name in first if name not in found]
    more = [f'"{shown(name)}" is more' for name in found if name not in first]
    return ", ".join((missing + more)[:5])
