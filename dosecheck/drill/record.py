"""A learner's record: every answer that was given, in one small file that stays on this machine.

Nothing about the person is kept but the name that the file has.  An answer is written when it is given, so a session
that ends in the middle loses nothing.  What is due next is reckoned from the answers (`schedule.py`), never stored.
"""

from __future__ import annotations

import os
import re
import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, datetime
from pathlib import Path
from typing import NamedTuple

from dosecheck.errors import Fault, FileError, InputError

VERSION = 1
_MARK = 0x646F7365  # "dose": SQLite's own place for saying whose file it is
_TABLE = """
create table answers (
    number integer primary key,
    at text not null,
    question text not null,
    kind text not null,
    level integer not null,
    answer text not null,
    result text not null,
    slips text not null,
    hints integer not null,
    seconds integer not null,
    fingerprint text not null
) strict
"""
_NAME = re.compile(r"[A-Za-z0-9][A-Za-z0-9_-]{0,39}")


class Answer(NamedTuple):
    """One answer: `at` in UTC; `slips` the names of what explains it, pairs joined by "+"; `hints` how many were seen."""

    at: datetime
    question: str
    kind: str
    level: int
    answer: str
    result: str
    slips: tuple[str, ...]
    hints: int
    seconds: int
    fingerprint: str


def record_path(learner: str) -> str:
    """Where a learner's record is: the folder of DOSECHECK_RECORDS, or the user's data folder.

    Raises:
        InputError: the name could not be a file's.
    """
    if not _NAME.fullmatch(learner):
        given = ascii(learner[:40])[1:-1]
        why = "It is no name of 1 to 40 plain letters, digits, - and _ (an invented one is best)."
        raise InputError([Fault("learner", given, why, 'Write it as "nurse-7".')])
    named = os.environ.get("DOSECHECK_RECORDS")
    if named:
        return os.path.join(named, f"{learner}.sqlite")
    from platformdirs import user_data_dir

    return os.path.join(user_data_dir("dosecheck", appauthor=False), "drill", f"{learner}.sqlite")


class Record:
    """The answers of one file; made when the first answer is added.

    Args:
        path: of the file.

    Raises:
        FileError: it is not a record, is of a later dosecheck, is damaged or in use, or its place cannot be written.
    """

    def __init__(self, path: str) -> None:
        self.path = path
        with _plain_errors(path):
            self._found = os.path.exists(path)
            self._data = sqlite3.connect(path, timeout=2, isolation_level=None) if self._found else None
            if self._data:
                self._look()

    def _look(self) -> None:
        (mark,) = self._data.execute("pragma application_id").fetchone()
        (version,) = self._data.execute("pragma user_version").fetchone()
        if mark != _MARK:
            raise FileError(self.path, "It is not a record of dosecheck's drill. Nothing was changed.", "Name another file.")
        if version > VERSION:
            raise FileError(self.path, "It was written by a later dosecheck. Nothing was changed.", "Use that one.")

    def _made(self) -> sqlite3.Connection:
        if self._data is None:
            Path(self.path).parent.mkdir(parents=True, exist_ok=True)
            os.close(os.open(self.path, os.O_CREAT | os.O_EXCL | os.O_WRONLY, 0o600))  # the learner's own, from the first byte
            self._data = sqlite3.connect(self.path, timeout=2, isolation_level=None)
            self._data.executescript(f"begin; pragma application_id = {_MARK}; pragma user_version = {VERSION}; {_TABLE}; commit;")
        return self._data

    def add(self, answer: Answer) -> None:
        """Written to the disk before it comes back.

        Raises:
            FileError: it cannot be.
        """
        row = answer._replace(at=answer.at.astimezone(UTC).isoformat(timespec="seconds"), slips=";".join(answer.slips))
        with _plain_errors(self.path):
            self._made().execute(f"insert into answers ({', '.join(Answer._fields)}) values ({', '.join('?' * len(row))})", row)

    def answers(self) -> list[Answer]:
        """In the order in which they were given.

        Raises:
            FileError: the file is damaged.
        """
        if self._data is None:
            return []
        with _plain_errors(self.path):
            rows = self._data.execute(f"select {', '.join(Answer._fields)} from answers order by number").fetchall()
            return [Answer(datetime.fromisoformat(row[0]), *row[1:6], tuple(filter(None, row[6].split(";"))), *row[7:]) for row in rows]

    def close(self) -> None:
        if self._data:
            self._data.close()


def delete(path: str) -> bool:
    """Removes a record and what SQLite may have left beside it; True if there was one.

    Raises:
        FileError: it is not a record, or cannot be removed.
    """
    record = Record(path)
    found = record._found
    record.close()
    with _plain_errors(path):
        for name in (path, f"{path}-journal", f"{path}-wal", f"{path}-shm"):
            Path(name).unlink(missing_ok=True)
    return found


@contextmanager
def _plain_errors(path: str) -> Iterator[None]:
    try:
        yield
    except sqlite3.OperationalError as error:
        busy = "locked" in str(error)
        why = "Another session has it open." if busy else f"It cannot be used: {error}."
        raise FileError(path, f"{why} Nothing was changed.", "End the other session first." if busy else "Name another place.") from None
    except (sqlite3.DatabaseError, ValueError) as error:
        raise FileError(
            path, f"It is damaged, or no record: {error}. Nothing was changed.", "Take a copy of it, or start another."
        ) from None
    except OSError as error:
        raise FileError(path, f"It cannot be used: {error.strerror or error}.", "Name another place.") from None
