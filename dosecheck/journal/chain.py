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
    return storable(json.dumps(told, sort_keys=True, separators=(",", ":"), ensure_ascii=False))


def storable(text: str) -> str:
    r"""Half a character, which no file can hold, is told by its code; in JSON `\udc80` means just that."""
    return text.encode("utf-8", "backslashreplace").decode()


def hash_of(number: int, at: str, kind: str, by: str, fingerprint: str, asked: str, answer: str, previous: str) -> str:
    """Over a JSON list of the fields, so that no text can run over into the next."""
    fields = [number, at, kind, by, fingerprint, asked, answer, previous]
    return sha256(json.dumps(fields, separators=(",", ":"), ensure_ascii=False).encode("utf-8", "surrogatepass")).hexdigest()


def first_break(entries: Iterable[Entry], written: int, head: str = "") -> Break | None:
    """The first broken link, or None.

    Args:
        entries: all of them, by number.
        written: how many the file says were ever written.
        head: a hash that was noted down elsewhere: that of an entry, or of the last one that was removed.
    """
    before: Entry | None = None
    start: Entry | None = None
    anchors = {0: START}
    for entry in entries:
        why = _misfit(entry, before)
        if why:
            return Break(entry.number, why)
        if entry.kind == REMOVAL:
            anchors |= _removed(entry)
        start, before = start or entry, entry
        head = "" if head in (entry.previous, entry.hash) else head
    return _start_break(start, anchors) or _end_break(before, written) or _head_break(before, head)


def _misfit(entry: Entry, before: Entry | None) -> str:
    """What is wrong with one entry after the one before; "" for nothing."""
    try:
        changed = entry.hash != hash_of(*entry[:8])
    except TypeError:  # a field that is no text any more
        changed = True
    if changed:
        return "what it says does not fit its hash: it was changed"
    if before and (entry.number, entry.previous) != (before.number + 1, before.hash):
        return "it does not follow the entry before: one was left out, put in or moved"
    if entry.kind == REMOVAL and not _removed(entry):
        return "it is about a removal, and does not say up to where"
    return ""


def _removed(entry: Entry) -> dict[int, str]:
    """Number and hash of the last entry that was removed; nothing if it does not say so."""
    try:
        told = json.loads(entry.asked)
        return {int(told["up_to"]): str(told["hash"])}
    except (ValueError, TypeError, KeyError):
        return {}


def _start_break(start: Entry | None, anchors: dict[int, str]) -> Break | None:
    """The first entry that is there is number 1, or follows what a later entry says was removed."""
    if start is None or anchors.get(start.number - 1) == start.previous:
        return None
    return Break(start.number, "the entries before it are not there, and no later entry says that they were removed")


def _end_break(last: Entry | None, written: int) -> Break | None:
    """The last entry is the one that the file's own count tells."""
    number = last.number if last else 0
    if number == written:
        return None
    return Break(min(number, written) + 1, f"the file's own count is {written} entries, and the last one there is number {number}")


def _head_break(last: Entry | None, head: str) -> Break | None:
    """`head`: what is still to be found; an empty journal's own is START."""
    if not head or (last is None and head == START):
        return None
    why = "no entry has the hash that was noted down: it was made anew or cut off, or that entry has been removed since"
    return Break(last.number if last else 0, why)
