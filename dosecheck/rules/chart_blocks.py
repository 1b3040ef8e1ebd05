"""One ingredient of a chart: its doses with the running total of 24 hours, the limits, and the next dose of each order."""

from __future__ import annotations

from collections.abc import Iterator
from fractions import Fraction
from typing import TYPE_CHECKING, Any, NamedTuple

from dosecheck.formulary.medicine import Ingredient
from dosecheck.quantity import Quantity
from dosecheck.rules.case import Reading
from dosecheck.rules.history import Entry, History
from dosecheck.rules.next_dose import bounds_of
from dosecheck.rules.present import next_in_words
from dosecheck.rules.room import Next
from dosecheck.rules.windows import DAY, Seconds, Timed, Window, last_given, window
from dosecheck.showing import show, show_length

if TYPE_CHECKING:
    from dosecheck.rules.chart import Ordered

_KINDS = ("mass", "activity", "substance")
_UNITS = {"mass": "mg", "activity": "units", "substance": "mmol"}


class Row(NamedTuple):
    """One dose of the last 24 hours, or the order's own if it is given now.

    `first` to `moment`: when it may have been given, in seconds from now; `total` and `count` are of the 24 hours that end with it; `share` is how much of the nearest daily limit they are.
    """

    first: Seconds
    moment: Seconds
    clock: str
    amount: Quantity | None
    total: Quantity
    total_in_words: str
    count: int
    share: Fraction | None
    note: str
    planned: bool = False


class Ceiling(NamedTuple):
    """What 24 hours may hold by the regimens that were read: the least total, the least number, and both in words."""

    total: Fraction | None = None
    count: int | None = None
    words: str = ""

    def share(self, total: Fraction, count: int) -> Fraction | None:
        """Of whichever limit is nearer; above 1 when one is broken; None where there is none."""
        shares = [total / self.total] if self.total else []
        shares += [Fraction(count, self.count)] if self.count else []
        return max(shares, default=None)


class Block(NamedTuple):
    """`gap_ends`: when the longest of the shortest gaps after the last dose ends; None without a dose or a gap.

    `ordered`: (name, outcome, the next dose) of each order with this ingredient.
    """

    ingredient: str
    entries: tuple[Entry, ...]
    rows: tuple[Row, ...]
    in_24_hours: Quantity | None
    total_in_words: str
    count: int
    last: str
    first: str
    ceiling: Ceiling
    gap_ends: Seconds | None
    ordered: tuple[tuple[str, str, Next | None], ...]

    def as_dict(self) -> dict[str, Any]:
        return {
            "ingredient": self.ingredient,
            "in_24_hours": self.total_in_words,
            "doses_in_24_hours": self.count,
            "last_dose": self.last,
            "first_dose_told": self.first,
            "ceiling": self.ceiling.words,
            "rows": [
                {
                    "time": row.clock,
                    "dose": show(row.amount) if row.amount else "",
                    "total_in_24_hours": row.total_in_words,
                    "doses_in_24_hours": row.count,
                    "note": row.note,
                    "given": not row.planned,
                }
                for row in self.rows
            ],
            "orders": [
                {"name": name, "outcome": outcome, "next_dose": next_in_words(next_) if next_ else None}
                for name, outcome, next_ in self.ordered
            ],
        }


def block_of(ingredient: Ingredient, history: History | None, orders: tuple[Ordered, ...]) -> Block:
    """Everything about one ingredient; `orders` are those that have it."""
    readings = [r for each in orders for r in _readings(each, ingredient)]
    kind = readings[0].regimen.kind if readings else _kind(ingredient, history)
    entries = tuple(history.entries(ingredient, kind)) if history else ()
    timed = [entry.timed for entry in entries]
    now = window(timed, 0, DAY)
    total = Quantity(now.total, kind, _unit(readings, entries, kind))
    ceiling = _ceiling(readings, total)
    return Block(
        ingredient=ingredient.id,
        entries=entries,
        rows=tuple(_rows(history, entries, total, ceiling, _planned(orders, ingredient))) if history else (),
        in_24_hours=total if now.doses else None,
        total_in_words=_total_in_words(now, total) if now.doses else "",
        count=len(now.doses),
        last=f"{show_length(-last_given(timed))} ago" if timed else "",
        first=f"{show_length(-min(dose.first for dose in timed))} ago" if timed else "",
        ceiling=ceiling,
        gap_ends=_gap_ends(readings, timed),
        ordered=tuple((each.name, each.verdict.outcome, each.verdict.next_dose) for each in orders),
    )


def _readings(each: Ordered, ingredient: Ingredient) -> list[Reading]:
    """The order's readings of this ingredient, single doses alone."""
    read = [r for r in each.verdict.views.readings if r.regimen and r.amount and not r.regimen.span.continuous]
    mine = {own.id for own in each.verdict.views.case.medicine.ingredients if set(own.names) & set(ingredient.names)}
    return [r for r in read if r.regimen.ingredient in mine]


def _gap_ends(readings: list[Reading], timed: list[Timed]) -> Seconds | None:
    bounds = [b for b in (bounds_of(r.regimen, r.upper) for r in readings) if b is not None]
    gap = max((b.gap for b in bounds if b.gap is not None), default=None)
    return None if gap is None or not timed else last_given(timed) + gap


def _kind(ingredient: Ingredient, history: History | None) -> str:
    """Without an order: the kind in which most of the doses given are known."""
    known = {kind: sum(entry.amount is not None for entry in history.entries(ingredient, kind)) for kind in _KINDS} if history else {}
    return max(known, key=known.get, default="mass")


def _unit(readings: list[Reading], entries: tuple[Entry, ...], kind: str) -> str:
    amounts = [r.amount for r in readings] + [entry.amount for entry in entries if entry.amount]
    return next((amount.high.unit for amount in amounts), _UNITS.get(kind, f"{kind}s"))


def _planned(orders: tuple[Ordered, ...], ingredient: Ingredient) -> list[tuple[str, Quantity]]:
    found = []
    for each in orders:
        amounts = [r.amount.high for r in _readings(each, ingredient)]
        found += [(f"if {each.name} is given now", amounts[0])] if amounts else []
    return found


def _rows(
    history: History, entries: tuple[Entry, ...], sample: Quantity, ceiling: Ceiling, planned: list[tuple[str, Quantity]]
) -> Iterator[Row]:
    """`sample` has the kind and the unit of the totals."""
    timed = [entry.timed for entry in entries]
    recent = [entry for entry in entries if entry.had.last > -DAY]
    asked = [(e.had.first, e.had.last, timed, history.told(e.had), e.amount.high if e.amount else None, e.had.given.note) for e in recent]
    asked += [(0, 0, [*timed, Timed(0, 0, amount.value)], "now", amount, note) for note, amount in planned]
    for first, moment, doses, clock, amount, note in asked:
        held = window(doses, moment, DAY)
        total, count = Quantity(held.total, sample.kind, sample.unit), len(held.doses)
        words, share = _total_in_words(held, total), ceiling.share(held.total, count)
        yield Row(first, moment, clock, amount, total, words, count, share, note, doses is not timed)


def _total_in_words(held: Window, total: Quantity) -> str:
    """ "694 mg"; "at least 240 mg" where some amount is not known, and never a total of nothing known."""
    unknown = [dose for dose in held.doses if dose.amount is None]
    if len(unknown) == len(held.doses):
        return "not known"
    return f"at least {show(total)}" if unknown else show(total)


def _ceiling(readings: list[Reading], sample: Quantity) -> Ceiling:
    """The least of the daily limits, and the least number of doses, of the regimens that were read."""
    bounds = [b for b in (bounds_of(r.regimen, r.upper) for r in readings) if b is not None]
    total = min((total for b in bounds for total, length in b.totals if length == DAY), default=None)
    count = min((int(count) for b in bounds for count in b.counts), default=None)
    words = [show(Quantity(total, sample.kind, sample.unit), down=True)] if total else []
    words += [f"{count} dose{'s' * (count != 1)}"] if count else []
    return Ceiling(total, count, f"{' and '.join(words)} in 24 hours" if words else "")
