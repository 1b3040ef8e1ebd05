"""What a child has had before an order: records of doses given, each with a time or with how long ago.

`Earlier` with no doses means "none given"; no `Earlier` at all means "not told".  Texts are read in `reading/given.py`;
what the doses mean for an order is in `rules/earlier.py`.
"""

from __future__ import annotations

from collections.abc import Iterable
from datetime import UTC, date, tzinfo
from fractions import Fraction
from typing import Any, NamedTuple

from dosecheck.errors import Fault, InputError, TextError
from dosecheck.reading import Dose
from dosecheck.reading.clock import EXAMPLE, Instants, at_instant, read_instant
from dosecheck.reading.given import GIVEN_EXAMPLE, GivenText, read_given

MOST_DOSES = 1000
_LONGEST = 366 * 86_400


class Now(NamedTuple):
    """The moment of the check: whole seconds since 1970 UTC, and the zone in which times are shown."""

    instant: int
    zone: tzinfo

    @property
    def day(self) -> date:
        return at_instant(self.instant, self.zone).date()

    @property
    def text(self) -> str:
        """ "2026-05-04 14:30 (Europe/London)", or with the offset where no zone was named."""
        local = at_instant(self.instant, self.zone)
        name = getattr(self.zone, "key", None)
        return f"{local:%Y-%m-%d %H:%M}" + (f" ({name})" if name else f"{local.isoformat()[19:]}")


UNREAD = Now(0, UTC)  # stands in for a moment that cannot be read, so that the doses are still read for their faults


class DoseGiven(NamedTuple):
    """One dose that was given.  `ago`: shortest and longest time before now, in seconds, both above or at zero.

    `medicine` and `product` None: those of the order.  `of`: a medicine or an ingredient, whichever has the name.
    `when`: the time as it was told.
    """

    dose: Dose
    ago: tuple[Fraction, Fraction]
    when: str
    of: str | None = None
    inside: str | None = None
    product: str | None = None
    route: str | None = None
    note: str = ""


class Earlier(NamedTuple):
    """The doses told (none: none was given), and the moment of the check where it is known."""

    doses: tuple[DoseGiven, ...] = ()
    now: Now | None = None


def read_now(text: str, zone: tzinfo | None = None) -> Now:
    """The moment of the check; it must be one moment.

    Raises:
        TextError: it has neither offset nor zone, or its local time occurs twice.
    """
    read = read_instant(text, zone, "time of the check")
    if read.first != read.last:
        raise TextError(str(text), "This local time occurs twice, as the clocks go back.", f'Write it with its offset: "{EXAMPLE}".')
    return Now(read.first, read.zone)


def before_now(at: Instants, now: Now | None, given: str) -> tuple[Fraction, Fraction]:
    """How long before now, shortest and longest.

    Raises:
        TextError: after now, more than 366 days before, or now is not told.
    """
    if now is UNREAD:
        return Fraction(0), Fraction(0)
    if now is None:
        raise TextError(given, "A time of day needs the time of the check.", f'Write that too: now "{EXAMPLE}".')
    shortest, longest = now.instant - at.last, now.instant - at.first
    if longest < 0:
        shown = at_instant(now.instant, now.zone).strftime("%Y-%m-%d %H:%M")
        raise TextError(given, f"The dose would be given after the time of the check, {shown}.", "Look at both times.")
    if longest > _LONGEST:
        raise TextError(given, "The dose is more than 366 days old.", "Leave it out, or look at the year.")
    return Fraction(max(shortest, 0)), Fraction(longest)


def dose_given(read: GivenText, now: Now | None, text: str) -> DoseGiven:
    ago = read.ago or before_now(read.at, now, text)
    return DoseGiven(read.dose, ago, read.when, read.of, read.inside, read.product, read.route)


def read_earlier(texts: Iterable[str | DoseGiven], now: Now | None = None) -> Earlier:
    """Doses given, one line each; the faults of all of them at once.

    >>> read_earlier(["210 mg 5 hours ago"]).doses[0].ago
    (Fraction(18000, 1), Fraction(18000, 1))
    """
    doses, faults = [], []
    for text in texts:
        try:
            doses.append(text if isinstance(text, DoseGiven) else dose_given(read_given(text), now, str(text)))
        except TextError as error:
            faults.append(Fault("given", error.given, error.why, error.write))
    if len(doses) > MOST_DOSES:
        faults = [Fault("given", str(len(doses)), f"More than {MOST_DOSES} doses are given.", "Leave out those of long ago.")]
    if faults:
        raise InputError(faults)
    return Earlier(tuple(doses), now)


def as_earlier(told: Any) -> Earlier | None:
    """What `check_order` is told of earlier doses: None, an `Earlier`, or an iterable of texts and records."""
    if told is None or isinstance(told, Earlier):
        return told
    if isinstance(told, str):
        raise InputError([Fault("given", told, "The earlier doses are one text, not a list.", f'Write ["{GIVEN_EXAMPLE}"].')])
    return read_earlier(told)
