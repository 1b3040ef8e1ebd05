"""Everything that can be reckoned of one child, side by side: age, growth, guessed weights, surface, ideal weight, kidneys.

The `child` command's answer.  No order is checked and nothing is chosen: each figure stands with its working and its
source, and what could not be reckoned says why.  The reckoning is in `body/`.
"""

from __future__ import annotations

from collections.abc import Iterator
from decimal import Decimal, localcontext
from fractions import Fraction
from typing import Any, NamedTuple

from dosecheck.body import estimates, renal, surface, weights
from dosecheck.body.age import corrected, say_age
from dosecheck.body.believable import z_between
from dosecheck.body.lms import FIGURES
from dosecheck.formulary.load import Formulary
from dosecheck.quantity import Quantity
from dosecheck.records import QUERY, Child, Order
from dosecheck.rules.catalogue import LEAN_NOT_RECKONED
from dosecheck.rules.codes import Finding
from dosecheck.rules.concerns import child_concerns
from dosecheck.rules.facts import Body, body_of, gestation_interval
from dosecheck.rules.present import understood
from dosecheck.rules.weighing import is_early, reference_days, sexes_of, weight_for_age, z_in_words
from dosecheck.showing import show
from dosecheck.working import Step

CAUTION = (
    "Arithmetic on what was told, not a prescription: the prescriber decides, and local guidance comes first. "
    "A guessed weight is no weight: weigh the child before giving a medicine by weight."
)
_GROWTH_SOURCE = "WHO Child Growth Standards (2006), WHO Reference 2007 and CDC growth charts (2000), by the LMS method"
_AGE_SOURCE = "American Academy of Pediatrics, Committee on Fetus and Newborn, Pediatrics 2004;114:1362-4, table 1"
_ENTERS = 'A guess enters an order only when you write it: --weight "..." --weight-is estimated.'


class Row(NamedTuple):
    """One figure: its `value` as text, or "" and in `note` why there is none."""

    name: str
    value: str
    working: tuple[str, ...] = ()
    note: str = ""
    source: str = ""


class Section(NamedTuple):
    """Figures of one sort, side by side; `notes` are about all of them."""

    title: str
    rows: tuple[Row, ...]
    notes: tuple[str, ...] = ()


class Particulars(NamedTuple):
    """`findings`: what is doubtful about the particulars themselves."""

    understood: dict[str, str]
    findings: tuple[Finding, ...]
    sections: tuple[Section, ...]
    formulary: dict[str, str]
    caution: str = CAUTION

    @property
    def outcome(self) -> str:
        """ "query" where a particular is doubtful, "not-checked" where nothing came to a figure, else "reckoned"."""
        if any(finding.outcome == QUERY for finding in self.findings):
            return QUERY
        return "reckoned" if any(row.value for section in self.sections for row in section.rows) else "not-checked"

    def as_dict(self) -> dict[str, Any]:
        """The JSON of the answer; every amount is text with its unit."""
        return {
            "outcome": self.outcome,
            "understood": self.understood,
            "findings": [{"code": f.code, "outcome": f.outcome or "note", "message": f.message} for f in self.findings],
            "sections": [
                {
                    "title": section.title,
                    "figures": [{**row._asdict(), "working": list(row.working)} for row in section.rows],
                    "notes": list(section.notes),
                }
                for section in self.sections
            ],
            "formulary": self.formulary,
            "caution": self.caution,
        }


def particulars(child: Child, formulary: Formulary) -> Particulars:
    """All figures of one child.

    Args:
        formulary: its policy says which growth reference is used and which weights are doubtful; no medicine is looked at.

    Raises:
        InputError: the child's age and date of birth contradict each other.
    """
    body = body_of(child)
    sections = (_age(child, body), _growth(child, body, formulary), _guesses(body), _surface(child), _ideal(child, body, formulary))
    return Particulars(
        understood(Order(), child, body, None, None, formulary),
        tuple(finding for finding in child_concerns(None, child, body, formulary) if finding.code != "kidney-function"),
        (*sections, _kidneys(child, body)),
        formulary.about(),
    )


def _lacks(**told: Any) -> str:
    """ "give the height and the weight" of what is None; "" where all is told."""
    missing = [f"the {name}" for name, value in told.items() if value is None]
    return f"give {' and '.join(missing)}" if missing else ""


def _lines(steps: tuple[Step, ...] | list[Step]) -> tuple[str, ...]:
    return tuple(step.text for step in steps)


# ---- age and growth ----


def _age(child: Child, body: Body) -> Section:
    if body.age is None:
        return Section("Age", (Row("since birth", "", note="give the age, or the date of birth"),))
    rows = [Row("since birth", say_age(body.age))]
    if is_early(child):
        ends = [corrected(body.age, days, child.born, child.on) for days in gestation_interval(child.gestation)]
        said = list(dict.fromkeys("not yet at 40 weeks" if age is None else say_age(age) for age in ends))
        rows.append(Row("corrected for the early birth", " or ".join(said), source=_AGE_SOURCE))
    return Section("Age", tuple(rows))


def _growth(child: Child, body: Body, formulary: Formulary) -> Section:
    """Weight, height and body mass index among the reference's children."""
    lacks = _lacks(age=body.age)
    rows = []
    for name, measure, value, working in _measured(child):
        missing = " and ".join(filter(None, (lacks, value if isinstance(value, str) else "")))
        said = "" if missing else _standing(measure, value, child, body, formulary)
        note = missing or ("" if said else "the growth references have nothing for this age")
        rows.append(Row(f"{name} for age", said, working if said else (), note, _GROWTH_SOURCE if said else ""))
    return Section("Growth", tuple(rows), ("The references have the height lying below 2 years, and standing from then on.",))


def _measured(child: Child) -> Iterator[tuple[str, str, Decimal | Quantity | str, tuple[str, ...]]]:
    """(name, measure, its value in the reference's unit or what is missing, working)."""
    yield "weight", "weight", child.weight or _lacks(weight=child.weight), ()
    yield "height", "height", _decimal(child.height.to("cm").number) if child.height else _lacks(height=child.height), ()
    lacks = _lacks(weight=child.weight, height=child.height)
    if lacks:
        yield "body mass index", "bmi", lacks, ()
        return
    index, step = weights.body_mass_index(child.height, child.weight)
    yield "body mass index", "bmi", _decimal(index), (step.text,)


def _decimal(number: Fraction) -> Decimal:
    with localcontext(FIGURES):
        return Decimal(number.numerator) / number.denominator


def _standing(measure: str, value: Decimal | Quantity, child: Child, body: Body, formulary: Formulary) -> str:
    if isinstance(value, Quantity):
        return weight_for_age(child, body, formulary)
    days, _ = reference_days(child, body)
    ends = z_between(value, measure, formulary.growth_reference, sexes_of(child), days)
    return z_in_words(ends, measure, child, body, formulary) if ends else ""


# ---- sizes ----


def _guesses(body: Body) -> Section:
    title = "Weight guessed from age: no weight, weigh the child"
    if body.age is None:
        return Section(title, (Row("any formula", "", note="give the age, or the date of birth"),))
    found = estimates.estimates(body.age)
    rows = [
        Row(
            each.formula.name,
            show(each.weight) if each.weight else "",
            (each.step.text,) if each.step else (),
            f"for {each.formula.ages}; {each.formula.accuracy}" if each.weight else each.why,
            each.formula.source,
        )
        for each in found
    ]
    ends = estimates.spread(found)
    apart = (f"They lie from {show(ends[0])} to {show(ends[1])}.",) if ends else ()
    return Section(title, tuple(rows), (*apart, _ENTERS, f"{estimates.PARENT} ({estimates.PARENT_SOURCE})"))


def _surface(child: Child) -> Section:
    rows = []
    for formula in surface.FORMULAE:
        lacks = _lacks(weight=child.weight, height=child.height) if formula.by_height else _lacks(weight=child.weight)
        value = "" if lacks else show(surface.area_by(formula, child.height, child.weight))
        rows.append(Row(formula.name, value, (f"{formula.said}, {surface.ROUNDED}",) if value else (), lacks, formula.source))
    return Section("Body surface area", tuple(rows), ("Orders and figures per m2 are checked by Mosteller's.",))


def _ideal(child: Child, body: Body, formulary: Formulary) -> Section:
    title = "Ideal, adjusted and lean weight"
    lean = Row("lean weight", "", note=LEAN_NOT_RECKONED)
    lacks = weights.missing_for_ideal(body.age, child.height, child.sex)
    seen = None if lacks else weights.standing(formulary.growth_reference, body.age, child.height, child.sex)
    if not isinstance(seen, weights.Standing):
        return Section(title, (Row("ideal weight", "", note=seen or f"give {', '.join(lacks)}"), lean))
    found = [method(seen) for method in weights.METHODS]
    rows = [Row(f"ideal, {i.method}", show(i.weight) if i.weight else "", _lines(i.steps), i.why, weights.METHODS_SOURCE) for i in found]
    if child.weight:
        weight, step = weights.adjusted(found[0].weight, child.weight)
        rows.append(Row("adjusted", show(weight), (step.text,), "", weights.ADJUSTED_SOURCE))
    else:
        rows.append(Row("adjusted", "", note=_lacks(weight=child.weight)))
    notes = (weights.AGREE, "A regimen that goes by ideal or adjusted weight takes the one by body mass index, or the child's own if less.")
    return Section(title, (*rows, lean), notes)


def _kidneys(child: Child, body: Body) -> Section:
    found = body.kidneys
    if found is None:
        return Section("Kidney function", (Row("eGFR", "", note=_lacks(creatinine=child.creatinine)),))
    if found.rate is None:
        return Section("Kidney function", (Row("eGFR", "", note=found.why),))
    rate = Row("eGFR", show(found.rate), _lines(found.steps), "; ".join(found.notes), renal.SOURCE)
    return Section("Kidney function", (rate, Row("category", found.stage, source=renal.STAGE_SOURCE)), renal.ABOUT)
