"""Exact amounts with a kind: a dose cannot be added to a child's weight.

A quantity is a fraction counted in the base unit of its kind, with the unit it is shown in.  Drug mass and body
weight are different kinds though both are whole nanograms inside.  Reading text is in `reading.py`, writing it in
`showing.py`; a test proves every factor here equal to pint's, from `units.txt`.
"""

from __future__ import annotations

from fractions import Fraction
from functools import cache

from dosecheck.errors import KindError

# kind -> unit as shown -> how many base units it is.  Base units: nanogram (both masses), milliunit, nanomole,
# nanoequivalent, nanolitre, second, micrometre, square millimetre, joule, 0.1 micromol/L, and one of each counted
# thing.  All whole numbers.
# Creatinine in a child's blood and the filtration of its kidneys are kinds of their own, with units that are not taken
# apart; 1 mg/dL is 88.4 micromol/L, by creatinine's molar mass of 113.12 g/mol (body/renal.py).
UNITS: dict[str, dict[str, int]] = {
    "mass": {"nanograms": 1, "micrograms": 10**3, "mg": 10**6, "g": 10**9},
    "activity": {"milliunits": 1, "units": 10**3},
    "substance": {"micromol": 10**3, "mmol": 10**6, "mol": 10**9},
    "charge": {"mEq": 10**6},
    "weight": {"g": 10**9, "kg": 10**12, "st": 6_350_293_180_000, "lb": 453_592_370_000, "oz": 28_349_523_125},
    "volume": {"microlitres": 10**3, "mL": 10**6, "L": 10**9},
    "time": {"seconds": 1, "minutes": 60, "hours": 3600, "days": 86_400, "weeks": 604_800},
    "length": {"mm": 10**3, "cm": 10**4, "m": 10**6},
    "surface": {"m2": 10**6},
    "energy": {"J": 1},
    "creatinine": {"micromol/L": 10, "mg/dL": 884},
    "filtration": {"mL/min/1.73 m2": 1},
    **{thing: {f"{thing}s": 1} for thing in ("puff", "tablet", "capsule", "drop", "suppository", "sachet", "dose")},
}
UNITS["suppository"] = {"suppositories": 1}
COUNTED = ("puff", "tablet", "capsule", "drop", "suppository", "sachet", "dose")
DRUG = ("mass", "activity", "substance")

# How a unit is written below a stroke: "mg/kg/min", "micrograms/puff".
BELOW = {"minutes": "min", "hours": "h", "days": "day", **{next(iter(UNITS[c])): c for c in COUNTED}}
_ABOVE = {short: full for full, short in BELOW.items()}


def counted_unit(thing: str) -> str:
    """The unit that a counted thing is shown in: "tablets", "suppositories"."""
    return next(iter(UNITS[thing]))


@cache
def kind_of(numerator: str, *below: str) -> str:
    """The kind's name, such as "mass/weight": one kind above, any number below in alphabetical order."""
    return "/".join((numerator, *sorted(below)))


@cache
def factor(unit: str, kind: str) -> Fraction:
    """How many base units one `unit` of `kind` is; "mg/kg" of "mass/weight" is 1/1 000 000.

    Raises:
        KindError: it is no unit of that kind.
    """
    whole = UNITS.get(kind, {}).get(unit)
    if whole:
        return Fraction(whole)
    (top, *names), (top_kind, *below) = unit.split("/"), kind.split("/")
    bases = Fraction(UNITS[top_kind].get(top, 0))
    for name in (_ABOVE.get(name, name) for name in names):
        found = next((k for k in below if name in UNITS[k]), None)
        bases = bases / UNITS[found][name] if found else Fraction(0)
        below = [k for k in below if k != found]
    if not bases or below:  # a part of another kind, or one left out: never a number
        raise KindError(f"{unit} is not a unit of {kind}.")
    return bases


class Quantity:
    """`value` (exact, in base units) of `kind`, shown in `unit`.  Immutable by custom; compare like with like only."""

    __slots__ = ("kind", "unit", "value")

    def __init__(self, value: Fraction | int, kind: str, unit: str) -> None:
        if isinstance(value, float):
            raise KindError(f"The binary float {value} cannot hold an amount exactly.")
        self.value, self.kind, self.unit = Fraction(value), kind, unit

    @property
    def number(self) -> Fraction:
        """The exact number in the shown unit."""
        return self.value / factor(self.unit, self.kind)

    def to(self, unit: str) -> Quantity:
        """The same amount, shown in another unit of its kind."""
        factor(unit, self.kind)
        return Quantity(self.value, self.kind, unit)

    def _same(self, other: Quantity) -> Fraction:
        if not isinstance(other, Quantity) or other.kind != self.kind:
            raise KindError(f"A {self.kind} and a {getattr(other, 'kind', 'bare number')} cannot be put together.")
        return other.value

    def __eq__(self, other: object) -> bool:
        return isinstance(other, Quantity) and (self.kind, self.value) == (other.kind, other.value)

    def __hash__(self) -> int:
        return hash((self.kind, self.value))

    def __lt__(self, other: Quantity) -> bool:
        return self.value < self._same(other)

    def __le__(self, other: Quantity) -> bool:
        return self.value <= self._same(other)

    def __add__(self, other: Quantity) -> Quantity:
        return Quantity(self.value + self._same(other), self.kind, self.unit)

    def __mul__(self, other: Quantity | Fraction | int) -> Quantity:
        """A ratio times what stands below its stroke, or any quantity times a plain number."""
        if not isinstance(other, Quantity):
            return Quantity(self.value * other, self.kind, self.unit)
        kinds, units = self.kind.split("/"), self.unit.split("/")
        if other.kind not in kinds[1:]:
            raise KindError(f"A {self.kind} cannot be multiplied by a {other.kind}.")
        place = next(i for i, u in enumerate(units[1:], 1) if _ABOVE.get(u, u) in UNITS[other.kind])
        kinds.remove(other.kind)
        return Quantity(self.value * other.value, "/".join(kinds), "/".join(units[:place] + units[place + 1 :]))

    def __truediv__(self, other: Quantity | Fraction | int) -> Quantity:
        """By a plain number; or by another kind, which then stands below the stroke."""
        if not isinstance(other, Quantity):
            return Quantity(self.value / other, self.kind, self.unit)
        kinds = self.kind.split("/")
        if "/" in other.kind or other.kind in kinds:
            raise KindError(f"A {self.kind} cannot be divided by a {other.kind}.")
        below = BELOW.get(other.unit, other.unit)
        return Quantity(self.value / other.value, kind_of(kinds[0], *kinds[1:], other.kind), f"{self.unit}/{below}")

    def __repr__(self) -> str:
        return f"Quantity({self.number} {self.unit}, {self.kind})"
