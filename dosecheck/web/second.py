"""Second checks under way: in memory alone, for half an hour, each under a short code.

The first person's part is shown to nobody, the first person included, until the second has committed; then both parts are
compared once, and only the two browsers that sent them may see it.
"""

from __future__ import annotations

import secrets
import time
from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from dosecheck.errors import Fault, InputError
from dosecheck.web.compare import Comparison, Told, compare
from dosecheck.web.guard import Refused

LASTS = 30 * 60.0  # seconds
_LETTERS = "ACDEFHJKMNPRTVWXY"  # none that is read for another, or for a digit
_MOST, _MOST_OF_ONE = 500, 50  # checks at once; of one machine
_MOST_WRONG, _MOST_WRONG_OF_ONE = 200, 20  # codes a minute, of all and of one machine


@dataclass
class Check:
    """One check.  `holders`: the sessions of the two, the first's first; `when`: local time at which the second committed."""

    code: str
    asked: dict[str, Any]
    first: Told
    holders: list[str]
    begun: float
    begun_by: str = ""
    form: str = ""
    comparison: Comparison | None = None
    second: Told | None = None
    when: str = ""
    kept: str = ""


class SecondChecks:
    """Args: clock: seconds that only go up."""

    def __init__(self, clock: Callable[[], float] = time.monotonic) -> None:
        self._clock = clock
        self._held: dict[str, Check] = {}
        self._wrong: list[tuple[float, str]] = []

    def begin(self, asked: dict[str, Any], told: Told, holder: str, who: str = "", form: str = "") -> Check:
        """The first person's part; the code under which the second finds the order.

        Args:
            who: the machine that asks.
            form: the name of the form that was sent, see `begun_with`.

        Raises:
            Refused: too many are under way.
        """
        self._forget()
        mine = sum(check.begun_by == who for check in self._held.values())
        if len(self._held) >= _MOST or mine >= _MOST_OF_ONE:
            raise Refused(503, "Too many second checks are under way.", "Wait some minutes, and start again.")
        code = next(c for c in iter(lambda: "".join(secrets.choice(_LETTERS) for _ in range(6)), "") if c not in self._held)
        self._held[code] = Check(code, asked, told, [holder], self._clock(), who, form)
        return self._held[code]

    def begun_with(self, form: str, holder: str) -> Check | None:
        """The check that this form began: sent again, by a second touch or by the browser's way back, it shows no figure again."""
        return next((check for check in self._held.values() if form and check.form == form and holder in check.holders), None)

    def find(self, code: str, who: str = "") -> Check:
        """The check of that code, however it is spaced.

        Raises:
            Refused: there is none (any more), or too many wrong codes came lately.
        """
        self._forget()
        now = self._clock()
        self._wrong = [(at, whose) for at, whose in self._wrong if now - at < 60]
        if len(self._wrong) >= _MOST_WRONG or sum(whose == who for _, whose in self._wrong) >= _MOST_WRONG_OF_ONE:
            raise Refused(429, "Too many wrong codes.", "Wait a minute.", (b"retry-after", b"60"))
        check = self._held.get("".join(code.split()).upper())
        if check is None:
            self._wrong.append((now, who))
            raise Refused(
                404,
                "There is no second check of this code: it is mistyped, or older than half an hour.",
                "Look at the code, or start again.",
            )
        return check

    def commit(self, check: Check, told: Told, holder: str) -> Check:
        """The second person's part; from now on both may see the comparison.

        Raises:
            InputError: it is the first person again.
            Refused: somebody has committed already.
        """
        if check.comparison:
            raise Refused(409, "This second check is done already.", "Start a new one.")
        if told.initials == check.first.initials:
            raise InputError(
                [
                    Fault(
                        "initials",
                        told.initials,
                        "These are the first person's.",
                        "A second check is another person's: write their initials.",
                    )
                ]
            )
        check.first = check.first.held_against(told.formulary)  # half an hour may lie between the two, and an edit of the figures
        check.second, check.comparison = told, compare(check.first, told)
        check.holders.append(holder)
        check.when = datetime.now().astimezone().strftime("%Y-%m-%d %H:%M")
        return check

    def result(self, code: str, holder: str, who: str = "") -> Check:
        """The check as that browser may see it; its `comparison` is None while the second has not committed.

        Raises:
            Refused: no such check, or this browser sent neither part.
        """
        check = self.find(code, who)
        if holder not in check.holders:
            raise Refused(403, "This second check was made on other devices.", "Ask the two who made it.")
        return check

    def _forget(self) -> None:
        now = self._clock()
        self._held = {code: check for code, check in self._held.items() if now - check.begun < LASTS}
