"""Peak flow and FEV1 as a share of what a named reference predicts.  A figure to go by, never a diagnosis.

Sources: peak flow, Lu Y and others, Peak expiratory flow among healthy children aged 5-14 years in China, Journal of
Thoracic Disease (lines by height, printed in the abstract); FEV1, see `gli_2012.py`; the shares that mark an attack,
British guideline on the management of asthma (SIGN 158), 2019, severity boxes.
"""

from __future__ import annotations

from decimal import Decimal
from fractions import Fraction

from dosecheck.body.age import Age
from dosecheck.body.growth import SEXES, lms_at
from dosecheck.body.lms import value_at, z_score
from dosecheck.errors import Fault, InputError
from dosecheck.quantity import UNITS, Quantity
from dosecheck.reading import read_length
from dosecheck.reading.figures import reader_of, word_of
from dosecheck.showing import show, show_number, show_share
from dosecheck.sums.child import AGE
from dosecheck.sums.frame import Answer, Doubt, Field, NotCovered, Result, Sum, rounded
from dosecheck.sums.gli_2012 import FIRST, GROUPS, LAST, fev1
from dosecheck.working import BY, TIMES, Step

PEF_SOURCE = (
    "Peak flow by height: Lu Y and others, Peak expiratory flow among healthy children aged 5-14 years in China, Journal of Thoracic "
    "Disease"
)
SEVERITY_SOURCE = "Shares that mark an attack: British guideline on the management of asthma (SIGN 158), 2019, severity boxes"
FEV1_SOURCE = (
    "FEV1: Quanjer PH and others, Global Lung Function Initiative, Multi-ethnic reference values for spirometry for the 3-95-yr age range, "
    "European Respiratory Journal 2012;40:1324-1343, public lookup table"
)
# Litres a minute = slope x height in cm - constant, exactly as printed; children of 5 to 14 years in China.
PEF_LINES = {"male": (Fraction("4.39"), Fraction("300.48")), "female": (Fraction("4.13"), Fraction("278.04"))}
PEF_MONTHS = (60, 15 * 12 - 1)
LOWER_LIMIT = Decimal("-1.645")  # the 5th centile
_CM, _PER_MIN = UNITS["length"]["cm"], Quantity(Fraction(UNITS["volume"]["L"], 60), "volume/time", "L/min")
_MILLILITRE = Quantity(UNITS["volume"]["mL"], "volume", "L")
_NO_DIAGNOSIS = "One reference's figure, for healthy children; it is no diagnosis."


def peak_flow(sex: str, height: Quantity, age: Age, measured: Quantity | None, best: Quantity | None) -> Answer:
    """What the line by height predicts, and the measured flow as a share of it and of the child's own best."""
    if not PEF_MONTHS[0] <= age.months_lo <= age.months_hi <= PEF_MONTHS[1]:
        raise NotCovered("The reference is of children of 5 to 14 years. Go by the child's own best, or by local guidance.")
    slope, constant = PEF_LINES[sex]
    litres = slope * (height.value / _CM) - constant
    if litres <= 0:
        raise NotCovered("The line gives no flow at this height: look at the height again.")
    predicted = _PER_MIN * litres
    cm = show_number(height.value / _CM)
    steps = [Step("predicted, in L/min", (slope, TIMES, cm, "-", constant), predicted)]
    results = [Result("predicted", predicted, f"{'boys' if sex == 'male' else 'girls'} of 5 to 14 years in China, by height")]
    shares = [(f"of {name}", each) for name, each in (("predicted", predicted), ("own best", best)) if each and measured]
    for name, each in shares:
        part = Fraction(measured.value, 1) / each.value
        steps.append(Step(name, (measured, BY, each, "=", show_share(part))))
        results.append(_share(name, part))
    doubts = [*_height_doubt(sex, height, age), *_flow_doubts(measured, predicted, best)]
    notes = (_NO_DIAGNOSIS, _SEVERITY) if measured else (_NO_DIAGNOSIS,)
    return Answer(tuple(results), tuple(steps), tuple(doubts), notes, (PEF_SOURCE, *([SEVERITY_SOURCE] if measured else [])))


_SEVERITY = (
    "In an attack the British guideline takes 33 to 50 % of best or predicted as a mark of a severe one, less as a mark of danger to life."
)


def _share(name: str, part: Fraction) -> Result:
    return Result(name, f"{int(part * 100 + Fraction(1, 2))} %", "rounded to 1 %")


def _flow_doubts(measured: Quantity | None, predicted: Quantity, best: Quantity | None) -> list[Doubt]:
    if measured is None:
        return []
    part = measured.value / (best or predicted).value
    of = "own best" if best else "predicted"
    if 2 * part < 1:
        return [
            Doubt("flow-low", f"Below 50 % of {of}: look at the child first, then at the technique and the figure; act by local guidance.")
        ]
    return [_too_high(of)] if 2 * measured.value > 3 * predicted.value else []


def _too_high(of: str) -> Doubt:
    return Doubt("flow-high", f"More than 150 % of {of}: look at the reading, its unit, the height and the age again.")


def _height_doubt(sex: str, height: Quantity, age: Age) -> list[Doubt]:
    """A height beyond 4 standard deviations of WHO's reference (CDC's above it) at both ends of the age."""
    cm = Decimal((height.value / _CM).numerator) / (height.value / _CM).denominator
    found = [lms_at("who", sex, day, "height") for day in (age.days_lo, age.days_hi)]
    scores = [z_score(cm, lms) for lms in found if lms]
    if scores and (min(scores) > 4 or max(scores) < -4):
        return [Doubt("height-unlikely", f"{show(height)} is hardly a height of this age: look at both again.")]
    return []


# ---- FEV1 ----


def fev1_share(sex: str, age: Age, height: Quantity, group: str, measured: Quantity | None) -> Answer:
    """Predicted FEV1 and its lower limit, and the measured one as a share and a z-score."""
    if age.months_lo != age.months_hi:
        raise InputError([Fault("age", "", "The equation needs the age to the month.", 'Write it as "7 years 5 months".')])
    if not 12 * FIRST <= age.months_lo <= 12 * LAST:
        raise NotCovered(f"The figures here are of children from {FIRST} years up to their {LAST}th birthday.")
    years = Fraction(age.months_lo, 12)
    lms = fev1(sex, years, height.value / _CM, group)
    predicted, limit = _litres(lms.median), _litres(value_at(LOWER_LIMIT, lms))
    results = [Result("predicted", predicted, "rounded to 0.001 L"), Result("lower limit of normal", limit, "5th centile, z -1.645")]
    steps = [
        Step("age in years", (age.months_lo, BY, 12, "=", show_number(years)), note="completed months"),
        Step("M, S and L of the equation", (f"{lms.median:.4f} L, {lms.spread:.4f}, {lms.power:.4f}",)),
    ]
    if measured:
        part = measured.value / predicted.value
        z = z_score(_decimal_litres(measured), lms).quantize(Decimal("0.01"))
        steps.append(Step("of predicted", (measured, BY, predicted, "=", show_share(part))))
        steps.append(Step("z-score", (f"(({show(measured)} / M) to the power L - 1) / (L x S) = {z}",)))
        results += [_share("of predicted", part), Result("z-score", f"{z}", "rounded to 0.01")]
    doubts = [*_height_doubt(sex, height, age), *_fev1_doubts(measured, predicted)]
    return Answer(tuple(results), tuple(steps), tuple(doubts), (_NO_DIAGNOSIS, _label(group), _BETWEEN), (FEV1_SOURCE,))


_BETWEEN = "Between whole ages the published table has quarter years; here it is taken in proportion, within 0.4 % of it."


def _label(group: str) -> str:
    return (
        f"Equation of 2012, reference group as its authors name it: {group}. The group changes the figure; local practice may want "
        "equations that know no groups."
    )


def _fev1_doubts(measured: Quantity | None, predicted: Quantity) -> list[Doubt]:
    if measured is None:
        return []
    if 10 * measured.value < 4 * predicted.value:
        return [Doubt("flow-low", "Below 40 % of predicted: look at the child first, then at the effort, the unit and the height.")]
    return [_too_high("predicted")] if 2 * measured.value > 3 * predicted.value else []


def _litres(value: Decimal | None) -> Quantity:
    """To 0.001 L; the curves of these ages all reach down to the lower limit."""
    return rounded(Quantity(Fraction(value) * UNITS["volume"]["L"], "volume", "L"), _MILLILITRE)


def _decimal_litres(measured: Quantity) -> Decimal:
    litres = measured.value / UNITS["volume"]["L"]
    return Decimal(litres.numerator) / litres.denominator


_read_flow = reader_of(("volume/time",), "peak flow", "250 L/min")
_SEX = Field("sex", word_of(SEXES, "sex"), "female", "the child's sex, which the reference parts by")
_HEIGHT = Field("height", read_length, "125 cm", "the child's height")

SUMS = {
    "peak-flow": Sum(
        "Peak flow by height",
        (
            _SEX,
            _HEIGHT,
            AGE,
            Field("measured", _read_flow, "220 L/min", "the best of three blows", needed=False),
            Field("best", _read_flow, "260 L/min", "the child's own best when well", needed=False),
        ),
        peak_flow,
    ),
    "fev1": Sum(
        "FEV1 by the equation of 2012",
        (
            _SEX,
            AGE._replace(example="7 years 5 months"),
            _HEIGHT,
            Field("group", word_of(GROUPS, "group"), "other", "the equation's reference group"),
            Field("measured", reader_of(("volume",), "FEV1", "1.35 L"), "1.35 L", "the measured FEV1", needed=False),
        ),
        fev1_share,
    ),
}
