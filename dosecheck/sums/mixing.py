"""Making up and diluting: the amount of medicine is the same before and after, C1 x V1 = C2 x V2.

Powders that take up room of their own are in `reconstitution.py`.
"""

from __future__ import annotations

from dosecheck.errors import Fault, InputError
from dosecheck.quantity import Quantity, factor
from dosecheck.reading import read_volume
from dosecheck.reading.figures import read_solution
from dosecheck.showing import show, show_number
from dosecheck.sums.amounts import (
    STOCK,
    WEIGHT_IF_TOLD,
    bag_doubts,
    drawn_doubts,
    fast_for_weight,
    percent_text,
    strength_doubts,
    to_measure,
    unused_weight,
    volume_of,
    whole_of,
)
from dosecheck.sums.frame import Answer, Field, NotCovered, Result, Sum, one_of
from dosecheck.sums.infusion import SOURCE as RATE_SOURCE
from dosecheck.sums.infusion import read_flow, read_rate
from dosecheck.working import BY, TIMES, Step

SOURCE = (
    "Dilution keeps the amount of medicine, C1 x V1 = C2 x V2: arithmetic alone, as in the dilution table of the prescribing "
    "information, milrinone lactate injection, United States"
)
PERCENT_SOURCE = (
    "A percentage of a solution is g in 100 mL, so 1 % is 10 mg/mL; 1 in 1000 is 1 mg/mL: Drug manual, appendix 10, Wellington "
    "Intensive Care Unit, New Zealand"
)
_ONE_ML_AN_HOUR = read_flow("1 mL/h")
_LABEL = "Label it with the medicine, the whole amount, the whole volume and what one mL holds."


def make_up(strength: Quantity, wanted: Quantity, volume: Quantity) -> Answer:
    """Medicine, stock and diluent for a wanted concentration and a final volume."""
    return _made(strength, wanted, volume, [])


def make_up_for_rate(strength: Quantity, dose: Quantity, volume: Quantity, rate: Quantity | None, weight: Quantity | None) -> Answer:
    """As `make_up`, for the concentration at which a chosen rate (1 mL/h when left out) gives the dose."""
    rate = rate or _ONE_ML_AN_HOUR
    amount, steps = whole_of(dose, weight, "amount by time")
    top = amount.kind.split("/")[0]
    wanted = Quantity(amount.value / rate.value, f"{top}/volume", f"{amount.unit.split('/')[0]}/mL")
    steps.append(Step("concentration", (amount, BY, rate), wanted))
    answer = _made(strength, wanted, volume, steps)
    doubts = (*unused_weight(dose, weight, "dose"), *fast_for_weight(rate, weight), *answer.doubts)
    say = f"At {show(rate)} it gives {show(dose)}" + (f", to a child of {show(weight)} alone." if weight else ".")
    return answer._replace(doubts=doubts, notes=(say, *answer.notes), sources=(RATE_SOURCE, SOURCE))


def _made(strength: Quantity, wanted: Quantity, volume: Quantity, steps: list[Step]) -> Answer:
    _weaker(strength, wanted)
    medicine = (wanted * volume).to(strength.unit.split("/")[0])
    stock, step = volume_of(medicine, strength, "stock to draw up")
    diluent = Quantity(volume.value - stock.value, "volume", volume.unit)
    steps = [*steps, Step("medicine", (wanted, TIMES, volume), medicine), step, Step("diluent", (volume, "-", stock), diluent)]
    results = [Result("concentration", wanted), Result("medicine", medicine), Result("stock", stock), *to_measure(stock)]
    results.append(Result("diluent", diluent, f"that is, make up to {show(volume)}"))
    doubts = strength_doubts(strength) + drawn_doubts(stock) + bag_doubts(volume)
    return Answer(tuple(results), tuple(steps), tuple(dict.fromkeys(doubts)), (_LABEL,), (SOURCE,))


def _weaker(strength: Quantity, wanted: Quantity) -> None:
    if wanted.kind != strength.kind:
        why = f"{wanted.unit} cannot be made from {strength.unit}."
        raise InputError([Fault("strength", show(strength), why, "Write both in the same sort of unit.")])
    if wanted >= strength:
        why = "is what the stock holds as it is" if wanted == strength else f"cannot be made from {show(strength)}"
        raise NotCovered(f"{show(wanted)} {why}: diluting only makes it weaker. Look at both strengths, or use the stock undiluted.")


def dilute(strength: Quantity, volume: Quantity, wanted: Quantity | None, added: Quantity | None, final: Quantity | None) -> Answer:
    """What a volume of stock becomes: to a wanted strength, with a volume added, or made up to a final volume."""
    how = one_of(wanted=wanted, added=added, final=final)
    medicine = strength * volume
    steps = [Step("medicine", (strength, TIMES, volume), medicine)]
    if how == "wanted":
        _weaker(strength, wanted)
        final, step = volume_of(medicine, wanted, "final volume")
        steps.append(step)
    elif how == "added":
        final = volume + added
        steps.append(Step("final volume", (volume, "+", added), final))
    elif final <= volume:
        raise InputError([Fault("final", show(final), "It is no more than the stock it is made from.", "Look at both volumes.")])
    after = Quantity(medicine.value / final.value, strength.kind, strength.unit)
    steps.append(Step("strength", (medicine, BY, final), after))
    diluent = added or Quantity(final.value - volume.value, "volume", final.unit)
    results = [Result("strength", after), Result("final volume", final), Result("diluent", diluent), Result("medicine", medicine)]
    if percent := percent_text(after):
        results.insert(1, Result("in percent", percent))
    doubts = strength_doubts(strength) + drawn_doubts(volume) + bag_doubts(final)
    return Answer(tuple(results), tuple(steps), tuple(dict.fromkeys(doubts)), (_LABEL,), (SOURCE,))


def strengths(strength: Quantity, volume: Quantity | None) -> Answer:
    """One strength in every way it is written, and what a volume of it holds."""
    top = strength.unit.split("/")[0]
    results, steps = [Result("in one mL", strength.to(f"{top}/mL"))], []
    if percent := percent_text(strength):
        one_in = show_number(factor("g/mL", strength.kind) / strength.value)
        results += [Result("percent", percent, "g in 100 mL"), Result("ratio", f"1 in {one_in}", "1 g in so many mL")]
        steps += [Step("percent", (strength, BY, "10 mg/mL", "=", percent)), Step("ratio", ("1 g", BY, strength, "=", f"{one_in} mL"))]
    if volume:
        holds = strength * volume
        results.append(Result("the volume holds", holds))
        steps.append(Step("the volume holds", (strength, TIMES, volume), holds))
    return Answer(tuple(results), tuple(steps), tuple(strength_doubts(strength)), (), (PERCENT_SOURCE,))


_WANTED = Field("wanted", read_solution, "200 micrograms/mL", "the strength that is wanted")
_FINAL = Field("volume", read_volume, "50 mL", "the volume it is made up to")
_DOSE = Field("dose", read_rate, "0.1 micrograms/kg/min", "the dose that the rate is to give")
_RATE = Field("rate", read_flow, "1 mL/h", "the rate that is to give it; 1 mL/h when left out", needed=False)

SUMS = {
    "make-up": Sum("Making up a syringe or bag", (STOCK, _WANTED, _FINAL), make_up),
    "make-up-for-rate": Sum("Making up so that a rate gives a dose", (STOCK, _DOSE, _FINAL, _RATE, WEIGHT_IF_TOLD), make_up_for_rate),
    "dilute": Sum(
        "Diluting",
        (
            STOCK,
            Field("volume", read_volume, "10 mL", "the volume of stock"),
            _WANTED._replace(needed=False),
            Field("added", read_volume, "40 mL", "the volume of diluent that is added", needed=False),
            Field("final", read_volume, "50 mL", "the volume it is made up to", needed=False),
        ),
        dilute,
    ),
    "strength": Sum(
        "A strength in other words",
        (
            Field("strength", read_solution, "0.9 %", 'a strength: percent, "1 in 1000" or by volume'),
            Field("volume", read_volume, "5 mL", "a volume of it", needed=False),
        ),
        strengths,
    ),
}
