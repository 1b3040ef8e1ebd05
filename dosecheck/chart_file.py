"""A child's chart as a file: the child, the current orders, the doses given, and the time of the check.

    now  = "2026-05-04 14:30"               # with an offset, or in the zone below
    zone = "Europe/London"
    doses_given = "none"                    # only where none was given; leave it out beside [[given]]

    [child]                                 # the fields of `records.Child`, and an id that is echoed
    [[order]]                               # the fields of `records.Order`
    [[given]]                               # medicine, product, route, dose; at, or ago = "4 to 5 hours"; note

All faults come at once, each with its place.  At most 100 orders and 1,000 doses.
"""

from __future__ import annotations

from collections.abc import Callable
from datetime import tzinfo
from typing import Any, NamedTuple

from dosecheck import reading
from dosecheck.earlier import MOST_DOSES, UNREAD, DoseGiven, Earlier, Now, before_now, read_now
from dosecheck.errors import Fault, InputError, TextError
from dosecheck.reading.clock import read_ago, read_instant, read_zone
from dosecheck.reading.given import given_dose
from dosecheck.records import CHILD_FIELDS, ORDER_FIELDS, Child, Order, read_field
from dosecheck.tables_read import tables_of, unknown_keys

MOST_ORDERS = 100
_TOP = ("now", "zone", "doses_given", "child", "order", "given")
_CHILD = ("id", *CHILD_FIELDS)
_ORDER = tuple(name.rstrip("_") for name in ORDER_FIELDS)
_GIVEN = ("medicine", "product", "route", "dose", "at", "ago", "note")


class Chart(NamedTuple):
    """One child's chart.  `earlier` None: which doses were given is not told."""

    child_id: str
    child: Child
    now: Now
    orders: tuple[Order, ...]
    earlier: Earlier | None


def read_chart(name: str, content: bytes, now: str | None = None) -> Chart:
    """The chart of a file's content.

    Args:
        name: the file's name; its ending says whether it is TOML or JSON.
        now: the time of the check, in place of the file's.

    Raises:
        InputError: every fault at once, each with its place.
    """
    return _Reader(tables_of(name, content), now).chart()


class _Reader:
    """Reads every part and collects the faults."""

    def __init__(self, tables: dict[str, Any], now: str | None) -> None:
        self.tables, self.given_now = tables, now
        self.faults: list[Fault] = list(unknown_keys(tables, _TOP, ""))

    def chart(self) -> Chart:
        zone = self._read("zone", lambda: read_zone(self.tables["zone"])) if "zone" in self.tables else None
        now = self._now(zone)
        child_id, child = self._child(now)
        orders = tuple(self._order(table, place) for table, place in self._list("order", MOST_ORDERS, _ORDER))
        earlier = self._earlier(now)
        if self.faults:
            raise InputError(self.faults)
        return Chart(child_id, child, now, orders, earlier)

    def _read(self, field: str, read: Callable[[], Any]) -> Any:
        """What `read` gives, or None and a fault with its place."""
        try:
            return read()
        except TextError as error:
            self.faults.append(Fault(field, error.given, error.why, error.write))
        except InputError as error:
            self.faults += [fault._replace(field=f"{field}: {fault.field}" if field else fault.field) for fault in error.faults]
        return None

    def _now(self, zone: tzinfo | None) -> Now:
        text = self.given_now or self.tables.get("now")
        if text is None:
            self.faults.append(Fault("now", "", "The time of the check is missing.", 'Write now = "2026-05-04 14:30+01:00".'))
            return UNREAD
        return self._read("now", lambda: read_now(text, zone)) or UNREAD

    def _table(self, value: Any, known: tuple[str, ...], place: str) -> dict[str, Any]:
        if not isinstance(value, dict):
            self.faults.append(Fault(place, "", "It is not a table.", 'Write keys with their values, such as weight = "14.2 kg".'))
            return {}
        self.faults += unknown_keys(value, known, f"{place}: ")
        return {key: entry for key, entry in value.items() if key in known}

    def _list(self, name: str, most: int, known: tuple[str, ...]) -> list[tuple[dict[str, Any], str]]:
        """The tables of a list, each with its place: "order 2"."""
        found = self.tables.get(name, [])
        if not isinstance(found, list):
            self.faults.append(Fault(name, "", "It is not a list of tables.", f"Write [[{name}]] with double brackets."))
            return []
        if len(found) > most:
            self.faults.append(Fault(name, str(len(found)), f"There are more than {most:,}.", "Leave out those of long ago."))
            return []
        return [(self._table(value, known, f"{name} {number}"), f"{name} {number}") for number, value in enumerate(found, 1)]

    def _child(self, now: Now) -> tuple[str, Child | None]:
        if "child" not in self.tables:
            self.faults.append(Fault("child", "", "The child is missing.", 'Write [child] with weight = "14.2 kg" and age or born.'))
            return "", None
        table = self._table(self.tables["child"], _CHILD, "child")
        child_id = self._read("child: id", lambda: _line(table.pop("id"), "id", "SM-001")) if "id" in table else ""
        if now is UNREAD:  # the date is not known, so only what needs none can be looked at
            self._read("child", lambda: Child(**{k: v for k, v in table.items() if k not in ("born", "weighed")}))
            return child_id, None
        on = self._read("child: on", lambda: read_field("on", table.pop("on"))) if "on" in table else None
        if on and on != now.day:
            self.faults.append(Fault("child: on", str(on), f"It is not the date of the time of the check, {now.day}.", "Leave it out."))
        return child_id, self._read("child", lambda: Child(on=now.day, **table))

    def _order(self, table: dict[str, Any], place: str) -> Order | None:
        return self._read(place, lambda: Order(**{("for_" if key == "for" else key): value for key, value in table.items()}))

    def _earlier(self, now: Now) -> Earlier | None:
        doses = tuple(self._given(table, place, now) for table, place in self._list("given", MOST_DOSES, _GIVEN))
        word = self.tables.get("doses_given")
        if word is None:
            return Earlier(doses, now) if "given" in self.tables and doses else None
        if word != "none":
            self.faults.append(
                Fault("doses_given", str(word)[:40], 'It is not "none".', 'Write doses_given = "none", or list each dose under [[given]].')
            )
        elif doses:
            self.faults.append(
                Fault("doses_given", "none", "Doses are listed under [[given]], and none was given.", "Leave one of the two out.")
            )
        return Earlier((), now)

    def _given(self, table: dict[str, Any], place: str, now: Now) -> DoseGiven | None:
        """One dose given; the medicine and the product are those it names, never those of an order."""
        known = len(self.faults)
        names = {
            key: self._read(place, lambda key=key: read_field(key, table[key])) for key in ("medicine", "product", "route") if key in table
        }
        dose = self._read(f"{place}: dose", lambda: given_dose(table.get("dose", "")))
        ago = self._when(table, place, now)
        note = self._read(f"{place}: note", lambda: _line(table["note"], "note", "at home")) if "note" in table else ""
        if not names.get("medicine") and len(self.faults) == known:
            self.faults.append(Fault(f"{place}: medicine", "", "The medicine is missing.", 'Write medicine = "paracetamol".'))
        if len(self.faults) > known:
            return None
        when = f"{table['ago']} ago" if "ago" in table else f"at {str(table['at']).strip()}"
        return DoseGiven(dose, ago, when, None, names["medicine"], names.get("product") or "", names.get("route"), note)

    def _when(self, table: dict[str, Any], place: str, now: Now) -> Any:
        if ("at" in table) == ("ago" in table):
            why = "It says both at and ago." if "at" in table else "When it was given is missing."
            self.faults.append(Fault(f"{place}: at", "", why, 'Write at = "2026-05-04 08:10", or ago = "4 to 5 hours".'))
            return None
        if "ago" in table:
            return self._read(f"{place}: ago", lambda: read_ago(table["ago"], "time since the dose"))
        zone = now.zone if now is UNREAD or "zone" in self.tables else None
        return self._read(f"{place}: at", lambda: before_now(read_instant(table["at"], zone, "time of the dose"), now, str(table["at"])))


def _line(text: Any, what: str, example: str) -> str:
    """A short line of free text that is only echoed."""
    text = " ".join(reading.short_text(text, what, example).split())
    if len(text) > 60 or not text.isprintable():
        raise TextError(
            ascii(text[:40])[1:-1], f"The {what} is longer than 60 characters, or holds a hidden one.", f'Write it as "{example}".'
        )
    return text
