"""Medicines sprayed into the nose: what to draw up, what goes into each nostril, and how a small dose is made to fit.

The dead space, the volume from which a dose is shared and the most for one nostril are each source's own.
"""

from __future__ import annotations

from fractions import Fraction

from dosecheck.quantity import Quantity
from dosecheck.reading import read_volume
from dosecheck.reading.figures import read_solution, reader_of
from dosecheck.showing import show
from dosecheck.sums.amounts import WEIGHT_IF_TOLD, by_weight, strength_doubts, unused_weight, volume_of, whole_of
from dosecheck.sums.frame import Answer, Doubt, Field, Result, Sum, rounded
from dosecheck.working import BY, TIMES, Step

SPRAY_SOURCES = (
    "Intranasal fentanyl, clinical practice guideline, Royal Children's Hospital Melbourne: its volumes go in steps of 0.05 mL",
    "Fentanyl - intranasal, emergency guideline, Princess Margaret Hospital, Perth: 0.1 mL of dead space, shared above 0.25 mL",
    "Table 2 of PMC8900682 (Canada): at most 1 mL in one nostril",
)
SPRAY_NOTES = (
    "The dead space stays in the atomiser: draw it up once, and do not count it as given. Go by the atomiser's own leaflet.",
    "Another source shares a dose between the nostrils only above 0.5 mL: say so with split above.",
)
DILUTION_SOURCE = (
    "Pain in children, management in the emergency department, NHS Greater Glasgow and Clyde, 2008, reviewed 2015: an ampoule of "
    "diamorphine in so much water that 0.2 mL holds about 0.1 mg/kg"
)
DILUTION_NOTES = (
    "The ampoule's strength decides: departments use 5 mg and 10 mg, and the same water then gives twice the dose.",
    "The powder's own volume is left out, as in the source.",
)
DEAD_SPACE, SPLIT_ABOVE, MOST, STEP = (read_volume(text) for text in ("0.1 mL", "0.25 mL", "1 mL", "0.05 mL"))
GIVEN = read_volume("0.2 mL")
_MOST_WATER, _MOST_DEAD_SPACE = read_volume("10 mL"), read_volume("0.5 mL")  # our own lines
_FAR = Fraction(1, 10)  # how far a rounded dose may lie from the wanted one


def spray(dose: Quantity, strength: Quantity, weight: Quantity | None, dead_space: Quantity | None, split_above: Quantity | None) -> Answer:
    """The volume for a dose, in steps of 0.05 mL; what to draw up; and what goes into each nostril."""
    dead_space, split_above = dead_space or DEAD_SPACE, split_above or SPLIT_ABOVE
    amount, steps = whole_of(dose, weight, "dose")
    exact, step = volume_of(amount, strength, "volume")
    give = rounded(exact, STEP)
    gives, draw = strength * give, give + dead_space
    nostrils = 2 if give > split_above else 1
    each = give / nostrils
    steps += [step, Step("which holds", (strength, TIMES, give), gives), Step("to draw up", (give, "+", dead_space), draw)]
    results = (
        Result("dose", amount),
        Result("volume", exact),
        Result("to give", give, f"rounded to 0.05 mL; holds {show(gives)}"),
        Result("to draw up", draw, f"with {show(dead_space)} of dead space"),
        Result("each nostril", each, "half in each" if nostrils == 2 else f"all in one; shared above {show(split_above)}"),
    )
    doubts = [*strength_doubts(strength), *_far(gives, amount)]
    if each > MOST:
        doubts.append(
            Doubt(
                "nostril-too-full",
                f"More than {show(MOST)} in one nostril: look at both units again; a stronger solution is needed, or another route.",
            )
        )
    if dead_space > _MOST_DEAD_SPACE:
        doubts.append(
            Doubt("large-dead-space", f"{show(dead_space)} is much for an atomiser: look at its leaflet and the decimal point again.")
        )
    return Answer(results, tuple(steps), (*unused_weight(dose, weight, "dose"), *doubts), SPRAY_NOTES, SPRAY_SOURCES)


def dilution(ampoule: Quantity, dose: Quantity, weight: Quantity | None, water: Quantity | None, give: Quantity | None) -> Answer:
    """The water for an ampoule so that a fixed small volume holds the dose; and what it holds with the water as measured."""
    give = give or GIVEN
    amount, steps = whole_of(dose, weight, "dose")
    exact = Quantity(ampoule.value * give.value / amount.value, "volume", "mL")
    steps.append(Step("water", (ampoule, TIMES, give, BY, amount), exact))
    measured = water or max(rounded(exact, STEP), STEP)
    holds = Quantity(ampoule.value * give.value / measured.value, ampoule.kind, ampoule.unit)
    steps.append(Step(f"{show(give)} then holds", (ampoule, TIMES, give, BY, measured), holds))
    note = "as told" if water else "rounded to 0.05 mL"
    results = [Result("water", exact), Result("water to measure", measured, note), Result("dose given", holds, f"in {show(give)}")]
    doubts = [*unused_weight(dose, weight, "dose"), *_far(holds, amount)]
    if weight:
        results.append(Result("by weight", by_weight(holds, weight)))
    if measured > _MOST_WATER:
        doubts.append(Doubt("too-much-water", "It is more than 10 mL of water for one ampoule: look at the units of both amounts again."))
    if measured < give:
        doubts.append(Doubt("too-little-water", "There is less water than is to be given: the ampoule is too small for the dose."))
    return Answer(tuple(results), tuple(steps), tuple(doubts), DILUTION_NOTES, (DILUTION_SOURCE,))


def _far(gives: Quantity, wanted: Quantity) -> list[Doubt]:
    if abs(gives.value / wanted.value - 1) > _FAR:
        return [Doubt("far-from-dose", f"As measured it gives {show(gives)}, more than a tenth away from {show(wanted)}: measure finer.")]
    return []


_KINDS = ("mass", "mass/weight")

SUMS = {
    "intranasal": Sum(
        "Intranasal dose",
        (
            Field("dose", reader_of(_KINDS, "dose", "1.5 micrograms/kg"), "1.5 micrograms/kg", "one dose, or by weight"),
            Field("strength", read_solution, "50 micrograms/mL", "what the solution holds"),
            WEIGHT_IF_TOLD,
            Field("dead_space", read_volume, "0.1 mL", "what stays in the atomiser; 0.1 mL when left out", needed=False),
            Field("split_above", read_volume, "0.25 mL", "volume above which both nostrils are used; 0.25 mL when left out", needed=False),
        ),
        spray,
    ),
    "intranasal-dilution": Sum(
        "Water for an intranasal ampoule",
        (
            Field("ampoule", reader_of(("mass",), "amount in the ampoule", "5 mg"), "5 mg", "what the ampoule holds"),
            Field("dose", reader_of(_KINDS, "dose", "0.1 mg/kg"), "0.1 mg/kg", "one dose, or by weight"),
            WEIGHT_IF_TOLD,
            Field("water", read_volume, "0.6 mL", "the water that is measured; reckoned when left out", needed=False),
            Field("give", read_volume, "0.2 mL", "the volume that is to hold the dose; 0.2 mL when left out", needed=False),
        ),
        dilution,
    ),
}
