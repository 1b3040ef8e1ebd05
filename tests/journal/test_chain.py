"""Whatever was changed, taken out, put in or moved in a journal is found, and the entry is named."""

from __future__ import annotations

import re
import sqlite3
from contextlib import closing
from datetime import UTC, datetime, timedelta
from hashlib import sha256
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from dosecheck.errors import FileError
from dosecheck.journal import Entry, Journal
from dosecheck.journal.chain import exact, first_break, hash_of

NOON = datetime(2026, 3, 9, 12, tzinfo=UTC)
TEXTS = [name for name in Entry._fields if name != "number"]


class Clock:
    def __init__(self) -> None:
        self.now = NOON

    def __call__(self) -> datetime:
        return self.now


def filled(path: Path, entries: int = 6, clock: Clock | None = None) -> Journal:
    """Journal of a day: one entry an hour."""
    clock = clock or Clock()
    journal = Journal(path, clock)
    for number in range(entries):
        kind = ("order", "second-check")[number % 2]
        journal.add(kind, {"weight": f"{number + 3} kg", "child": "SM-001"}, {"outcome": "within"}, "0f3a9c", by="K.N.")
        clock.now += timedelta(hours=1)
    return journal


def at_the_file(path: Path, *orders: str) -> None:
    """As somebody would who may write the file and knows SQLite: without the journal's triggers."""
    with closing(sqlite3.connect(path)) as db:
        for name in ("entry_follows", "entry_stays", "entry_is_kept"):
            db.execute(f"drop trigger {name}")
        for order in orders:
            db.execute(order)
        db.commit()


@pytest.fixture(scope="module")
def whole(tmp_path_factory: pytest.TempPathFactory) -> list[Entry]:
    with closing(filled(tmp_path_factory.mktemp("journal") / "whole.db")) as journal:
        return list(journal.entries())


def test_the_hash_is_what_the_page_says_it_is(whole: list[Entry]) -> None:
    """Reckoned again by hand: the exact text, and SHA-256 of it."""
    first = whole[0]
    text = (
        '[1,"2026-03-09T12:00:00+00:00","order","K.N.","0f3a9c",'
        r'"{\"child\":\"SM-001\",\"weight\":\"3 kg\"}","{\"outcome\":\"within\"}",' + f'"{"0" * 64}"]'
    )
    assert first.hash == sha256(text.encode()).hexdigest()
    assert [entry.previous for entry in whole[1:]] == [entry.hash for entry in whole[:-1]]


@given(data=st.data())
def test_one_flipped_bit_of_any_field_is_found(whole: list[Entry], data: st.DataObject) -> None:
    """Also where the bytes are no text afterwards; the entry that is named is the one that was changed."""
    place = data.draw(st.integers(0, len(whole) - 1))
    field = data.draw(st.sampled_from(TEXTS))
    raw = bytearray(getattr(whole[place], field).encode())
    raw[data.draw(st.integers(0, len(raw) - 1))] ^= 1 << data.draw(st.integers(0, 7))
    changed = whole[place]._replace(**{field: raw.decode("utf-8", "surrogateescape")})
    broken = first_break([*whole[:place], changed, *whole[place + 1 :]], len(whole))
    assert broken and broken.number == place + 1


@given(data=st.data())
def test_an_entry_left_out_moved_or_put_in_is_found(whole: list[Entry], data: st.DataObject) -> None:
    place = data.draw(st.integers(0, len(whole) - 1))
    other = data.draw(st.integers(0, len(whole) - 1).filter(lambda number: number != place))
    swapped = list(whole)
    swapped[place], swapped[other] = swapped[other], swapped[place]
    assert first_break(whole[:place] + whole[place + 1 :], len(whole))
    assert first_break(swapped, len(whole))
    assert first_break([*whole[:place], whole[other], *whole[place:]], len(whole))
    renumbered = [entry._replace(number=number) for number, entry in enumerate(swapped, 1)]
    assert first_break(renumbered, len(whole))
    assert first_break(whole, len(whole)) is None


def test_a_whole_new_hash_does_not_hide_a_change(whole: list[Entry]) -> None:
    """The entry fits itself again; the next one no longer fits it, and of the last one only a noted head can tell."""
    for place, entry in enumerate(whole):
        told = entry._replace(answer=exact({"outcome": "stop"}))
        forged = [*whole[:place], told._replace(hash=hash_of(*told[:8])), *whole[place + 1 :]]
        broken = first_break(forged, len(whole), head=whole[-1].hash)
        assert broken and broken.number == min(place + 2, len(whole))
    assert first_break(forged, len(whole)) is None  # what a chain alone cannot show


@pytest.mark.parametrize(
    ("order", "number", "why"),
    [
        ('update entry set answer = \'{"outcome":"stop"}\' where number = 3', 3, "changed"),
        ("update entry set by = cast(x'4bff' as text) where number = 2", 2, "changed"),
        ("delete from entry where number = 4", 5, "left out"),
        ("delete from entry where number = 1", 2, "not there"),
        ("delete from entry where number > 4", 5, "own count"),
        ("delete from entry", 1, "own count"),
        ("update sqlite_sequence set seq = 4", 5, "own count"),
    ],
)
def test_a_change_at_the_file_is_named(tmp_path: Path, order: str, number: int, why: str) -> None:
    filled(tmp_path / "j.db").close()
    at_the_file(tmp_path / "j.db", order)
    with closing(Journal(tmp_path / "j.db", new=False)) as journal:
        broken = journal.verify()
    assert broken and broken.number == number and why in broken.why


def test_an_end_cut_off_with_its_count_is_told_by_the_noted_hash(tmp_path: Path) -> None:
    with closing(filled(tmp_path / "j.db")) as journal:
        number, head = journal.head()
        assert number == 6 and journal.verify(head) is None
        journal.add("order", {}, {}, "0f3a9c")
        assert journal.verify(head) is None, "an entry more is no fault"
    at_the_file(tmp_path / "j.db", "delete from entry where number > 5", "update sqlite_sequence set seq = 5")
    with closing(Journal(tmp_path / "j.db", new=False)) as journal:
        assert journal.verify() is None
        broken = journal.verify(head)
        assert broken and "noted down" in broken.why


def test_the_hash_of_an_empty_journal(tmp_path: Path) -> None:
    with closing(Journal(tmp_path / "j.db")) as journal:
        assert journal.head() == (0, "0" * 64) and journal.verify("0" * 64) is None
        assert journal.verify("1" * 64)
        journal.add("order", {}, {}, "0f3a9c")
        assert journal.verify("0" * 64) is None


@pytest.mark.parametrize(
    "order",
    [
        "update entry set answer = '{}' where number = 2",
        "update or replace entry set number = 9 where number = 2",
        "delete from entry where number = 2",
        "delete from entry",
        "replace into entry select number, at, kind, by, fingerprint, asked, '{}', previous, hash from entry where number = 2",
        "insert into entry select 9, at, kind, by, fingerprint, asked, answer, previous, hash from entry where number = 2",
        "insert into entry select null, at, kind, by, fingerprint, asked, answer, previous, hash from entry where number = 6",
    ],
)
def test_the_file_itself_refuses_a_change(tmp_path: Path, order: str) -> None:
    filled(tmp_path / "j.db").close()
    with closing(sqlite3.connect(tmp_path / "j.db")) as db, pytest.raises(sqlite3.IntegrityError, match="an entry of the journal"):
        db.execute(order)
    with closing(Journal(tmp_path / "j.db", new=False)) as journal:
        assert journal.verify() is None and journal.head()[0] == 6


def test_what_is_old_is_removed_and_the_chain_still_holds(tmp_path: Path) -> None:
    clock = Clock()
    with closing(filled(tmp_path / "j.db", 6, clock)) as journal:
        noted = {entry.number: entry.hash for entry in journal.entries()}
        clock.now = NOON + timedelta(days=90, hours=3)  # the fourth is not older than 90 days
        assert journal.remove_older(90) == 3
        assert [(entry.number, entry.kind) for entry in journal.entries()][0::3] == [(4, "second-check"), (7, "removal")]
        assert journal.verify() is None
        assert journal.verify(noted[6]) is None and journal.verify(noted[3]) is None
        assert journal.verify(noted[2]), "it is gone, and the journal says that it may have been removed"
        assert journal.remove_older(90) == 0
        clock.now += timedelta(days=400)
        assert journal.remove_older(90) == 3 and journal.remove_older(90) == 1
        assert journal.verify() is None
    at_the_file(tmp_path / "j.db", "delete from entry where number = 8")
    with closing(Journal(tmp_path / "j.db", new=False)) as journal:
        broken = journal.verify()
        assert broken and broken.number == 9, "one more than the removal told"


def test_nothing_of_what_was_removed_is_left_in_the_file(tmp_path: Path) -> None:
    clock = Clock()
    with closing(Journal(tmp_path / "j.db", clock)) as journal:
        for _ in range(30):
            journal.add("order", {"child": "SM-777", "more": "x" * 500}, {"told": "SM-777"}, "0f3a9c")
        clock.now += timedelta(days=2)
        journal.add("order", {"child": "SM-002"}, {}, "0f3a9c")
        assert journal.remove_older(1) == 30
        left = b"".join(path.read_bytes() for path in tmp_path.iterdir())
    assert b"SM-002" in left and b"SM-777" not in left


def test_a_removal_does_not_hide_a_change(tmp_path: Path) -> None:
    clock = Clock()
    filled(tmp_path / "j.db", 6, clock).close()
    at_the_file(tmp_path / "j.db", "update entry set by = 'X' where number = 2")
    clock.now += timedelta(days=100)
    with closing(Journal(tmp_path / "j.db", clock, new=False)) as journal:
        with pytest.raises(FileError, match=re.escape("Entry 2 does not hold")):
            journal.remove_older(90)
        assert len(list(journal.entries())) == 6


def test_a_removal_is_written_by_the_journal_alone(tmp_path: Path) -> None:
    with closing(filled(tmp_path / "j.db")) as journal, pytest.raises(ValueError, match="remove_older alone"):
        journal.add("removal", {"up_to": 5, "hash": "0" * 64}, {}, "")


@settings(max_examples=25)
@given(by=st.text(), text=st.text())
def test_any_text_can_be_kept(tmp_path_factory: pytest.TempPathFactory, by: str, text: str) -> None:
    """Half characters and control characters too: what was typed on a page is not ours to choose."""
    path = tmp_path_factory.getbasetemp() / "any.db"
    with closing(Journal(path)) as journal:
        number = journal.add("order", {text: text}, {text: [text]}, text, by=by)
        last = list(journal.entries())[-1]
        assert (last.number, last.by) == (number, by.encode("utf-8", "backslashreplace").decode())
        assert journal.verify() is None
