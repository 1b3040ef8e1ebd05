"""The most of a local anaesthetic, in mL: the formulary's figures, the strength in hand, and what other agents used up.

Two agents add up as parts of their own most: the parts together never exceed the whole.  Everything is rounded down.
An agent, or a child, for whom the formulary has no figure is not covered.
"""

from __future__ import annotations

from fractions import Fraction
from typing import NamedTuple

from dosecheck.errors import Fault, InputError
from dosecheck.formulary.load import Formulary
from dosecheck.formulary.medicine import Medicine
from dosecheck.quantity import Quantity
from dosecheck.reading import AgeParts, read_strength, read_volume
from dosecheck.records import NOT_CHECKED, STOP, Child, Order, read_name
from dosecheck.rules.present import status_line
from dosecheck.rules.reckon import Figures, reckon
from dosecheck.showing import show, show_share
from dosecheck.sums.child import WEIGHT, read_age_parts
from dosecheck.sums.frame import Answer, Doubt, Field, NotCovered, Result, Sum, rounded
from dosecheck.working import BY, TIMES, Step

ROUTE, GROUP = "infiltration", "local anaesthetic"
_ONE_ML, _STEP, _FINE_STEP = (read_volume(text) for text in ("1 mL", "0.1 mL", "0.01 mL"))


class Most(NamedTuple):
    """What the formulary allows of one agent for this child."""

    medicine: Medicine
    amount: Quantity
    figures: Figures
    steps: tuple[Step, ...]
    doubts: tuple[Doubt, ...]

    @property
    def notes(self) -> tuple[str, ...]:
        regimen = self.figures.regimen
        return (f"{self.medicine.id}: figure of the regimen {regimen.full_id}.", *(f"Ask first: {text}" for text in regimen.ask_first))


class Used(NamedTuple):
    """What another agent has used up: the part of its own most, exactly."""

    most: Most
    part: Fraction
    step: Step


def most_volume(
    weight: Quantity,
    age: AgeParts,
    medicine: str,
    strength: Quantity,
    other: str | None,
    other_strength: Quantity | None,
    other_volume: Quantity | None,
    formulary: Formulary,
) -> Answer:
    """The most mL of one agent; less when another, or the same before, has used up a part."""
    child = Child(weight=weight, age=age)
    most = _most(medicine, strength, "strength", child, formulary)
    left, agents, steps, results, doubts = most.amount, [most], [*most.steps], [], []
    used = _used(other, other_strength, other_volume, child, formulary)
    if used:
        part = show_share(used.part)
        left = most.amount * max(1 - used.part, Fraction(0))
        agents.append(used.most)
        results = [Result(f"used up by {used.most.medicine.id}", part, "of its own most")]
        steps += [*used.most.steps, used.step, Step("left", (most.amount, TIMES, f"(100 % - {part}, no less than 0 %)"), left, down=True)]
        doubts = [] if left.value else [Doubt("nothing-left", "The other agent has used up the whole of its most, or more: add none.")]
    exact = Quantity(left.value / strength.value, "volume", "mL")
    step = _FINE_STEP if exact < _ONE_ML else _STEP
    volume = Result("at most", rounded(exact, step, down=True), f"of {show(strength)}, rounded down to {show(step)}", down=True)
    amount = Result(f"at most of {most.medicine.id}", left, down=True)
    return Answer(
        (volume, amount, *results),
        (*steps, Step("volume", (left, BY, strength), exact, down=True)),
        tuple(dict.fromkeys([*doubts, *(doubt for agent in agents for doubt in agent.doubts)])),
        tuple(
            dict.fromkeys(
                [*(note for agent in agents for note in agent.notes), _ALL_COUNTS, _SIGNS, status_line(formulary, most.medicine, None)]
            )
        ),
        tuple(dict.fromkeys(agent.figures.source for agent in agents)),
    )


_SIGNS = (
    "Numb lips, ringing ears, drowsiness, twitching or a slow pulse may be signs of too much: stop and call for help. Common practice, "
    "no source."
)
_ALL_COUNTS = "A ceiling for all that is given at one procedure: what is already in counts as the other agent."


def _most(name: str, strength: Quantity, field: str, child: Child, formulary: Formulary) -> Most:
    """The formulary's most of one agent, by the regimen that fits; the smallest where several do."""
    reckoning = reckon(Order(medicine=name, route=ROUTE), child, formulary)
    barred = [finding.message for finding in reckoning.findings if finding.outcome in (NOT_CHECKED, STOP)]
    medicine = formulary.medicine(name)
    if barred or medicine is None:
        raise NotCovered(" ".join(barred))
    fitting = [figures for figures in reckoning.figures if figures.high is not None]
    if len(medicine.ingredients) != 1 or GROUP not in medicine.ingredients[0].groups or not fitting:
        raise NotCovered(f"The formulary has no figure for {medicine.id} as a local anaesthetic by {ROUTE}.")
    figures = min(fitting, key=lambda each: each.high.value)
    if strength.kind != f"{figures.high.kind}/volume":
        raise InputError(
            [Fault(field, show(strength), "It is no amount of this medicine in a volume.", 'Write it as "1 %" or "10 mg/mL".')]
        )
    _near_a_product(medicine, strength)
    doubts = [Doubt(finding.code, finding.message) for finding in reckoning.findings if finding.outcome]
    if len(fitting) > 1:
        doubts.append(Doubt("several-regimens", f"Several regimens of {medicine.id} fit: the smallest most is taken."))
    doubts += _strength_doubts(medicine, strength)
    limits = ", ".join(f"{name} {text}" for name, text in figures.rows)
    steps = (
        *(step._replace(what=f"{medicine.id}, {step.what}") for step in figures.steps),
        Step(f"most of {medicine.id}", (f"the smallest by {limits}",), figures.high, down=True),
    )
    return Most(medicine, figures.high, figures, steps, tuple(doubts))


def _known_strengths(medicine: Medicine, kind: str) -> list[Quantity]:
    held = {held for product in medicine.products for held in product.strengths.values() if held.kind == kind}
    return sorted(held, key=lambda each: each.value)


def _near_a_product(medicine: Medicine, strength: Quantity) -> None:
    """Our own line: a strength ten times away from every product gives no volume at all.

    Raises:
        NotCovered: it is so far away.
    """
    known = _known_strengths(medicine, strength.kind)
    if known and not known[0] < strength * 10 < known[-1] * 100:
        has = " and ".join(map(show, known))
        raise NotCovered(
            f"{show(strength)} is ten times away from every product of {medicine.id} ({has}), or more: is it the adrenaline's strength, or "
            "is the decimal point wrong? Give what the label says of the anaesthetic itself."
        )


def _strength_doubts(medicine: Medicine, strength: Quantity) -> list[Doubt]:
    """A strength that no product has may be of the wrong kind: that of the adrenaline, or of another medicine."""
    known = _known_strengths(medicine, strength.kind)
    if strength in known:
        return []
    has = " and ".join(show(each) for each in known) or "none"
    return [
        Doubt(
            "strength-unknown", f"No product of {medicine.id} in the formulary holds {show(strength)} (it has {has}): read the label again."
        )
    ]


def _used(other: str | None, strength: Quantity | None, volume: Quantity | None, child: Child, formulary: Formulary) -> Used | None:
    told = {"other": other, "other_strength": strength, "other_volume": volume}
    missing = [name for name, value in told.items() if value is None]
    if len(missing) == len(told):
        return None
    if missing:
        raise InputError(
            [Fault(name, "", "Another agent needs its name, strength and volume.", "Give it, or none of the three.") for name in missing]
        )
    most = _most(other, strength, "other_strength", child, formulary)
    amount = strength * volume
    part = Fraction(amount.value, most.amount.value)
    return Used(
        most, part, Step(f"used up by {most.medicine.id}", (strength, TIMES, volume, "of", most.amount), None, f"{show_share(part)}")
    )


_STRENGTH = Field("strength", read_strength, "1 %", "what is in hand: per cent or mg/mL of the anaesthetic, not of the adrenaline")

SUMS = {
    "local-anaesthetic": Sum(
        "Most of a local anaesthetic",
        (
            WEIGHT,
            Field("age", read_age_parts, "3 years 2 months", "the child's age in completed units"),
            Field("medicine", read_name, "lidocaine", "the agent, with adrenaline or without, as the formulary names it"),
            _STRENGTH,
            Field("other", read_name, "bupivacaine", "another agent, or the same, already given or to be given as well", needed=False),
            _STRENGTH._replace(name="other_strength", example="0.25 %", help="the strength of that one", needed=False),
            Field("other_volume", read_volume, "5 mL", "the volume of that one", needed=False),
        ),
        most_volume,
        by_formulary=True,
    ),
}
