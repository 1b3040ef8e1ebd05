"""Is this order right?  Half of them are, half carry a slip; the answer is the engine's own outcome, never the slip's name."""

from __future__ import annotations

from fractions import Fraction
from math import floor, log10
from typing import NamedTuple

from dosecheck.drill.dice import Dice
from dosecheck.drill.pool import DrawnChild, Offer, Pool, draw_child, name_of, plain_text
from dosecheck.drill.question import Choice, Question
from dosecheck.quantity import UNITS, Quantity, factor
from dosecheck.records import QUERY, STOP, WITHIN, Child, Order
from dosecheck.rules.check import check_order
from dosecheck.rules.reckon import Figures
from dosecheck.rules.verdict import Verdict
from dosecheck.showing import show_share

_LB = Fraction(UNITS["weight"]["kg"], UNITS["weight"]["lb"])
_ASK = "What would you do? Write within, query or stop."


class Written(NamedTuple):
    """An order as somebody wrote it: the dose's size for each 1 of the right one, and the hours taken off the gap."""

    slip: str
    says: str
    times: Fraction = Fraction(1)
    sooner: int = 0


_RIGHT = Written("", "nothing: it is right as written")
_SLIPS = {
    1: (
        Written("tenfold", "ten times the dose: a decimal point or a zero", Fraction(10)),
        Written("tenfold", "a tenth of the dose: a decimal point or a zero", Fraction(1, 10)),
    ),
    2: (
        Written("pounds", "the weight taken in pounds as though it were kilograms", _LB),
        Written("double", "the dose of two times at once", Fraction(2)),
        Written("half", "half of the dose", Fraction(1, 2)),
        Written("gap", "doses too close together", sooner=2),
    ),
    3: (
        Written("above", "a dose a little too large", Fraction(108, 100)),
        Written("above", "a dose a fifth too large", Fraction(12, 10)),
        Written("below", "a dose a little too small", Fraction(8, 10)),
        Written("gap", "doses too close together", sooner=1),
    ),
}


def draw(pool: Pool, dice: Dice, level: int) -> Question | None:
    offers = tuple(offer for offer in pool.by_weight if _plainly_judged(offer))
    if not offers:
        return None
    offer, slip = dice.pick(offers), dice.pick((_RIGHT, dice.pick(_SLIPS[level])))
    child = draw_child(dice, offer.regimen, whole_kg=level == 1)
    found = child and pool.figures(offer, child)
    if not found or found.high is None:
        return None
    right, written = (_order(offer, found.high * each.times, each.sooner) for each in (_RIGHT, slip))
    told = Child(weight=child.weight, age=child.age)
    if check_order(right, told, pool.formulary).outcome != WITHIN:
        return None  # something else about the child is to be asked, which the question does not tell
    verdict = check_order(written, told, pool.formulary)
    if verdict.outcome not in (WITHIN, QUERY, STOP) or (verdict.outcome == WITHIN) != (slip == _RIGHT):
        return None
    return _question(pool, offer, child, written, found, verdict, slip, level)


def _order(offer: Offer, dose: Quantity, sooner: int) -> Order:
    entry = offer.regimen.entry
    return Order(
        medicine=offer.medicine.id,
        route=offer.regimen.route,
        for_=offer.regimen.purposes[0],
        dose=plain_text(_two_figures(dose)),
        every=f"{int(entry['min_gap'].split()[0]) - sooner} hours",
        at_most=entry.get("max_doses"),
    )


def _question(
    pool: Pool, offer: Offer, child: DrawnChild, order: Order, found: Figures, verdict: Verdict, slip: Written, level: int
) -> Question:
    name = name_of(offer.medicine)
    limits = "; ".join(f"{what} {text}" for what, text in found.rows)
    at_most = f", at most {order.at_most} doses in 24 hours" if order.at_most else ""
    said = verdict.understood
    text = (
        f"{child.id}, {child.age} old, weighs {child.weight}. Order: {name}, {order.route}, for {order.for_}, "
        f"{plain_text(order.dose.high)}, {said['how_often'].partition(',')[0]}{at_most}. The formulary: {limits}."
    )
    findings = tuple(finding.message for finding in verdict.findings if finding.outcome)
    why = findings[0] if findings else "Every limit is kept."
    return Question(
        kind="right-or-not",
        level=level,
        text=text,
        ask=_ASK,
        answer=verdict.outcome,
        steps=verdict.working,
        given=(("medicine", name), ("child", child.id), ("age", child.age), ("weight", child.weight), ("dose", said["dose"])),
        source=found.source,
        choices=tuple(Choice(word, means, "" if word == verdict.outcome else why) for word, means in _means(pool).items()),
        notes=(*findings, f"What was written: {slip.says}."),
    )


def _means(pool: Pool) -> dict[str, str]:
    """What each word means here; the margin is the policy's."""
    margin = show_share(pool.formulary.grading.query_up_to)
    return {
        WITHIN: "every figure is kept",
        QUERY: f"ask before giving: below the low end, or above a figure per kg by up to {margin}",
        STOP: "do not give as written: further above, above a maximum, too often or too close together",
    }


def _plainly_judged(offer: Offer) -> bool:
    """Whose figures have the usual margin above, and a gap of whole hours that may be cut."""
    entry = offer.regimen.entry
    gap = entry.get("min_gap", "")
    return not offer.medicine.high_risk and "query_up_to" not in entry and gap.endswith(" hours") and int(gap.split()[0]) > 2


def _two_figures(dose: Quantity) -> Quantity:
    """As it would be written: down to two figures, or three where they end in 5."""
    number = dose.number
    step = Fraction(10) ** (floor(log10(number)) - 1) / 2
    return Quantity(number // step * step * factor(dose.unit, dose.kind), dose.kind, dose.unit)
