"""The journal's file: who may read it, what is refused, many writers, a stop in mid-write, a disk that is full."""

from __future__ import annotations

import os
import signal
import sqlite3
import stat
import subprocess
import sys
import threading
from contextlib import closing
from pathlib import Path

import pytest

from dosecheck.errors import FileError
from dosecheck.journal import Journal

WRITER = """
import sys
from dosecheck.journal import Journal
journal = Journal(sys.argv[1])
for number in range(int(sys.argv[2])):
    print(journal.add("order", {"writer": sys.argv[3], "number": number}, {"outcome": "within"}, "0f3a9c"), flush=True)
"""


def writer(path: Path, entries: int, name: str) -> subprocess.Popen[bytes]:
    return subprocess.Popen([sys.executable, "-c", WRITER, str(path), str(entries), name], stdout=subprocess.PIPE)


def test_two_processes_that_make_and_write_it_at_once(tmp_path: Path) -> None:
    """200 entries each: 400 in one chain, each writer's own in its order."""
    writers = [writer(tmp_path / "j.db", 200, name) for name in "ab"]
    numbers = [[int(line) for line in one.communicate(timeout=60)[0].split()] for one in writers]
    assert [one.returncode for one in writers] == [0, 0]
    assert sorted(numbers[0] + numbers[1]) == list(range(1, 401)) and all(own == sorted(own) for own in numbers)
    with closing(Journal(tmp_path / "j.db", new=False)) as journal:
        assert journal.verify() is None and journal.head()[0] == 400
    assert os.listdir(tmp_path) == ["j.db"], "nothing is left beside it"


def test_threads_write_while_others_read_and_verify(tmp_path: Path) -> None:
    """What is read is the file at one moment: never half an entry, never a break that is none."""
    seen: list[object] = []
    with closing(Journal(tmp_path / "j.db")) as journal:
        threads = [threading.Thread(target=lambda: [journal.add("order", {}, {}, "f") for _ in range(30)]) for _ in range(4)]
        for thread in threads:
            thread.start()
        while any(thread.is_alive() for thread in threads):
            seen.append(journal.verify(journal.head()[1]))
        for thread in threads:
            thread.join()
        assert journal.head()[0] == 120 and seen and set(seen) == {None}


def test_a_writer_killed_in_mid_write_leaves_a_whole_journal(tmp_path: Path) -> None:
    """What it was told is written, is there."""
    for stop_after in (1, 7, 20):
        one = writer(tmp_path / "j.db", 100_000, "a")
        assert one.stdout
        for _ in range(stop_after):
            told = int(one.stdout.readline())
        one.send_signal(signal.SIGKILL)
        one.communicate(timeout=60)
        with closing(Journal(tmp_path / "j.db", new=False)) as journal:
            assert journal.verify() is None and journal.head()[0] >= told


def test_it_is_for_its_owner_alone(tmp_path: Path) -> None:
    """Whatever the umask; also the files that SQLite keeps beside it."""
    before = os.umask(0)
    try:
        with closing(Journal(tmp_path / "j.db")) as journal:
            journal.add("order", {}, {}, "0f3a9c")
            assert {stat.S_IMODE(path.stat().st_mode) for path in tmp_path.iterdir()} == {0o600}
            assert len(list(tmp_path.iterdir())) > 1
    finally:
        os.umask(before)


def _other(path: Path) -> None:
    with closing(sqlite3.connect(path)) as db:
        db.execute("create table entry (number integer)")


def _later(path: Path) -> None:
    Journal(path).close()
    with closing(sqlite3.connect(path)) as db:
        db.execute("pragma user_version = 99")


def _link(path: Path) -> None:
    Journal(path.with_name("real.db")).close()
    path.symlink_to("real.db")


@pytest.mark.parametrize(
    ("made", "why"),
    [
        (_other, "not a journal"),
        (_later, "later dosecheck"),
        (_link, "a link"),
        (lambda path: path.symlink_to("nowhere"), "a link"),
        (lambda path: path.mkdir(), "no plain file"),
        (os.mkfifo, "no plain file"),
        (lambda path: path.write_bytes(b""), "not a journal"),
        (lambda path: path.write_bytes(b"number,at,kind\n" * 500), "cannot be used"),
    ],
)
@pytest.mark.parametrize("new", [True, False])
def test_what_is_no_journal_is_refused_and_left_alone(tmp_path: Path, made: object, why: str, new: bool) -> None:
    path = tmp_path / "j.db"
    made(path)  # type: ignore[operator]
    before = path.read_bytes() if path.is_file() else b""
    with pytest.raises(FileError, match=why):
        Journal(path, new=new)
    assert (path.read_bytes() if path.is_file() else b"") == before


def test_no_file_and_no_place(tmp_path: Path) -> None:
    with pytest.raises(FileError, match="no such file"):
        Journal(tmp_path / "j.db", new=False)
    with pytest.raises(FileError, match="cannot be opened"):
        Journal(tmp_path / "nowhere" / "j.db")
    assert not list(tmp_path.iterdir())


def test_a_name_that_means_something_to_sqlite_is_a_file_like_any(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """ ":memory:" would be kept nowhere."""
    monkeypatch.chdir(tmp_path)
    for name in (":memory:", "a?mode=memory#b%20.db"):
        with closing(Journal(name)) as journal:
            journal.add("order", {}, {}, "0f3a9c")
        with closing(Journal(name, new=False)) as journal:
            assert journal.head()[0] == 1
    assert len(os.listdir(tmp_path)) == 2


@pytest.mark.parametrize(
    ("trouble", "why"), [("pragma max_page_count = 1", "full"), ("pragma query_only = on", "readonly")], ids=["full", "read-only"]
)
def test_what_cannot_be_written_is_an_error_and_nothing_of_it_is_kept(tmp_path: Path, trouble: str, why: str) -> None:
    """SQLite's own ways of being told of a full disk and of a file that may only be read; it works again afterwards."""
    with closing(Journal(tmp_path / "j.db")) as journal:
        journal.add("order", {}, {}, "0f3a9c")
        journal._db.execute(trouble)
        with pytest.raises(FileError, match=why):
            journal.add("order", {"much": "x" * 50_000}, {}, "0f3a9c")
        assert journal.head()[0] == 1 and journal.verify() is None
        journal._db.execute("pragma query_only = off")
        journal._db.execute("pragma max_page_count = 100000")
        assert journal.add("order", {}, {}, "0f3a9c") == 2


def test_a_file_that_was_moved_away_is_not_written_unseen(tmp_path: Path) -> None:
    path = tmp_path / "j.db"
    with closing(Journal(path)) as journal:
        path.rename(tmp_path / "kept.db")
        with pytest.raises(FileError, match="cannot be opened"):
            journal.add("order", {}, {}, "0f3a9c")
        Journal(path).close()
        with pytest.raises(FileError, match="Another file"):
            journal.add("order", {}, {}, "0f3a9c")
