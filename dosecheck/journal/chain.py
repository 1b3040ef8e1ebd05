"""How entries are bound: SHA-256 over an entry's own fields, in one exact form, and the hash of the entry before."""

from __future__ import annotations

import json
from collections.abc import Iterable
from hashlib import sha256
from typing import Any, NamedTuple

START = "0" * 64  # what stands before the first entry
REMOVAL = "removal"  # the kind of an entry that says that older ones were removed


class Entry(NamedTuple):
    """number: from 1, without a gap.  at: UTC, to the second.  kind: "order", "second-check", "removal" ...

    by: initials, or "".  asked, answer: exact JSON texts.  previous: the hash of the entry before; hash: of this one.
    """

    number: int
    at: str
    kind: str
    by: str
    fingerprint: str
    asked: str
    answer: str
    previous: str
    hash: str


class Break(NamedTuple):
    """The first place where the chain does not hold: the entry's number, and what does not fit."""

    number: int
    why: str


def exact(told: dict[str, Any]) -> str:
    """The same JSON text for the same content: keys sorted, nothing between that need not be there."""
    return json.dumps(told, sort_keys=True, separators=(",", ":"), ensure_ascii=False)


def hash_of(number: int, at: str, kind: str, by: str, fingerprint: str, asked: str, answer: str, previous: str) -> str:
    """Over a JSON list of the fields, so that no text can run over into the next."""
    fields = [number, at, kind, by, fingerprint, asked, answer, previous]
    return sha256(json.dumps(fields, separators=(",", ":"), ensure_ascii=False).encode("utf-8", "surrogatepass")).hexdigest()


def first_break(entries: Iterable[Entry], last_number: int, head: str = "") -> Break | None:
    """The first broken link, or None.

    Args:
        entries: all of them, by number.
        last_number: how many the file says were ever written.
        head: a hash that was noted down elsewhere, and must be that of one of the entries.
    """
    before: Entry | None = None
    start: Entry | None = None
    anchors: dict[int, str] = {}
    seen_head = not head
    for entry in entries:
        if entry.hash != hash_of(*entry[:8]):
            return Break(entry.number, "what it says does not fit its hash: it was changed")
        if before and (entry.number, entry.previous) != (before.number + 1, before.hash):
            return Break(entry.number, "it does not follow the entry before: one was left out, put in or moved")
        if entry.kind == REMOVAL:
            told = json.loads(entry.asked)
            anchors[told["up_to"]] = told["hash"]
        seen_head = seen_head or entry.hash == head
        start, before = start or entry, entry
    broken = _start_break(start, anchors)
    if broken or (before.number if before else 0) == last_number:
        return broken or (None if seen_head else Break(last_number, "no entry has the hash that was noted down"))
    return Break((before.number if before else 0) + 1, f"{last_number} entries were written, and this one is not there")


def _start_break(start: Entry | None, anchors: dict[int, str]) -> Break | None:
    """The first entry that is there is number 1, or follows what a later entry says was removed."""
    if start is None or (start.number == 1 and start.previous == START):
        return None
    if anchors.get(start.number - 1) == start.previous:
        return None
    return Break(start.number, "the entries before it are not there, and no later entry says that they were removed")
