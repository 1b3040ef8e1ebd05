"""One order checked against the formulary: choose, convert, compare, judge, conclude.

Shelves of regimens come from `formulary/shelf.py`, bands from `cells.py`, comparisons from `measures.py`; what
answers mean is in `judge.py`, and `conclude.py` puts the verdict together.
"""

from __future__ import annotations

from fractions import Fraction
from typing import TYPE_CHECKING, Any

from dosecheck.body.age import say_age
from dosecheck.formulary.cells import Interval, stretches
from dosecheck.formulary.limits import TOTAL_OF_EPISODE, Limit
from dosecheck.formulary.load import Formulary
from dosecheck.formulary.measures import Ratio
from dosecheck.formulary.medicine import Medicine, Regimen
from dosecheck.formulary.shelf import Asked
from dosecheck.records import NOT_CHECKED, QUERY, STOP, Child, Order
from dosecheck.rules.amounts import Amount, Given, amount_of
from dosecheck.rules.case import Case, Reading
from dosecheck.rules.codes import Finding, agreed, worst
from dosecheck.rules.concerns import child_concerns, regimen_concerns
from dosecheck.rules.conclude import conclude, differing, unknown_medicine
from dosecheck.rules.dosing import dosing_of
from dosecheck.rules.explain import finding_of, limit_states
from dosecheck.rules.facts import DAY, Body, body_of, common_facts, doses_in_a_day, facts_for, is_once, ratio
from dosecheck.rules.judge import BROKEN, UNKNOWN, Answer, answer_limit, judge
from dosecheck.rules.kidneys import EGFR, fits, missing, parted, with_untold
from dosecheck.rules.present import bands_in_words, child_in_words
from dosecheck.rules.supply import odd_amounts
from dosecheck.rules.verdict import Verdict

if TYPE_CHECKING:
    from dosecheck.earlier import Earlier
    from dosecheck.rules.with_earlier import Held


def check_order(order: Order, child: Child, formulary: Formulary, earlier: Any = None) -> Verdict:
    """Checks one order for one child.

    Args:
        earlier: doses given before, as an `Earlier` or texts such as "210 mg 5 hours ago"; empty: none was given; None: not told.

    Returns:
        The verdict, with findings and working.  Whatever is missing, unknown or ambiguous ends in "not-checked" or
        "query", never in "within".

    Raises:
        InputError: the child's age and date of birth contradict each other, or are no age; or an earlier dose cannot be read.

    >>> from dosecheck import Child, Formulary, Order, check_order
    >>> order = Order(medicine="paracetamol", route="oral", dose="210 mg", every="6 hours", for_="pain")
    >>> check_order(order, Child(weight="14.2 kg", age="3 years 2 months"), Formulary()).outcome
    'within'
    """
    body = body_of(child)
    medicine = formulary.medicine(order.medicine)
    told = as_told(earlier)
    if medicine is None:
        return unknown_medicine(order, child, body, formulary, told)
    return check_case(with_history(case_of(order, child, body, formulary, medicine), told))


def check_case(case: Case) -> Verdict:
    """Checks what `case_of` put together, with the doses given before where the case has them."""
    overall = [*child_concerns(case.medicine, case.child, case.body, case.formulary), *order_problems(case), *earlier_problems(case)]
    readings: list[Reading] = []
    outcome = _read_all(case, readings, overall) if case.body.age else NOT_CHECKED
    return conclude(case, worst([outcome, *(f.outcome for f in overall if f.outcome)]), overall, readings)


def case_of(order: Order, child: Child, body: Body, formulary: Formulary, medicine: Medicine) -> Case:
    """Everything that the check of one order looks at."""
    infusion = order.dose and order.dose.per == "time"
    asked = Asked(order.route, order.for_, order.step, order.condition, order.product, formulary.version(medicine, child.on), infusion)
    product = medicine.product(order.product) if order.product else None
    most, mean, _ = doses_in_a_day(order)
    given = Given(medicine, product, child, mean if most == mean else None)
    shelf = formulary.shelf(medicine, asked)
    return Case(order, child, body, formulary, medicine, product, shelf, given, common_facts(order, child), is_once(order), child.weight)


def as_told(earlier: Any) -> Earlier | None:
    """The doses given before, read; None where they are not told."""
    if earlier is None:
        return None
    from dosecheck.earlier import as_earlier  # loaded only when earlier doses are told, like all that looks at them

    return as_earlier(earlier)


def with_history(case: Case, earlier: Earlier | None) -> Case:
    """The case with the doses given before, matched to the formulary; unchanged where they are not told."""
    if earlier is None:
        return case
    from dosecheck.rules.history import history_of

    history = history_of(earlier, case.child, case.body, case.formulary, case.medicine, case.product, case.order.route)
    return case._replace(history=history)


def earlier_problems(case: Case) -> list[Finding]:
    """What the doses told say whichever regimen applies."""
    if case.history is None:
        return []
    from dosecheck.rules.doubtful_doses import group_concerns

    return list(group_concerns(case))


def order_problems(case: Case) -> list[Finding]:
    """What stands in the way before any limit is looked at."""
    found = [Finding(code, STOP if code == "route-not-for-product" else NOT_CHECKED, data) for code, data in case.shelf.problems]
    if case.medicine.high_risk and not case.order.for_:
        found.append(Finding("purpose-not-told", QUERY, {"medicine": case.medicine.id}))
    if case.order.dose is None:
        found.append(Finding("dose-missing", NOT_CHECKED, {}))
    if case.body.age is None:
        found.append(Finding("age-missing", NOT_CHECKED, {}))
    return found


def _read_all(case: Case, readings: list[Reading], overall: list[Finding]) -> str:
    """Every stretch of the age: alternatives must agree, ingredients and age limits go by precedence."""
    outcomes = []
    by_ingredient: dict[str, list[Reading]] = {}
    for stretch in stretches(case.body.intervals, case.shelf.edges):
        ruled_out = age_limit_readings(case, stretch)
        readings += ruled_out
        parts = [reading.outcome for reading in ruled_out]
        for ingredient, regimens in case.shelf.regimens.items():
            here = readings_of(case, ingredient, regimens, stretch)
            by_ingredient.setdefault(ingredient, []).extend(here)
            parts.append(agreed([reading.outcome for reading in here]))
        outcomes.append(worst(parts))
    if len(set(outcomes)) > 1:
        overall.append(Finding("age-straddles", agreed(outcomes), {"age": say_age(case.body.age)}))
    for found in by_ingredient.values():
        readings += found
        differ = differing(found)
        overall += [differ] if differ else []
    return agreed(outcomes)


def age_limit_readings(case: Case, stretch: dict[str, Interval]) -> list[Reading]:
    facts = {**case.facts, **{name: ratio(interval[0]) for name, interval in stretch.items()}}
    found = []
    for entry in case.shelf.age_limits:
        answer = answer_limit(entry.limit, facts)
        if answer is not True:
            code, outcome = ("not-for-this-child", STOP) if answer is False else ("weight-missing", NOT_CHECKED)
            finding = Finding(code, outcome, {"medicine": case.medicine.id, "limit": entry.limit.text}, entry.id, entry.source)
            found.append(Reading(None, outcome, (finding,), (), (), None, {}))
    return found


def readings_of(case: Case, ingredient: str, regimens: tuple[Regimen, ...], stretch: dict[str, Interval]) -> list[Reading]:
    """One reading for each regimen that fits this stretch; where none does, one that says so."""
    looked_at, aside = parted(regimens, stretch)
    found, others = (_fitting(case, ingredient, each, stretch) for each in (looked_at, aside))
    if others:
        return with_untold(found, others) if found else [missing(other.regimen) for other in others]
    if found:
        return found
    if regimens:
        has = list(dict.fromkeys(bands_in_words(regimen) for regimen in regimens))
        return [_silent(Finding("no-regimen-for-child", NOT_CHECKED, {"about": child_in_words(case.child, case.body), "has": has}))]
    if case.shelf.problems:
        return [_silent()]
    covered = any(ingredient in r.covers for others in case.shelf.regimens.values() for r in others)
    return [
        _silent(Finding("ingredient-amount-unknown" if covered else "ingredient-without-regimen", NOT_CHECKED, {"ingredient": ingredient}))
    ]


def _fitting(case: Case, ingredient: str, regimens: tuple[Regimen, ...], stretch: dict[str, Interval]) -> list[Reading]:
    found: list[Reading] = []
    for regimen in regimens:
        inside = fits(regimen, stretch)
        if False not in inside:
            found.append(_unknown_band(regimen, stretch) if None in inside else _read(case, ingredient, regimen))
    return found


def _silent(*findings: Finding, regimen: Regimen | None = None) -> Reading:
    return Reading(regimen, NOT_CHECKED, findings, (), (), None, {})


def _unknown_band(regimen: Regimen, stretch: dict[str, Interval]) -> Reading:
    fact = next(band.fact for band in regimen.bands if band.fact != EGFR and band.holds(stretch.get(band.fact)) is None)
    code = "weight-missing" if fact == "weight" else "gestation-missing"
    return _silent(Finding(code, NOT_CHECKED, {}, regimen.full_id, regimen.source), regimen=regimen)


def _read(case: Case, ingredient: str, regimen: Regimen) -> Reading:
    """Converts the dose, answers each limit, and judges."""
    order, dose = case.order, case.order.dose
    if dose is None:
        return _silent(regimen=regimen)
    dosing = dosing_of(case, regimen)
    case = dosing.case
    amount = amount_of(dose, case.medicine.ingredient(ingredient), regimen.kind, case.given)
    if not isinstance(amount, Amount):
        return _silent(Finding(amount[0], NOT_CHECKED, amount[1]), regimen=regimen)
    upper, lower = _dose_facts(case, amount)
    once = case.once or dose.per == "time"
    judged = judge(regimen, lambda _, limit: _answered(limit, facts_for(limit, upper, lower, order), order), once)
    findings = [finding_of(case, regimen, told, amount, upper) for told in judged.told]
    held = _held(case, ingredient, regimen, amount, upper)
    if held:
        judged = judged._replace(states=tuple(_worse(state, held.states.get(i)) for i, state in enumerate(judged.states)))
        findings += held.findings
    states, steps = limit_states(regimen, judged, upper, case)
    steps += held.steps if held else []
    concerns = [*regimen_concerns(regimen, case.child, case.body, once), *dosing.findings]
    concerns += odd_amounts(case.product, regimen, amount) if case.product else []
    outcome = worst([judged.outcome, *(f.outcome for f in (*(held.findings if held else ()), *concerns) if f.outcome)])
    return Reading(regimen, outcome, (*findings, *concerns), states, (*amount.steps, *dosing.steps, *steps), amount, upper)


def _held(case: Case, ingredient: str, regimen: Regimen, amount: Amount, upper: dict[str, Ratio]) -> Held | None:
    if case.history is None:
        return None
    from dosecheck.rules.with_earlier import hold

    return hold(case, case.medicine.ingredient(ingredient), regimen, amount, upper)


def _worse(state: str, held: str | None) -> str:
    """Of what a limit is for the order alone and what it is with the earlier doses."""
    return held if held and state not in (BROKEN, UNKNOWN) else state


def _answered(limit: Limit, facts: dict[str, Ratio], order: Order) -> Answer:
    """Where a total's number of doses is missing though the course is told, it is how often that is not."""
    answer = answer_limit(limit, facts)
    return "doses" if answer == "given" and order.course and limit.name != TOTAL_OF_EPISODE else answer


def _dose_facts(case: Case, amount: Amount) -> tuple[dict[str, Ratio], dict[str, Ratio]]:
    """Facts for upper and lower limits; an infusion is an amount a second, with 86 400 "doses" a day."""
    most, mean, _ = doses_in_a_day(case.order)
    facts = dict(case.facts)
    if case.order.dose.per == "time":
        most = mean = Fraction(DAY)
        facts["over"] = (1, 1)
    if most is not None:
        facts["doses"], facts["average"] = ratio(most), ratio(mean)
    return {**facts, "dose": ratio(amount.high.value)}, {**facts, "dose": ratio(amount.low.value)}
