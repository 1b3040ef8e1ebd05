"""Powders: what is added takes up room beside the powder's own volume, its displacement.

Source: Injectable medicines handbook, chapter 12, Pharmaceutical aspects of injectable administration, 12.1
Displacement values: diluent to add = final volume - displacement.
"""

from __future__ import annotations

from dosecheck.errors import Fault, InputError
from dosecheck.quantity import Quantity
from dosecheck.reading import read_volume
from dosecheck.reading.figures import read_solution, reader_of
from dosecheck.showing import show
from dosecheck.sums.amounts import WEIGHT_IF_TOLD, drawn_doubts, strength_doubts, to_measure, unused_weight, volume_of, whole_of
from dosecheck.sums.frame import Answer, Doubt, Field, Result, Sum, one_of
from dosecheck.working import BY, Step

SOURCE = (
    "Diluent to add = final volume - displacement: Injectable medicines handbook, chapter 12, Pharmaceutical aspects of injectable "
    "administration, 12.1 Displacement values"
)
_KINDS = ("mass", "activity", "substance")
_DOSES = (*_KINDS, *(f"{kind}/weight" for kind in _KINDS))


def reconstitute(
    vial: Quantity,
    displacement: Quantity | None,
    diluent: Quantity | None,
    final: Quantity | None,
    wanted: Quantity | None,
    dose: Quantity | None,
    weight: Quantity | None,
) -> Answer:
    """Diluent, final volume and strength of a powder, from any one of the three; and the volume that holds a dose."""
    how = one_of(diluent=diluent, final=final, wanted=wanted)
    steps = []
    if how == "wanted":
        final, step = volume_of(vial, wanted, "final volume")
        steps.append(step)
    if how == "diluent":
        final = diluent + displacement if displacement else diluent
        steps.append(Step("final volume", (diluent, "+", displacement or "no displacement"), final))
    else:
        diluent = _diluent(final, displacement)
        steps.append(Step("diluent", (final, "-", displacement or "no displacement"), diluent))
    kind = vial.kind
    strength = Quantity(vial.value / final.value, f"{kind}/volume", f"{vial.unit}/mL")
    steps.append(Step("strength", (vial, BY, final), strength))
    results = [Result("diluent", diluent, "to add"), Result("final volume", final), Result("strength", strength)]
    doubts = [*_displacement_doubts(displacement, final), *strength_doubts(strength)]
    if dose:
        doubts += unused_weight(dose, weight, "dose")
        dose, more = whole_of(dose, weight, "dose")
        steps += more
        volume, step = volume_of(dose, strength, "volume for the dose")
        steps.append(step)
        results += [Result("volume for the dose", volume), *to_measure(volume, down=True)]
        doubts += _dose_doubts(volume, final)
    return Answer(tuple(results), tuple(steps), tuple(doubts), (), (SOURCE,))


_NOT_TOLD = Doubt(
    "displacement-not-told",
    "No displacement is given, so none is counted: the vial then holds more fluid than reckoned, and a part of it less medicine. "
    "Look for it in the product's leaflet.",
)


def _displacement_doubts(displacement: Quantity | None, final: Quantity) -> list[Doubt]:
    """Our own line: no powder fills half of what it is made up to."""
    if displacement is None:
        return [_NOT_TOLD]
    if displacement * 2 > final:
        return [Doubt("large-displacement", "The powder would fill more than half of the volume: look at the displacement again.")]
    return []


def _diluent(final: Quantity, displacement: Quantity | None) -> Quantity:
    if displacement and final <= displacement:
        why = f"{show(final)} in all leaves no room beside the powder's own {show(displacement)}."
        raise InputError([Fault("displacement", show(displacement), why, "Look at the figures again.")])
    return Quantity(final.value - displacement.value, "volume", final.unit) if displacement else final


def _dose_doubts(volume: Quantity, final: Quantity) -> list[Doubt]:
    if volume > final:
        return [Doubt("more-than-one-vial", "The dose is more than one vial holds: look at the dose and the vial again.")]
    return drawn_doubts(volume)


SUMS = {
    "reconstitute": Sum(
        "Making up a powder",
        (
            Field("vial", reader_of(_KINDS, "amount in the vial", "250 mg"), "250 mg", "what the vial holds"),
            Field("displacement", read_volume, "0.2 mL", "the powder's own volume, from the product's leaflet", needed=False),
            Field("diluent", read_volume, "4.8 mL", "the volume that is added", needed=False),
            Field("final", read_volume, "5 mL", "the final volume that is wanted", needed=False),
            Field("wanted", read_solution, "50 mg/mL", "the strength that is wanted", needed=False),
            Field("dose", reader_of(_DOSES, "dose", "120 mg"), "120 mg", "a dose, or by weight, to say its volume", needed=False),
            WEIGHT_IF_TOLD,
        ),
        reconstitute,
    )
}
