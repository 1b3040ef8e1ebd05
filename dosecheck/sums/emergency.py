"""Sizes for an emergency: tracheal tubes by age, energy of a shock by weight.

Where rules that are taught conflict, each is shown under its own name; none is chosen in silence.  A figure that nobody
here has read at its source is asked for, never supplied.
"""

from __future__ import annotations

from fractions import Fraction

from dosecheck.body.age import Age
from dosecheck.quantity import Quantity
from dosecheck.reading import read_weight
from dosecheck.reading.figures import reader_of, word_of
from dosecheck.showing import show
from dosecheck.sums.child import AGE, WEIGHT, completed_years
from dosecheck.sums.frame import Answer, Doubt, Field, NotCovered, Result, Sum, rounded
from dosecheck.working import BY, TIMES, Step

# ---- tracheal tubes ----

_read_small = reader_of(("length",), "length", "4.5 mm")
_HALF_SIZE = _read_small("0.5 mm")
_FIRST_YEAR, _LAST_YEAR = 2, 10

_RULES = (
    "Handbook of Emergency Cardiovascular Care, American Heart Association, 2015, as quoted on a teaching page: from 2 to 10 years, uncuffed "
    "age / 4 + 4, cuffed age / 4 + 3.5, depth at the lip age / 2 + 12; tubes 0.5 mm either side at hand; cuff pressure below 20 to 25 cm of water",
    "Teaching page on children's tracheal tubes, criticalcarenow.com: for a cuffed tube age / 4 + 3 is taught as well",
    "Emergency-medicine handbook, table 11.3, paediatric endotracheal tube sizes: length by the nose age / 2 + 15; sizes to the nearest 0.5 mm",
)
# what, years are divided by, what is added
_SIZES = (("uncuffed", 4, "4 mm"), ("cuffed, by age / 4 + 3.5", 4, "3.5 mm"), ("cuffed, by age / 4 + 3", 4, "3 mm"))
_DEPTHS = (("depth at the lip", 2, "12 cm"), ("length by the nose", 2, "15 cm"))


def tube(age: Age) -> Answer:
    """Inner diameters to the nearest 0.5 mm (half way goes up) and depths in cm, by each rule that is taught."""
    years = completed_years(age)
    if not _FIRST_YEAR <= years <= _LAST_YEAR:
        raise NotCovered("The rules are for children of 2 to 10 years. For a younger or an older child use a local table of tubes.")
    steps = [_by_age(years, *rule) for rule in (*_SIZES, *_DEPTHS)]
    sizes = [_size(step) for step in steps[: len(_SIZES)]]
    depths = [Result(step.what, step.result) for step in steps[len(_SIZES) :]]
    notes = (
        "The two rules for a cuffed tube differ by half a millimetre: which one is followed is for the team to say.",
        "A first choice by age in completed years alone, for a child of ordinary size.",
    )
    return Answer((*sizes, *depths), tuple(steps), (), notes, _RULES)


def _by_age(years: int, what: str, part: int, plus: str) -> Step:
    added = _read_small(plus)
    exact = Quantity(Fraction(years, part) * _read_small(f"1 {added.unit}").value, "length", added.unit) + added
    return Step(what, (f"{years} years", BY, part, "+", added), exact)


def _size(step: Step) -> Result:
    size = rounded(step.result, _HALF_SIZE)
    said = "" if size == step.result else f"{show(step.result)} to the nearest 0.5 mm, half way goes up; "
    sides = [show(Quantity(size.value + side * _HALF_SIZE.value, "length", "mm")) for side in (-1, 1)]
    return Result(step.what, size, f"{said}at hand too: {' and '.join(sides)}")


# ---- energy of a shock ----

ARREST, CARDIOVERSION = "cardiac arrest", "cardioversion"
_read_energy = reader_of(("energy/weight",), "energy by weight", "4 J/kg")
_ARREST_ENERGY = _read_energy("4 J/kg")
_LOW_ENERGY = _ARREST_ENERGY / 10  # our own line
_WHOLE_JOULE = reader_of(("energy",), "energy", "60 J")("1 J")
_GROWN = read_weight("50 kg")  # our own line: the source is for children and prints no maximum
_ARREST_SOURCE = (
    "Guidelines for Resuscitation 2010, European Resuscitation Council, Resuscitation 81:1249: 4 J/kg for every shock to a child"
)


def shock(weight: Quantity, purpose: str, per_kg: Quantity | None) -> Answer:
    """The energy of one shock: exact, and to a whole joule.  For cardioversion the J/kg must be told."""
    if purpose == CARDIOVERSION and per_kg is None:
        raise NotCovered("No figure for a synchronised shock has been read at its source here: give that of your guidance, in J/kg.")
    figure = per_kg or _ARREST_ENERGY
    exact = figure * weight
    whole = rounded(exact, _WHOLE_JOULE)
    doubts = []
    if figure > _ARREST_ENERGY or (purpose == ARREST and figure < _ARREST_ENERGY):
        doubts.append(Doubt("other-energy", f"{show(figure)} is not the 4 J/kg of the source: look again, and at local guidance."))
    if purpose == CARDIOVERSION and figure < _LOW_ENERGY:
        doubts.append(Doubt("low-energy", f"{show(figure)} is less than a tenth of a shock in arrest: look at the decimal point again."))
    if weight >= _GROWN:
        doubts.append(Doubt("weight-of-an-adult", "From 50 kg an adult's energy may be less than this: the source prints no maximum."))
    if not whole.value:
        doubts.append(Doubt("energy-too-small", "It is below half a joule: look at the weight and at the J/kg again."))
    results = (Result("energy", exact), Result("to set", whole, "rounded to 1 J, a half up; then the nearest step of the defibrillator"))
    notes = ("A shock for cardioversion is synchronised.",) if purpose == CARDIOVERSION else ("The same energy for every shock.",)
    sources = ("The J/kg as given: no source here",) if per_kg else (_ARREST_SOURCE,)
    return Answer(results, (Step("energy", (figure, TIMES, weight), exact),), tuple(doubts), notes, sources)


_PURPOSE = Field("purpose", word_of((ARREST, CARDIOVERSION), "purpose"), ARREST, f'"{ARREST}" or "{CARDIOVERSION}"')
_PER_KG = Field("per_kg", _read_energy, "1 J/kg", "your guidance's energy by weight, needed for cardioversion", needed=False)

SUMS = {
    "tube-size": Sum("Tracheal tube by age", (AGE,), tube),
    "shock-energy": Sum("Energy of a shock", (WEIGHT, _PURPOSE, _PER_KG), shock),
}
