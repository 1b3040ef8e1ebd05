"""What one check looks at, and what it reads: shared by the modules that check, explain and conclude."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

from dosecheck.formulary.load import Formulary
from dosecheck.formulary.measures import Ratio
from dosecheck.formulary.medicine import Medicine, Product, Regimen
from dosecheck.formulary.shelf import Shelf
from dosecheck.quantity import Quantity
from dosecheck.records import Child, Order
from dosecheck.rules.amounts import Amount, Given
from dosecheck.rules.codes import Finding
from dosecheck.rules.facts import Body
from dosecheck.rules.verdict import LimitState
from dosecheck.working import Step

if TYPE_CHECKING:  # loaded only when earlier doses are told
    from dosecheck.rules.history import History


class Case(NamedTuple):
    """Everything one check looks at.  `weight` is what limits per kg go by: the child's own, unless a regimen says otherwise."""

    order: Order
    child: Child
    body: Body
    formulary: Formulary
    medicine: Medicine
    product: Product | None
    shelf: Shelf
    given: Given
    facts: dict[str, Ratio]
    once: bool
    weight: Quantity | None
    history: History | None = None  # None: earlier doses are not told


class Reading(NamedTuple):
    """One regimen (or none) for one stretch of the child's age, judged."""

    regimen: Regimen | None
    outcome: str
    findings: tuple[Finding, ...]
    limits: tuple[LimitState, ...]
    steps: tuple[Step, ...]
    amount: Amount | None
    upper: dict[str, Ratio]
