"""What can be measured: the largest dose at or below the maximum that a product and its measuring device can give.

Rounded down, never up, and checked again: what is proposed passes its own limits, or there is no proposal.
"""

from __future__ import annotations

from fractions import Fraction

from dosecheck.errors import KindError
from dosecheck.formulary.limits import Limit
from dosecheck.formulary.measures import Ratio, holds
from dosecheck.formulary.medicine import Product, Regimen
from dosecheck.quantity import COUNTED, Quantity, counted_unit
from dosecheck.rules.amounts import Amount
from dosecheck.rules.case import Case, Reading
from dosecheck.rules.codes import NOTE, Finding
from dosecheck.rules.explain import lacks_weight, most_for_one_dose
from dosecheck.rules.facts import ratio
from dosecheck.rules.judge import answer_limit
from dosecheck.rules.verdict import Suggestion
from dosecheck.working import BY, Step

NONE = "no measurable dose with this product"
NONE_NOW = "no dose now, with the doses given before"
NO_WEIGHT = "no size without the weight (or height) that the figures go by"
_ABOUT_DOSE = ("dose", "daily", "average", "total")


def suggest(case: Case, readings: list[Reading]) -> Suggestion | None:
    """For the product in hand, under every regimen that was read (the least maximum holds)."""
    read = [r for r in readings if r.amount and r.regimen and not r.regimen.span.continuous]
    if not read:
        return None
    proposals = [measurable(case.product, r.regimen, r.upper, _left(case, r)) for r in read]
    return min(proposals, key=lambda p: p.measured.value if p.measured else Fraction(-1))


def _left(case: Case, reading: Reading) -> Fraction | None:
    """What the doses told leave for the dose now; None where they are not told or bound nothing."""
    if case.history is None:
        return None
    from dosecheck.rules.room import left_now  # loaded only when earlier doses are told

    return left_now(case, reading)


def measurable(product: Product, regimen: Regimen, upper: dict[str, Ratio], left: Fraction | None = None) -> Suggestion:
    """The largest measurable dose for one regimen; `upper` are the facts for upper limits (its "dose" is not used).

    `left`: what earlier doses leave, in base units; None where they bound nothing.
    """
    if left == 0:
        return Suggestion(product.id, product.name, None, None, (), NONE_NOW)
    if lacks_weight(regimen, upper):
        return Suggestion(product.id, product.name, None, None, (), NO_WEIGHT)
    none = Suggestion(product.id, product.name, None, None, (), NONE)
    bounds = [b for b in (most_for_one_dose(limit, upper) for limit in regimen.limits) if b is not None]
    strength = product.strengths.get(regimen.ingredient)
    if not bounds or strength is None:
        return none
    most = Quantity(
        min(bounds if left is None else (*bounds, left)), regimen.kind, (regimen.span.high or regimen.span.low).unit.split("/")[0]
    )
    if regimen.kind in COUNTED:
        share, unit_amount = most, Fraction(1)
    elif strength.kind.split("/")[0] == regimen.kind:
        share, unit_amount = share_of(most, strength), strength.value
    else:
        return none
    measured = Quantity(_step_down(share.value, product), product.below, _unit_below(product.below))
    amount = Quantity(measured.value * unit_amount, regimen.kind, most.unit)
    if not measured.value or not _passes(regimen, amount, upper):
        return none
    steps = (
        Step(f"with {product.name}, at most", (most, BY, strength), share, down=True),
        Step("down to what can be measured", (measured,), amount),
    )
    return Suggestion(product.id, product.name, amount, measured, steps, "")


def least_measurable(product: Product, regimen: Regimen, low: Quantity | None, most: Suggestion) -> Suggestion | None:
    """The smallest measurable dose at or above the low end of a range; None where that is above the `most` measurable."""
    if low is None or most.measured is None:
        return None
    each = most.amount.value / most.measured.value
    measured = Quantity(_step_up(low.value / each, product), product.below, _unit_below(product.below))
    if measured > most.measured:
        return None
    amount = Quantity(measured.value * each, regimen.kind, low.unit)
    steps = (
        Step(
            f"with {product.name}, at least",
            (low, BY, product.strengths[regimen.ingredient]),
            Quantity(low.value / each, measured.kind, measured.unit),
        ),
        Step("up to what can be measured", (measured,), amount),
    )
    return Suggestion(product.id, product.name, amount, measured, steps, "")


def odd_amounts(product: Product, regimen: Regimen, amount: Amount) -> list[Finding]:
    """A note for each end of the order that the product's steps do not measure; the suggestion says what they do."""
    strength = product.strengths.get(regimen.ingredient)
    if strength is None or strength.kind.split("/")[0] != regimen.kind:
        return []
    found = []
    for end in dict.fromkeys((amount.low, amount.high)):
        share = share_of(end, strength)
        if _step_down(share.value, product) != share.value:
            found.append(Finding("not-measurable", NOTE, {"value": end, "share": share, "product": product.name}))
    return found


def share_of(amount: Quantity, strength: Quantity) -> Quantity:
    """How much of a product holds `amount`: mL, or so many of a counted thing; exact.

    Raises:
        KindError: the strength is of another kind than the amount.
    """
    kind, below = strength.kind.split("/")
    if amount.kind != kind:
        raise KindError(f"A strength by {strength.unit} cannot measure an amount in {amount.unit}.")
    return Quantity(amount.value / strength.value, below, _unit_below(below))


def _unit_below(below: str) -> str:
    return "mL" if below == "volume" else counted_unit(below)


def _step_down(share: Fraction, product: Product) -> Fraction:
    """A volume by the product's steps; a tablet or suppository in its divisions; puffs and drops whole."""
    if product.below != "volume":
        return Fraction(share * product.divides // 1, product.divides)
    for step in product.measure:
        if step.up_to is None or share <= step.up_to:
            return share // step.step * step.step
    return Fraction(0)


def _step_up(share: Fraction, product: Product) -> Fraction:
    """As `_step_down`, to the next at or above; `share` itself where it can be measured."""
    if product.below != "volume":
        return Fraction(-(-share * product.divides // 1), product.divides)
    step = next(step.step for step in product.measure if step.up_to is None or share <= step.up_to)
    return -(-share // step) * step


def _passes(regimen: Regimen, amount: Quantity, upper: dict[str, Ratio]) -> bool:
    facts = {**upper, "dose": ratio(amount.value)}
    about_dose = [limit for limit in regimen.limits if limit.main.measure.split("/")[0] in _ABOUT_DOSE]
    return all(_kept(limit, facts) for limit in about_dose)


def _kept(limit: Limit, facts: dict[str, Ratio]) -> bool:
    """Kept, as far as the facts go; an exception that nobody can look at (how often is not told) excuses nothing."""
    answer = answer_limit(limit, facts)
    return answer if isinstance(answer, bool) else holds(limit.main, facts) is not False
