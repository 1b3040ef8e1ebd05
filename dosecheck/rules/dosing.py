"""Which weight a regimen goes by: the child's own, or an ideal or adjusted one reckoned for that regimen alone.

A regimen that says `goes_by = "ideal"` or `"adjusted"` has its limits per kg held by that weight; where the child's own
weight is less, the own one holds, so that no limit is ever above what it would be by the scale.  An order written per kg
is still an amount by the child's own weight.  Where a regimen is silent, a weight far above the centiles is a query.  The reckoning is in `body/weights.py`.
"""

from __future__ import annotations

from typing import NamedTuple

from dosecheck.formulary.medicine import Regimen
from dosecheck.quantity import Quantity
from dosecheck.records import NOT_CHECKED, QUERY
from dosecheck.rules.case import Case
from dosecheck.rules.codes import NOTE, Finding
from dosecheck.rules.facts import ratio
from dosecheck.rules.weighing import is_far_above, weight_for_age
from dosecheck.showing import show, show_weight
from dosecheck.working import Step

DERIVED = ("ideal", "adjusted")


class Dosing(NamedTuple):
    """The case as one regimen looks at it, with the working of its weight."""

    case: Case
    steps: tuple[Step, ...]
    findings: tuple[Finding, ...]

    @property
    def sure(self) -> bool:
        """False where the weight that the regimen goes by could not be reckoned."""
        return all(finding.outcome != NOT_CHECKED for finding in self.findings)


def by_weight(regimen: Regimen) -> bool:
    return any("weight" in limit.main.measure for limit in regimen.limits)


def silent_on_weight(regimen: Regimen) -> bool:
    """It has limits per kg, and the file does not say which weight they go by."""
    return not regimen.goes_by and by_weight(regimen)


def dosing_of(case: Case, regimen: Regimen) -> Dosing:
    """The case with the weight that the regimen goes by; with the own weight and a finding where that cannot be reckoned."""
    names = {"regimen": regimen.full_id, "source": regimen.source}
    if silent_on_weight(regimen) and is_far_above(case.child, case.body, case.formulary):
        told = {"z": weight_for_age(case.child, case.body, case.formulary)}
        return Dosing(case, (), (Finding("weight-far-above", QUERY, told, **names),))
    if regimen.goes_by not in DERIVED or not by_weight(regimen):
        return Dosing(case, (), ())
    found = _derived(case, regimen.goes_by)
    if isinstance(found, str):
        return Dosing(case, (), (Finding("weight-kind", NOT_CHECKED, {"name": regimen.goes_by, "why": found}, **names),))
    weight, steps = found
    told = {"name": regimen.goes_by, "value": show(weight), "own": show_weight(case.child.weight)}
    if case.child.weight <= weight:
        weight = case.child.weight
        steps = (*steps, Step("the child's own weight is not more, and holds", (weight,)))
    else:
        told["value"] += f" here, not the {told['own']} on the scale"
    by_it = case._replace(weight=weight, facts={**case.facts, "weight": ratio(weight.value)})
    return Dosing(by_it, steps, (Finding("goes-by-weight", NOTE, told, **names),))


def without_weight(case: Case) -> Case:
    """The case as though no weight were told: nothing per kg comes to an amount."""
    return case._replace(weight=None, facts={name: fact for name, fact in case.facts.items() if name != "weight"})


def _derived(case: Case, name: str) -> tuple[Quantity, tuple[Step, ...]] | str:
    """The weight of that name with its working, or why there is none."""
    from dosecheck.body.weights import adjusted, by_bmi, missing_for_ideal, standing

    child, age = case.child, case.body.age
    lacks = [] if child.weight else ["the weight"]
    lacks += missing_for_ideal(age, child.height, child.sex)
    if lacks:
        return f"give {', '.join(lacks)}"
    seen = standing(case.formulary.growth_reference, age, child.height, child.sex)
    if isinstance(seen, str):
        return seen
    ideal = by_bmi(seen)
    if name == "ideal":
        return ideal.weight, ideal.steps
    weight, step = adjusted(ideal.weight, child.weight)
    return weight, (*ideal.steps, step)
