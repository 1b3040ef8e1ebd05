"""The answer to one order, as data that every door renders: outcome, findings, working, limits, what was not checked."""

from __future__ import annotations

from typing import Any, NamedTuple

from dosecheck.formulary.limits import Limit
from dosecheck.formulary.medicine import Regimen
from dosecheck.quantity import Quantity
from dosecheck.records import NOT_CHECKED, QUERY, STOP, WITHIN
from dosecheck.rules.codes import Finding
from dosecheck.working import Step

CAUTION = (
    "A second check of the arithmetic, not a prescription: the prescriber decides, local guidance comes first, "
    "and giving medicines is for those licensed to. Allergy, interactions, kidney and liver were not looked at."
)
HEADLINES = {
    WITHIN: "WITHIN the figures of this formulary, for this order alone; earlier doses not told.",
    QUERY: "QUERY: ask the prescriber or a pharmacist before giving.",
    STOP: "STOP: do not give as written; go back to the prescriber.",
    NOT_CHECKED: "NOT CHECKED: this order could not be checked in full. Do not take this as an all-clear.",
}


class LimitState(NamedTuple):
    """One limit as it stood for this order.  `comes_to` is what it amounts to for this child, where it is a dose."""

    limit: Limit
    regimen: Regimen
    state: str
    comes_to: Quantity | None
    binding: bool
    source: str


class Suggestion(NamedTuple):
    """The largest measurable dose at or below the maximum with one product; `amount` is None when there is none."""

    product: str
    product_name: str
    amount: Quantity | None
    measured: Quantity | None
    steps: tuple[Step, ...]
    note: str


class Verdict(NamedTuple):
    """What `check_order` answers.

    outcome: "within", "query", "stop" or "not-checked".
    findings: those that bear on the outcome first; a note has the outcome "".
    working: steps in the order in which they were reckoned.
    limits: every limit of every regimen that fits, with its state; the binding one marked.
    one_dose: what one dose comes to (the top of a range), in the first regimen's kind.
    counts: limits "due", "met", "broken" and "not-checked".
    """

    outcome: str
    headline: str
    findings: tuple[Finding, ...]
    working: tuple[Step, ...]
    limits: tuple[LimitState, ...]
    not_checked: tuple[str, ...]
    to_observe: tuple[str, ...]
    understood: dict[str, str]
    suggestion: Suggestion | None
    formulary: dict[str, str]
    status_line: str
    counts: dict[str, int]
    regimens: tuple[Regimen, ...]
    ask_first: tuple[str, ...]
    slips: tuple[str, ...]
    one_dose: Quantity | None

    @property
    def codes(self) -> tuple[str, ...]:
        """Codes of the findings that bear on the outcome, sorted, each once."""
        return tuple(sorted({f.code for f in self.findings if f.outcome}))

    @property
    def caution(self) -> str:
        return f"{CAUTION} {self.status_line}".rstrip()

    def as_dict(self) -> dict[str, Any]:
        """The JSON of the answer; every amount is text with its unit."""
        from dosecheck.rules.present import verdict_dict

        return verdict_dict(self)
