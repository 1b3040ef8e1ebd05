"""All that is asked of one check, as texts: the order, the child, and doses given before; all faults come at once."""

from __future__ import annotations

from datetime import UTC, date, datetime
from typing import Any

from dosecheck.earlier import UNREAD, Earlier, Now, read_earlier, read_now
from dosecheck.errors import Fault, InputError, TextError
from dosecheck.records import Child, Order, read_order, texts_of


def read_asked(fields: dict[str, Any], today: date) -> tuple[Order, Child, Earlier | None]:
    """The order, the child, and the doses given before (None where they are not told).

    Args:
        fields: the fields of an order and a child, and `given` (a list of texts), `none_given`, `now`; what is not told may be left out.
        today: the date of the order where none is told.

    Raises:
        InputError: every field that cannot be read, at once.
    """
    faults: list[Fault] = []
    earlier = now = None
    try:
        now = _now(fields, today)
    except InputError as error:
        faults += error.faults
    try:
        earlier = _earlier(fields, now or (UNREAD if faults else None))
    except InputError as error:
        faults += error.faults
    if now and not fields.get("on"):
        fields = {**fields, "on": now.day.isoformat()}
    try:
        order, child = read_order(texts_of(fields, today))
    except InputError as error:
        raise InputError(error.faults + faults) from None
    if now and child.on != now.day:
        faults.append(
            Fault(
                "now",
                fields.get("now") or "",
                f"Its date, {now.day}, is not that of the order, {child.on}.",
                "Write --now for that day too.",
            )
        )
    if faults:
        raise InputError(faults)
    return order, child, earlier


def _now(fields: dict[str, Any], today: date) -> Now | None:
    """The moment that is told; the present one where a dose was given at a time of day and no moment is told."""
    if fields.get("now"):
        try:
            return read_now(fields["now"])
        except TextError as error:
            raise InputError([Fault("now", error.given, error.why, error.write)]) from None
    if not any(" at " in text for text in fields.get("given") or ()):
        return None
    present = datetime.now().astimezone()
    on_another_day = fields.get("on") and fields["on"] != today.isoformat()
    return None if on_another_day else Now(int(present.timestamp()), present.tzinfo or UTC)


def _earlier(fields: dict[str, Any], now: Now | None) -> Earlier | None:
    given = fields.get("given") or ()
    faults = []
    if given and fields.get("none_given"):
        faults = [Fault("none-given", "", "A dose is given, and none was given: they contradict each other.", "Leave one of the two out.")]
    try:
        earlier = read_earlier(given, now) if given or fields.get("none_given") else None
    except InputError as error:
        faults = error.faults + faults
    if faults:
        raise InputError(faults)
    return earlier
