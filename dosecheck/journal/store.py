"""The entries in one SQLite file: added at the end, never changed, removed only when they are old and by an entry that says so."""

from __future__ import annotations

import os
import secrets
import sqlite3
import stat
import threading
from collections.abc import Callable, Iterator
from contextlib import closing, contextmanager, suppress
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

from dosecheck.errors import FileError
from dosecheck.journal.chain import REMOVAL, START, Break, Entry, exact, first_break, hash_of, storable

VERSION = 1
_MARK = 0x646F736A  # SQLite's own place for saying whose file it is
_FIELDS = "number, at, kind, by, fingerprint, asked, answer, previous, hash"
_MADE = f"""
pragma journal_mode = wal;
begin immediate;
create table entry (
    number integer primary key autoincrement,
    at text not null, kind text not null, by text not null, fingerprint text not null,
    asked text not null, answer text not null, previous text not null, hash text not null
) strict;
create trigger entry_follows before insert on entry
when (new.number - 1, new.previous) is not
    (select coalesce(max(number), 0), coalesce(max(hash), '{START}') from (select number, hash from entry order by number desc limit 1)) begin
    select raise(abort, 'an entry of the journal comes after the last one');
end;
create trigger entry_stays before update on entry begin
    select raise(abort, 'an entry of the journal is never changed');
end;
create trigger entry_is_kept before delete on entry
when old.number > coalesce((select max(json_extract(asked, '$.up_to')) from entry where kind = '{REMOVAL}'), 0) begin
    select raise(abort, 'an entry of the journal is removed only when it is old');
end;
pragma application_id = {_MARK};
pragma user_version = {VERSION};
commit;
"""


class Journal:
    """Args:
        path: the file; made, for its owner alone, when it is not there.
        clock: what time it is; UTC.
        new: whether it may be made.

    Raises:
        FileError: it is a link, no journal, of a later dosecheck, damaged, or its place cannot be written.
    """

    def __init__(self, path: str | os.PathLike[str], clock: Callable[[], datetime] = lambda: datetime.now(UTC), new: bool = True) -> None:
        self.path, self._clock = os.fspath(path), clock
        self._lock = threading.Lock()
        with self._one_error():
            self._admit(new)
            self._file = self._which()
            self._db = self._connect(self.path)
        try:
            with self._one_error():
                self._open()
        except BaseException:
            self._db.close()
            raise

    def _admit(self, new: bool) -> None:
        """Before SQLite touches it: a plain file, or none yet."""
        if os.path.islink(self.path):
            raise self._error("It is a link.", "Name the file itself.")
        if not os.path.lexists(self.path):
            if not new:
                raise self._error("There is no such file.", "Name the journal that the page was started with.")
            self._make()
        elif not stat.S_ISREG(os.stat(self.path).st_mode):
            raise self._error("It is no plain file.", "Name a file.")

    def _make(self) -> None:
        """Beside its place, for its owner alone, and only then under its name: it is whole, whoever else makes it now."""
        part = f"{self.path}.{secrets.token_hex(4)}.part"
        os.close(os.open(part, os.O_CREAT | os.O_EXCL | os.O_WRONLY, 0o600))
        try:
            with closing(self._connect(part)) as db:
                db.executescript(_MADE)
            with suppress(FileExistsError):
                os.link(part, self.path)
        finally:
            os.unlink(part)

    @staticmethod
    def _connect(path: str) -> sqlite3.Connection:
        """Never makes a file.  Bytes that are no text are handed on as they are, for `verify` to name their entry."""
        address = f"{Path(os.path.abspath(path)).as_uri()}?mode=rw"
        db = sqlite3.connect(address, uri=True, timeout=10, isolation_level=None, check_same_thread=False)
        db.text_factory = lambda raw: raw.decode("utf-8", "surrogateescape")
        return db

    def _open(self) -> None:
        mark, version = (self._db.execute(f"pragma {name}").fetchone()[0] for name in ("application_id", "user_version"))
        if mark != _MARK:
            raise self._error("It is not a journal of dosecheck.", "Choose another file.")
        if version > VERSION:
            raise self._error("It was written by a later dosecheck.", "Use that one.")
        self._db.execute("pragma synchronous = full")
        self._db.execute("pragma secure_delete = on")  # what is removed is overwritten, not only let go

    def _which(self) -> tuple[int, int]:
        """Which file stands under the name now."""
        told = os.stat(self.path)
        return told.st_dev, told.st_ino

    def _error(self, why: str, write: str) -> FileError:
        return FileError(self.path, why, write)

    @contextmanager
    def _one_error(self) -> Iterator[None]:
        """Every failure of the system or of SQLite as one sentence."""
        try:
            yield
        except sqlite3.DatabaseError as error:
            raise self._error(f"The journal cannot be used: {error}.", "Look at the file, its place, and who may write there.") from None
        except OSError as error:
            raise self._error(f"It cannot be opened: {error.strerror or error}.", "Look at its place, and who may write there.") from None

    def close(self) -> None:
        with suppress(sqlite3.Error):
            self._db.close()

    def add(self, kind: str, asked: dict[str, Any], answer: dict[str, Any], fingerprint: str, by: str = "") -> int:
        """Writes one entry, whole and on the disk when this returns; its number.

        Raises:
            FileError: it could not be written; nothing of it is in the file.
            ValueError: the kind is the journal's own.
        """
        if kind == REMOVAL:
            raise ValueError(f"{REMOVAL!r} is written by remove_older alone")
        with self._one_error(), self._lock, self._writing():
            return self._add(kind, exact(asked), exact(answer), fingerprint, by)

    @contextmanager
    def _writing(self) -> Iterator[None]:
        """One writer at a time, also among processes; a file that was moved away or replaced is not written unseen."""
        if self._which() != self._file:
            raise self._error("Another file stands under this name now.", "Put the journal back, or start again.")
        self._db.execute("begin immediate")
        try:
            yield
            self._db.execute("commit")
        except BaseException:
            with suppress(sqlite3.Error):
                self._db.execute("rollback")
            raise

    def _add(self, kind: str, asked: str, answer: str, fingerprint: str, by: str) -> int:
        last, previous = _head(self._db)
        number = last + 1
        at = self._clock().astimezone(UTC).isoformat(timespec="seconds")
        told = (number, at, storable(kind), storable(by), storable(fingerprint), asked, answer, previous)
        self._db.execute(f"insert into entry ({_FIELDS}) values (?, ?, ?, ?, ?, ?, ?, ?, ?)", (*told, hash_of(*told)))
        return number

    @contextmanager
    def _reading(self) -> Iterator[sqlite3.Connection]:
        """The file as it stood at one moment, whatever others write meanwhile."""
        with self._one_error(), closing(self._connect(self.path)) as db:
            db.execute("begin")
            yield db

    def head(self) -> tuple[int, str]:
        """Number and hash of the last entry; of none, 0 and zeros."""
        with self._reading() as db:
            return _head(db)

    def entries(self) -> Iterator[Entry]:
        """All that are there, by number."""
        with self._reading() as db:
            yield from _entries(db)

    def verify(self, head: str = "") -> Break | None:
        """The first broken link, or None; `head`: a hash noted down elsewhere, which must be there."""
        with self._reading() as db:
            return _first_break(db, head)

    def remove_older(self, days: int) -> int:
        """Removes the entries older than so many days, and adds one that says up to where; how many were removed.

        The last entry is never removed.  What the first one left is bound to stays told in the entry of the removal, so the
        chain can still be followed.  What was removed is overwritten in the file.

        Raises:
            FileError: a link is broken, which the removal might hide, or it could not be written; nothing was removed.
        """
        with self._one_error(), self._lock:
            with self._writing():
                removed = self._remove_before((self._clock().astimezone(UTC) - timedelta(days=days)).isoformat(timespec="seconds"))
            self._db.execute("pragma wal_checkpoint(truncate)")  # else it would stay in the file beside this one for a while
            return removed

    def _remove_before(self, at: str) -> int:
        broken = _first_break(self._db)
        if broken:
            why = f"Entry {broken.number} does not hold: {broken.why}."
            raise self._error(why, "Put this file away as it is, and begin a new journal.")
        last = self._db.execute(
            "select number, hash from entry where number < coalesce((select min(number) from entry where at >= ?), "
            "(select max(number) from entry)) order by number desc limit 1",
            (at,),
        ).fetchone()
        if last is None:
            return 0
        self._add(REMOVAL, exact({"up_to": last[0], "hash": last[1], "older_than": at}), "{}", "", "")
        return self._db.execute("delete from entry where number <= ?", (last[0],)).rowcount


def _head(db: sqlite3.Connection) -> tuple[int, str]:
    return db.execute("select number, hash from entry order by number desc limit 1").fetchone() or (0, START)


def _entries(db: sqlite3.Connection) -> Iterator[Entry]:
    return map(Entry._make, db.execute(f"select {_FIELDS} from entry order by number"))


def _first_break(db: sqlite3.Connection, head: str = "") -> Break | None:
    written = db.execute("select seq from sqlite_sequence where name = 'entry'").fetchone()
    return first_break(_entries(db), written[0] if written else 0, head)
