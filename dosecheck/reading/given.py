"""A dose that was given, in one line: "210 mg 5 hours ago", "10 mL of paracetamol as oral-liquid-120-in-5, 5 hours ago".

    DOSE [of INGREDIENT in MEDICINE | of MEDICINE] [as PRODUCT] [by ROUTE] TIME ago | at DATE TIME+OFFSET

Here is only the cutting and the reading of amounts and times; whether names are known is found out in `rules/`.
"""

from __future__ import annotations

import re
from fractions import Fraction
from typing import NamedTuple

from dosecheck.errors import TextError
from dosecheck.reading.amounts import SPELLINGS
from dosecheck.reading.clock import Instants, read_ago, read_instant
from dosecheck.reading.doses import Dose, read_dose
from dosecheck.reading.numbers import plain

GIVEN_EXAMPLE = "210 mg 5 hours ago"
_UNIT = rf" ?(?:{'|'.join(sorted(SPELLINGS['time'], key=len, reverse=True))})"  # so that "2 to 10 puffs" is never cut as a time
_TIME = rf"[0-9.]+(?:{_UNIT})?(?: to [0-9.]+{_UNIT}| (?:and )?[0-9.]+{_UNIT})?"
_GIVEN = re.compile(rf"(?P<what>\S.*?),? (?:(?P<ago>{_TIME}) ago|at (?P<at>[0-9].*))")
_WHAT = re.compile(
    r"(?P<dose>.+?)(?: of (?P<of>.+?)(?: in (?P<inside>.+?))?)?(?: as (?P<product>.+?))?(?: by (?:the )?(?P<route>[a-z]+)(?: route)?)?"
)


class GivenText(NamedTuple):
    """One dose given, read but not yet matched.  `of` is a medicine or an ingredient, whichever has that name.

    Either `ago` (shortest, longest, in seconds) or `at` is there; `when` is the time as it was told.
    """

    dose: Dose
    of: str | None
    inside: str | None
    product: str | None
    route: str | None
    when: str
    ago: tuple[Fraction, Fraction] | None
    at: Instants | None


def read_given(text: str) -> GivenText:
    """One dose that was given, with its time.

    Raises:
        TextError: with what to write instead.
    """
    text = plain(text, "dose given", GIVEN_EXAMPLE)
    found = _GIVEN.fullmatch(text)
    if not found:
        raise TextError(text, "It does not end in when it was given.", f'Write "{GIVEN_EXAMPLE}", or "210 mg at 2026-05-04 08:10+01:00".')
    what = _WHAT.fullmatch(found["what"])
    if not what:
        raise TextError(text, "The dose given is not understood.", 'Write "10 mL of paracetamol as oral-liquid-120-in-5, 5 hours ago".')
    ago = read_ago(found["ago"], "time since the dose") if found["ago"] else None
    at = read_instant(found["at"], what="time of the dose") if found["at"] else None
    when = f"{found['ago']} ago" if found["ago"] else f"at {found['at']}"
    names = (what["of"], what["inside"], what["product"], what["route"])
    return GivenText(given_dose(what["dose"]), *(name and " ".join(name.split()).lower() for name in names), when, ago, at)


def given_dose(text: str) -> Dose:
    """The amount of one dose that was given: never of a day, and no infusion."""
    dose = read_dose(text)
    if dose.per == "time":
        raise TextError(text, "A dose given by time has no amount.", 'Write what has run in: "35 mg".')
    if dose.per == "day":
        raise TextError(text, "It is the dose of a whole day.", "Write each dose that was given, with its time.")
    return dose
