"""How well a child's kidneys filter: an estimate from height and one creatinine, and its category.

The estimate is reckoned once from what was told, rounded down to 0.1 so that rounding never lifts it over an edge, and
exact from there on.  What regimens make of it is in `rules/kidneys.py`.

Sources of the estimate: Schwartz GJ, Munoz A, Schneider MF, et al. New equations to estimate GFR in children with CKD.
J Am Soc Nephrol 2009;20:629-37 (ages of the study); National Kidney Foundation, creatinine-based "bedside Schwartz"
equation (2009) (ages from 1 to 18 years).  Source of the categories: KDIGO 2012 clinical practice guideline for the
evaluation and management of CKD, Kidney Int Suppl 2013;3:19-62.
"""

from __future__ import annotations

from fractions import Fraction
from typing import NamedTuple

from dosecheck.body.age import Age
from dosecheck.quantity import Quantity
from dosecheck.working import BY, TIMES, Step

FACTOR = Fraction(413, 1000)
AGES = (12, 216)  # completed months: from 1 year, below 18 years
STUDIED_BELOW = 204  # the study's children were 1 to 16 years old
UNIT = "mL/min/1.73 m2"
SOURCE = (
    "bedside Schwartz equation: Schwartz GJ and others, J Am Soc Nephrol 2009;20:629-37; ages as the National Kidney Foundation states them"
)
STAGE_SOURCE = "GFR categories: KDIGO 2012 guideline, Kidney Int Suppl 2013;3:19-62"
ABOUT = (
    "for a creatinine that is steady and measured by an enzymatic (IDMS-traceable) method; for a surface of 1.73 m2, so not this child's own mL a minute",
    "G1 and G2 alone are no sign of kidney disease; nor is one value a diagnosis",
)
# The lowest value of each category, itself inside; printed whole numbers leave gaps ("60 to 89", "45 to 59") which this closes.
STAGES = (("G1", 90), ("G2", 60), ("G3a", 45), ("G3b", 30), ("G4", 15), ("G5", 0))
REDUCED_BELOW = 60  # category G3a and below


class Kidneys(NamedTuple):
    """`rate` (GFR, rounded down to 0.1) with its category; or no rate, and `why` there is none."""

    rate: Quantity | None
    stage: str
    steps: tuple[Step, ...]
    notes: tuple[str, ...]
    why: str = ""

    @property
    def reduced(self) -> bool:
        return self.rate is not None and self.rate.value < REDUCED_BELOW


def kidneys(age: Age | None, height: Quantity | None, creatinine: Quantity) -> Kidneys:
    """The estimate for a child of this age and height; without a rate where a particular is missing or the age is not covered.

    >>> from dosecheck.body.age import age_from_parts
    >>> from dosecheck.reading import read_creatinine, read_length
    >>> found = kidneys(age_from_parts(years=5), read_length("110 cm"), read_creatinine("0.5 mg/dL"))
    >>> str(found.rate.number), found.stage
    ('454/5', 'G1')
    """
    why = _not_covered(age, height)
    if why:
        return Kidneys(None, "", (), (), why)
    milligrams = creatinine.to("mg/dL")
    tenths = FACTOR * height.to("cm").number / milligrams.number * 10 // 1
    rate = Quantity(Fraction(tenths, 10), "filtration", UNIT)
    steps = [Step("eGFR", (FACTOR, TIMES, height.to("cm"), BY, milligrams), rate, "bedside Schwartz 2009, rounded down to 0.1")]
    if creatinine.unit != "mg/dL":
        steps.insert(0, Step("creatinine", (creatinine, BY, Fraction("88.4")), milligrams, "its molar mass is 113.12 g/mol"))
    beyond = ("The study's children were 1 to 16 years old.",) if age.months_hi >= STUDIED_BELOW else ()
    return Kidneys(rate, stage_of(rate), tuple(steps), beyond)


def _not_covered(age: Age | None, height: Quantity | None) -> str:
    missing = [name for name, value in (("the age", age), ("the height", height)) if value is None]
    if missing:
        return f"{' and '.join(missing)} {'is' if len(missing) == 1 else 'are'} not told"
    if age.months_hi >= AGES[0] and age.months_lo < AGES[0] and age.months_lo != age.months_hi:
        return "the age as told may be below 1 year, where the equation does not hold"
    if age.months_lo < AGES[0]:
        return "the equation does not hold below 1 year"
    return "the equation does not hold from 18 years on" if age.months_hi >= AGES[1] else ""


def stage_of(rate: Quantity) -> str:
    """The KDIGO category of a GFR: "G1" to "G5"."""
    return next(name for name, least in STAGES if rate.value >= least)
