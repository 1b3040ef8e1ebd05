"""Low, medium and high daily doses of an inhaled medicine, as published tables part them; countries differ.

A row is of one table (its source), for some ages, devices, outputs and particles.  Rows are compiled only when a sum asks
for them.  What a row leaves out does not part it: a row without a device is of any device.
"""

from __future__ import annotations

from typing import Any, NamedTuple

from dosecheck.formulary.cells import Band, Interval
from dosecheck.formulary.medicine import bands_of, source_text
from dosecheck.quantity import Quantity
from dosecheck.reading import read_amount
from dosecheck.showing import show

NAMES = ("low", "medium", "high")
UNLISTED = "between the printed bands"


class Ends(NamedTuple):
    """One band: from (inside) or above (outside), to (inside); an end may be missing."""

    name: str
    low: Quantity | None
    open_low: bool
    high: Quantity | None

    def holds(self, amount: Quantity) -> bool:
        above = self.low is None or (self.low < amount if self.open_low else self.low <= amount)
        return above and (self.high is None or amount <= self.high)

    @property
    def text(self) -> str:
        """ "above 100 micrograms to 200 micrograms" """
        low = f"{'above' if self.open_low else 'from'} {show(self.low)}" if self.low else ""
        high = f"{'to' if low else 'up to'} {show(self.high)}" if self.high else ""
        exact = self.low and self.high and self.low == self.high
        return show(self.low) if exact else f"{low} {high}".strip()


class Inhaler(NamedTuple):
    """What parts the rows of a table; a particular that nobody told is empty."""

    device: str = ""
    output: str = ""
    particle: str = ""


class DailyBand(NamedTuple):
    """One row of a table.  `ages` say for whom (`age_text` in words); `devices` is empty for any, `output` and `particle` where not parted."""

    id: str
    ages: tuple[Band, ...]
    age_text: str
    devices: tuple[str, ...]
    output: str
    particle: str
    ends: tuple[Ends, ...]
    note: str
    source: str
    local: bool

    @property
    def table(self) -> str:
        return self.source.partition(", ")[0]

    def unlike(self, inhaler: Inhaler) -> str:
        """Why the row is not of this inhaler; "" when it is.  What is not told and parts the table is a reason too."""
        parted = (("device", self.devices, inhaler.device), ("output", (self.output,), inhaler.output))
        for what, wanted, told in (*parted, ("particle", (self.particle,), inhaler.particle)):
            if any(wanted) and told not in wanted:
                return f"its figures are for {what} {' or '.join(wanted)}, and the {what} here is {told or 'not told'}"
        return ""

    def place(self, amount: Quantity) -> str:
        """The band that holds a daily amount: "low or medium" where both print it, "below low", "not high", or UNLISTED."""
        held = [ends.name for ends in self.ends if ends.holds(amount)]
        first = self.ends[0]
        if held:
            return " or ".join(held)
        if first.low is not None and not first.low < amount:
            return "below low" if first.name == "low" else f"not {first.name}"
        return UNLISTED

    @property
    def text(self) -> str:
        return "; ".join(f"{ends.name} {ends.text}" for ends in self.ends)


def daily_bands(raw: tuple[dict[str, Any], ...]) -> list[DailyBand]:
    """The rows of one medicine, compiled, in the order of the file."""
    return [
        DailyBand(
            entry["id"],
            bands_of({"age": entry["age"]}),
            ", ".join(f"{end} {entry['age'][end]}" for end in ("from", "below") if end in entry["age"]),
            tuple(entry.get("devices", [])),
            entry.get("output", ""),
            entry.get("particle", ""),
            tuple(ends_of(name, entry[name]) for name in NAMES if name in entry),
            entry.get("note", ""),
            source_text(entry["source"]),
            entry.get("origin") == "local",
        )
        for entry in raw
    ]


def ends_of(name: str, entry: dict[str, str]) -> Ends:
    low, high = (read_amount(entry[key], ("mass",), "daily dose", "400 micrograms") if key else None for key in _keys(entry))
    return Ends(name, low, "above" in entry, high)


def _keys(entry: dict[str, str]) -> tuple[str, str]:
    return next((key for key in ("from", "above") if key in entry), ""), "to" if "to" in entry else ""


def holds_age(row: DailyBand, facts: dict[str, Interval]) -> bool | None:
    """True, False, or None where the stated age straddles the row's edge."""
    held = [band.holds(facts.get(band.fact)) for band in row.ages]
    return False if False in held else None if None in held else True
