"""Every regimen of a formulary proven, or not: what is not proven is never counted as proven."""

from __future__ import annotations

from fractions import Fraction
from typing import Any, NamedTuple

from dosecheck.formulary.load import Formulary
from dosecheck.formulary.medicine import Medicine, Regimen
from dosecheck.quantity import UNITS, Quantity
from dosecheck.showing import show
from dosecheck.workshop.advice.children import weights_of
from dosecheck.workshop.prove.claims import COUNTER, OPEN, PROVEN, Result, claims
from dosecheck.workshop.prove.example import Example, example_of

CLAIMS = ("children", "one way", "spread", "whole numbers", "room", "order", "offer")
_SURFACES = (Fraction(UNITS["surface"]["m2"], 20), Fraction(3 * UNITS["surface"]["m2"]))  # 0.05 to 3 m2


class Proof(NamedTuple):
    """One regimen: the children it was proven for, its claims, and an order for each counter-example that has one."""

    medicine: str
    regimen: str
    children: str
    by: str
    results: tuple[Result, ...]
    examples: tuple[Example | None, ...]

    @property
    def state(self) -> str:
        states = {result.state for result in self.results}
        return COUNTER if COUNTER in states else OPEN if OPEN in states else PROVEN

    def at(self, result: Result) -> str:
        """The weight (or the surface) of a counter-example in words."""
        if result.weight is None:
            return ""
        return show(Quantity(result.weight, self.by, "kg" if self.by == "weight" else "m2"))

    def as_dict(self) -> dict[str, Any]:
        rows = [
            {
                "claim": result.claim,
                "state": result.state,
                "why": result.why,
                "at": self.at(result),
                "order": example.command if example else "",
                "outcome": example.outcome if example else "",
            }
            for result, example in zip(self.results, self.examples, strict=True)
        ]
        return {"medicine": self.medicine, "regimen": self.regimen, "children": self.children, "state": self.state, "claims": rows}


def prove(formulary: Formulary, medicine: str | None = None) -> tuple[Proof, ...]:
    """One proof for each regimen, and each row of a table by band, of every date.

    Args:
        medicine: only this one, by its id or a name; it must be there.
    """
    chosen = [formulary.medicine(medicine)] if medicine else formulary.medicines()
    return tuple(_proof(formulary, one, regimen) for one in chosen for regimen in one.regimens)


def _proof(formulary: Formulary, medicine: Medicine, regimen: Regimen) -> Proof:
    if any("surface" in limit.main.measure for limit in regimen.limits):
        weights, said, by, believed = _SURFACES, "0.05 m2 to 3 m2", "surface", True
    else:
        found = weights_of(regimen, formulary)
        if found is None:
            why = "Its ages lie beyond the growth reference, and no band of weight ends it."
            return Proof(
                medicine.id, regimen.full_id, "", "weight", tuple(Result(claim, OPEN, why) for claim in CLAIMS), (None,) * len(CLAIMS)
            )
        weights, said = (found.least or Fraction(UNITS["weight"]["g"]), found.most), " to ".join(map(show, found.ends()))
        by, believed = "weight", found.believed
    results = tuple(_confirmed(formulary, medicine, regimen, result) for result in claims(formulary, medicine, regimen, weights, believed))
    return Proof(medicine.id, regimen.full_id, said, by, tuple(result for result, _ in results), tuple(example for _, example in results))


def _confirmed(formulary: Formulary, medicine: Medicine, regimen: Regimen, result: Result) -> tuple[Result, Example | None]:
    """A counter-example is run; where the check does not find that dose wrong, proof and check disagree, and nothing is proven."""
    if result.state != COUNTER or result.weight is None:
        return result, None
    example = example_of(formulary, medicine, regimen, result.weight, result.dose, result.doses)
    if example and not example.confirms:
        why = f"{result.why} But the check does not say so of that order ({example.outcome}): proof and check disagree."
        return result._replace(state=OPEN, why=why), example
    return result, example
