"""The answer to one order, as data that every door renders: outcome, findings, working, limits, what was not checked."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from fractions import Fraction
from functools import cached_property
from typing import TYPE_CHECKING, Any, NamedTuple

from dosecheck.formulary.limits import Limit
from dosecheck.formulary.medicine import Regimen
from dosecheck.quantity import Quantity
from dosecheck.records import NOT_CHECKED, QUERY, STOP, WITHIN
from dosecheck.rules.codes import Finding
from dosecheck.working import Step

if TYPE_CHECKING:
    from typing import Protocol

    from dosecheck.rules.room import Next

    class Views(Protocol):
        """What a verdict can be asked beyond its findings; `conclude.py` has the one for a checked case."""

        def to_observe(self, limits: tuple[LimitState, ...]) -> tuple[str, ...]: ...
        def understood(self) -> dict[str, str]: ...
        def suggestion(self) -> Suggestion | None: ...
        def slips(self) -> tuple[str, ...]: ...
        def next_dose(self) -> Next | None: ...
        def formulary(self) -> dict[str, str]: ...
        def status_line(self) -> str: ...


CAUTION = (
    "A second check of the arithmetic, not a prescription: the prescriber decides, local guidance comes first, "
    "and giving medicines is for those licensed to. Allergy, interactions and liver were not looked at, and kidneys only where a creatinine is told."
)
HEADLINES = {
    WITHIN: "WITHIN the figures of this formulary, for this order alone; earlier doses not told.",
    QUERY: "QUERY: ask the prescriber or a pharmacist before giving.",
    STOP: "STOP: do not give as written; go back to the prescriber.",
    NOT_CHECKED: "NOT CHECKED: this order could not be checked in full. Do not take this as an all-clear.",
}

WEIGHT_IN_DOUBT = "No dose or volume is offered while the weight is in doubt: weigh the child first."
EARLIER_OPEN = "Earlier doses: not told, so not counted."


def within_with(doses: int) -> str:
    """The headline of an order within its limits, with so many earlier doses told (none: told that none was given)."""
    if not doses:
        return "WITHIN the figures of this formulary, for this order alone; no earlier dose was given, as told."
    return f"WITHIN the figures of this formulary, with the {doses} earlier dose{'s' * (doses > 1)} told."


def earlier_open(doses: int | None) -> str:
    """What is open about earlier doses: whoever told them may have left some out."""
    if doses is None:
        return EARLIER_OPEN
    return (
        f"Earlier doses: only the {doses} told {'were' if doses > 1 else 'was'} counted."
        if doses
        else "Earlier doses: none was given, as told; nobody looked whether that is so."
    )


class LimitState(NamedTuple):
    """One limit as it stood for this order.

    `comes_to` is what it amounts to for this child, where it is a dose; `dose` what one dose of the order comes to, in base
    units of the regimen's kind (of an infusion, in one second).
    """

    limit: Limit
    regimen: Regimen
    state: str
    comes_to: Quantity | None
    binding: bool
    source: str
    dose: Fraction


class Suggestion(NamedTuple):
    """The largest measurable dose at or below the maximum with one product; `amount` is None when there is none."""

    product: str
    product_name: str
    amount: Quantity | None
    measured: Quantity | None
    steps: tuple[Step, ...]
    note: str


def weight_in_doubt(findings: Iterable[Finding]) -> bool:
    """Whether the weight is hard to believe: then no size is offered by it."""
    return any(finding.code == "weight-not-believable" for finding in findings)


def withheld(suggestion: Suggestion) -> Suggestion:
    """The suggestion without its size, and why."""
    return suggestion._replace(amount=None, measured=None, steps=(), note=WEIGHT_IN_DOUBT)


@dataclass(frozen=True)
class Verdict:
    """What `check_order` answers.

    outcome: "within", "query", "stop" or "not-checked".
    findings: those that bear on the outcome first; a note has the outcome "".
    working: steps in the order in which they were reckoned.
    limits: every limit of every regimen that fits, with its state; the binding one marked.
    regimens: those that were read.
    one_dose: what one dose comes to (the top of a range), in the first regimen's kind.
    earlier: how many earlier doses were told; None: not told.
    counts: limits "due", "met", "broken" and "not-checked".

    The views below are reckoned when they are asked for, from the case that was checked.
    """

    outcome: str
    findings: tuple[Finding, ...]
    working: tuple[Step, ...]
    limits: tuple[LimitState, ...]
    regimens: tuple[Regimen, ...]
    one_dose: Quantity | None
    views: Views
    earlier: int | None = None

    @property
    def headline(self) -> str:
        """A passing outcome says what it covers."""
        return HEADLINES[self.outcome] if self.outcome != WITHIN or self.earlier is None else within_with(self.earlier)

    @property
    def codes(self) -> tuple[str, ...]:
        """Codes of the findings that bear on the outcome, sorted, each once."""
        return tuple(sorted({f.code for f in self.findings if f.outcome}))

    @cached_property
    def counts(self) -> dict[str, int]:
        states = [s.state for s in self.limits]
        each = {state: states.count(state) for state in ("met", "broken", "not-checked")}
        return {"due": sum(each.values()), **each}

    @cached_property
    def not_checked(self) -> tuple[str, ...]:
        """What was not checked, and why."""
        return (*dict.fromkeys(f.message for f in self.findings if f.outcome == NOT_CHECKED), earlier_open(self.earlier))

    @cached_property
    def to_observe(self) -> tuple[str, ...]:
        """Limits whose measure the order did not state, and the like."""
        return self.views.to_observe(self.limits)

    @cached_property
    def understood(self) -> dict[str, str]:
        """Every input as it was read."""
        return self.views.understood()

    @cached_property
    def suggestion(self) -> Suggestion | None:
        """The largest measurable dose with the product in hand; None where no product is named.

        No size is offered while the weight is hard to believe.
        """
        suggestion = self.views.suggestion()
        return withheld(suggestion) if suggestion and weight_in_doubt(self.findings) else suggestion

    @cached_property
    def slips(self) -> tuple[str, ...]:
        """Known slips that would explain an order far out: hints, never corrections."""
        return self.views.slips()

    @cached_property
    def next_dose(self) -> Next | None:
        """The next dose of the order that the doses told leave room for.

        None where they are not told, where none fits, and while the weight is hard to believe.
        """
        return None if weight_in_doubt(self.findings) else self.views.next_dose()

    @property
    def next_dose_withheld(self) -> str:
        """Why no next dose is worked out though the doses given are told; "" where that is not so."""
        return WEIGHT_IN_DOUBT if self.earlier is not None and weight_in_doubt(self.findings) else ""

    @property
    def ask_first(self) -> tuple[str, ...]:
        return tuple(dict.fromkeys(line for r in self.regimens for line in r.ask_first))

    @property
    def formulary(self) -> dict[str, str]:
        return self.views.formulary()

    @property
    def caution(self) -> str:
        return f"{CAUTION} {self.views.status_line()}".rstrip()

    def as_dict(self) -> dict[str, Any]:
        """The JSON of the answer; every amount is text with its unit."""
        from dosecheck.rules.present import verdict_dict

        return verdict_dict(self)
