"""The shown arithmetic: small steps, made by the lines that compute, rendered alike by every door.

A step keeps its quantities; its text is made when it is asked for, so that a check pays nothing for what is not
shown.  Numbers are exact; what does not end within six decimals is marked "about".
"""

from __future__ import annotations

from fractions import Fraction
from typing import Any, NamedTuple

from dosecheck.quantity import Quantity
from dosecheck.showing import show, show_number

TIMES, BY = "x", "/"


class Step(NamedTuple):
    """`what` it is, the `parts` (quantities, plain numbers and signs, in reading order), and the `result`, if it has one.

    `down`: the result is the most that is allowed, so it is never rounded up.
    """

    what: str
    parts: tuple[Any, ...]
    result: Quantity | None = None
    note: str = ""
    down: bool = False

    @property
    def text(self) -> str:
        """ "one dose: 15 mg/kg x 14.2 kg = 213 mg" """
        return f"{self.what}: {self.equation}"

    @property
    def equation(self) -> str:
        """ "15 mg/kg x 14.2 kg = 213 mg" """
        shown = " ".join(_part(part) for part in self.parts)
        equals = f" = {show(self.result, self.down)}" if self.result is not None else ""
        note = f" ({self.note})" if self.note else ""
        return f"{shown}{equals}{note}"


def _part(part: Any) -> str:
    if isinstance(part, Quantity):
        in_kg = part.kind == "weight" and part.unit != "g"  # a line in stones or pounds cannot be followed
        return show(part.to("kg") if in_kg else part)
    if isinstance(part, (int, Fraction)):
        return show_number(part)
    return str(part)
