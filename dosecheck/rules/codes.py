"""Findings as data, how their outcomes join, and how they are put into the catalogue's words.

Sort, count and test on the code, not on the words.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from fractions import Fraction
from typing import Any, NamedTuple

from dosecheck.quantity import Quantity
from dosecheck.records import NOT_CHECKED, QUERY, STOP, WITHIN
from dosecheck.rules.catalogue import CATALOGUE
from dosecheck.showing import show, show_number

NOTE = ""
_WORST = (STOP, NOT_CHECKED, QUERY, WITHIN)


class Later(NamedTuple):
    """Data of a finding that is reckoned when it is told; `about` tells findings of one code apart."""

    about: str
    make: Callable[[], Mapping[str, Any]]


class Finding(NamedTuple):
    """One fact about an order, as data.  `outcome` is what it means for the whole; "" is a note and changes nothing."""

    code: str
    outcome: str
    told: Mapping[str, Any] | Later
    regimen: str = ""
    source: str = ""

    @property
    def about(self) -> str:
        return self.told.about if isinstance(self.told, Later) else str(self.told)

    @property
    def data(self) -> Mapping[str, Any]:
        """The values that the sentence is made of."""
        return self.told.make() if isinstance(self.told, Later) else self.told

    @property
    def message(self) -> str:
        return CATALOGUE[self.code].sentence.format_map({name: in_words(value) for name, value in self.data.items()})

    @property
    def value(self) -> str:
        return in_words(self.data.get("value", ""))

    @property
    def limit(self) -> str:
        return in_words(self.data.get("limit", ""))


def in_words(value: Any) -> str:
    """A piece of a finding's data as text; a plain fraction is a multiple."""
    if isinstance(value, Quantity):
        return show(value)
    if isinstance(value, Fraction):
        return times_in_words(value)
    if isinstance(value, (list, tuple)):
        return ", ".join(map(str, value)) or "none"
    return str(value)


def times_in_words(ratio: Fraction) -> str:
    """ "10 times", "about 1.3 times"; never "1 times"."""
    if ratio.denominator == 1 and ratio != 1:
        return f"{show_number(ratio)} times"
    places = 0
    while places < 4 and (round(ratio * 10**places) < 20 or round(ratio * 10**places) == 10**places):
        places += 1
    rounded = Fraction(round(ratio * 10**places), 10**places)
    return "just above" if rounded == 1 else f"about {show_number(rounded)} times"


def worst(outcomes: Any) -> str:
    """By precedence: stop, not-checked, query, within; nothing at all is not-checked."""
    present = set(outcomes)
    return next((outcome for outcome in _WORST if outcome in present), NOT_CHECKED)


def agreed(outcomes: list[str]) -> str:
    """Of several readings of one order: the one outcome if all agree; else not-checked if any is; else query."""
    if len(set(outcomes)) == 1:
        return outcomes[0]
    return NOT_CHECKED if NOT_CHECKED in outcomes or not outcomes else QUERY
