"""A second check compared: what the two saw first, then what each came to, with the engine's own figure beside it.

Each person has told weight, age and the strength on the label in hand, and what they would give.  Nothing here is shown before
both have committed (`second.py` sees to that).
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from datetime import date
from fractions import Fraction
from functools import cached_property
from typing import Any, NamedTuple

from dosecheck.asked import read_asked
from dosecheck.body.age import Age
from dosecheck.errors import Fault, InputError, KindError, TextError
from dosecheck.formulary.load import Formulary
from dosecheck.quantity import COUNTED, DRUG, UNITS, Quantity
from dosecheck.reading import read_amount, read_strength
from dosecheck.records import OUTCOMES, Child, Order
from dosecheck.rules.check import check_order
from dosecheck.rules.facts import body_of
from dosecheck.rules.slips import explain_ratio
from dosecheck.rules.supply import share_of
from dosecheck.rules.verdict import Verdict
from dosecheck.showing import show, show_number
from dosecheck.working import BY, Step

ORDER_FIELDS: dict[str, type] = {
    **dict.fromkeys(("medicine", "route", "for", "step"), str),
    "condition": list,
    **dict.fromkeys(("dose", "every", "times_a_day"), str),
    "once": bool,
    "as_needed": bool,
    **dict.fromkeys(("at_most", "over", "made_up_to", "course"), str),
}  # no product: each reads the strength from the label in hand
_CLOSE = Fraction(1, 20)  # a rounded answer lies within this of the exact one; our choice, common practice, no source
_ANSWER = "8.5 mL"


@dataclass(frozen=True)
class Told:
    """One person's own inputs and answer.  `label`: the strength, `decimals`: the places behind the point of the answer, as written."""

    initials: str
    child: Child
    strength: Quantity | None
    label: str
    answer: Quantity
    decimals: int
    order: Order
    formulary: Formulary

    @cached_property
    def verdict(self) -> Verdict:
        """The check of the order with this person's inputs."""
        return check_order(self.order, self.child, self.formulary)

    def held_against(self, formulary: Formulary) -> Told:
        """The same by other figures."""
        return replace(self, formulary=formulary)


class Line(NamedTuple):
    """One input, as each of the two saw it."""

    what: str
    first: str
    second: str
    same: bool
    hint: str = ""


class Came(NamedTuple):
    """One answer beside the engine's from that person's own inputs.  `agrees`: "exactly", "as rounded", "" (no) or None (nothing to compare)."""

    initials: str
    answer: str
    engine: str
    agrees: str | None
    working: tuple[str, ...]
    why: tuple[str, ...]


class Comparison(NamedTuple):
    """inputs first, then answers; `outcome`: the worse of the two checks of the order; `agree`: whether nothing parts."""

    inputs: tuple[Line, ...]
    answers: tuple[Came, Came]
    each_other: bool
    outcome: str
    headline: str
    agree: bool

    def as_dict(self) -> dict[str, Any]:
        return {
            "agree": self.agree,
            "headline": self.headline,
            "inputs": [line._asdict() for line in self.inputs],
            "answers": [came._asdict() for came in self.answers],
            "answers_agree_with_each_other": self.each_other,
            "outcome_of_the_order": self.outcome,
        }


def read_told(asked: dict[str, Any], own: dict[str, str | None], formulary: Formulary, today: date) -> Told:
    """One person's part.

    Args:
        asked: the fields of the order and of the child as this person saw it.
        own: "initials", "strength" (may be left out) and "answer".

    Raises:
        InputError: every field that cannot be read, at once.
    """
    faults: list[Fault] = []
    initials = (own.get("initials") or "").strip()
    if not (1 <= len(initials) <= 6 and initials.isalpha()):
        faults.append(Fault("initials", initials[:20], "Initials are 1 to 6 letters.", 'Write them as "AB".'))
    strength = _read(faults, "strength", own.get("strength"), read_strength) if own.get("strength") else None
    answer = _read(faults, "answer", own.get("answer"), _read_answer)
    try:
        order, child, _ = read_asked(asked, today)
    except InputError as error:
        raise InputError(error.faults + faults) from None
    faults += [Fault(name, "", "It is needed for a second check.", f'Write it as "{example}".') for name, example in _missing(order, child)]
    if faults:
        raise InputError(faults)
    body_of(child)  # an age that contradicts itself is a fault here, not at the comparison
    number = (own["answer"] or "").strip().partition(" ")[0]
    label = " ".join((own.get("strength") or "").split())
    return Told(initials.upper(), child, strength, label, answer, len(number.partition(".")[2]), order, formulary)


def _missing(order: Order, child: Child) -> Iterator[tuple[str, str]]:
    if not order.medicine:
        yield "medicine", "paracetamol"
    if order.dose is None:
        yield "dose", "210 mg"
    if child.weight is None:
        yield "weight", "14.2 kg"
    if child.age is None and child.born is None:
        yield "age", "3 years"


def _read(faults: list[Fault], name: str, text: str | None, reader: Any) -> Any:
    try:
        if not (text or "").strip():
            raise TextError("", "It is not told.", f'Write it as "{_ANSWER if name == "answer" else "120 mg in 5 mL"}".')
        return reader(text)
    except TextError as error:
        faults.append(Fault(name, error.given, error.why, error.write))
        return None


def _read_answer(text: str) -> Quantity:
    amount = read_amount(text, ("volume", *COUNTED, *DRUG), "amount to give", _ANSWER)
    if "/" in amount.kind:
        raise TextError(text, "It is not the amount of one dose.", f'Write what you would give, such as "{_ANSWER}".')
    if not amount.value:
        raise TextError(text, "It is zero.", f'Write what you would give, such as "{_ANSWER}".')
    return amount


def order_of(asked: dict[str, Any]) -> dict[str, Any]:
    """The order as it is written, and nothing of the child: what the second person is shown."""
    return {name: asked[name] for name in ORDER_FIELDS if asked.get(name)}


def compare(first: Told, second: Told) -> Comparison:
    """Inputs first, then the answers."""
    inputs = tuple(_inputs(first, second))
    came = (_came(first), _came(second))
    rounded = all(each.agrees for each in came) and first.answer.kind == second.answer.kind  # one up, one down, of one figure
    each_other = rounded or _like(first.answer, second.answer, min(first.decimals, second.decimals)) is not None
    outcome = max((first.verdict.outcome, second.verdict.outcome), key=_GRAVE.index)
    agree = each_other and all(line.same for line in inputs) and all(each.agrees for each in came)
    return Comparison(inputs, came, each_other, outcome, _headline(inputs, came, each_other), agree)


_GRAVE = ("within", "query", "not-checked", "stop")
assert set(_GRAVE) == set(OUTCOMES)


def _inputs(first: Told, second: Told) -> Iterator[Line]:
    yield Line("weight", *_both(first, second, "weight"), first.child.weight == second.child.weight, _weights(first, second))
    ages = [body_of(told.child).age for told in (first, second)]
    yield Line("age", *_both(first, second, "age"), _overlap(*ages))
    words = [told.label or "not told" for told in (first, second)]
    yield Line("strength on the label", words[0], words[1], first.strength == second.strength)


def _overlap(one: Age, other: Age) -> bool:
    """Whether both can be the age of one child: "3 years" and "3 years 2 months" can."""
    months = one.months_lo <= other.months_hi and other.months_lo <= one.months_hi
    return months and one.days_lo <= other.days_hi and other.days_lo <= one.days_hi


def _both(first: Told, second: Told, name: str) -> tuple[str, str]:
    return first.verdict.understood[name], second.verdict.understood[name]


def _weights(first: Told, second: Told) -> str:
    """A known slip between two weights."""
    one, other = first.child.weight, second.child.weight
    if one == other:
        return ""
    ratio = max(one.value, other.value) / min(one.value, other.value)
    if abs(ratio / Fraction(UNITS["weight"]["kg"], UNITS["weight"]["lb"]) - 1) <= Fraction(1, 50):
        return "one is about 2.2 times the other: pounds and kilograms?"
    if ratio in (10, 100):
        return "one is ten or a hundred times the other: a decimal point?"
    digits = [show_number(each.to("kg").number).replace(".", "").replace(",", "") for each in (one, other)]
    return "the same digits in another order?" if sorted(digits[0]) == sorted(digits[1]) else ""


def _came(told: Told) -> Came:
    """The engine's amount from this person's own inputs, in the kind of the answer."""
    steps = [step.text for step in told.verdict.working]
    if told.order.dose.low != told.order.dose.high:
        return Came(
            told.initials, show(told.answer), "none: the order is a range, and the engine chooses no dose in it", None, tuple(steps), ()
        )
    engine = dose = told.verdict.one_dose
    if dose is not None and told.answer.kind != dose.kind:
        try:
            engine = share_of(dose, told.strength) if told.strength else None
        except KindError:
            engine = None
        if engine is not None:
            steps.append(Step("to give", (dose, BY, told.strength), engine).text)
    if engine is None or engine.kind != told.answer.kind:
        why = "no strength was told" if told.strength is None and dose is not None else "it could not be reckoned from these inputs"
        return Came(told.initials, show(told.answer), f"none: {why}", None, tuple(steps), ())
    agrees = _like(told.answer, engine, told.decimals)
    return Came(told.initials, show(told.answer), show(engine), agrees or "", tuple(steps), () if agrees else _why(told, engine))


def _like(answer: Quantity, other: Quantity, decimals: int) -> str | None:
    """Equal; or less apart than one in the last place written, and than 1 in 20."""
    if answer.kind != other.kind:
        return None
    if answer.value == other.value:
        return "exactly"
    place = _one(answer) / 10**decimals
    apart = abs(answer.value - other.value)
    return "as rounded" if apart < place and apart <= _CLOSE * other.value else None


def _one(amount: Quantity) -> Fraction:
    """One of the answer's own unit, in base units."""
    return amount.value / amount.number


def _why(told: Told, engine: Quantity) -> tuple[str, ...]:
    """How far, and the slips that would explain it."""
    ratio = told.answer.value / engine.value
    times = (
        f"about {show_number(round(ratio, 3))} times the engine's"
        if ratio > 1
        else f"about 1 in {show_number(round(1 / ratio, 3))} of the engine's"
    )
    case = getattr(told.verdict.views, "case", None)
    slips = explain_ratio(case, told.verdict.regimens[0], ratio, told.strength) if case and told.verdict.regimens else ()
    return (times, *(f"it would fit if {said}" for said in slips))


def _headline(inputs: tuple[Line, ...], came: tuple[Came, Came], each_other: bool) -> str:
    parted = [line.what for line in inputs if not line.same]
    if parted:
        return f"You saw different things: {' and '.join(parted)}. Look at the child, the scale and the label together, and start again."
    if not each_other:
        return "The two answers differ. Do not give it before you know why."
    if any(each.agrees is None for each in came):
        return "The two answers are alike, but they could not be held against the engine."
    if any(each.agrees == "" for each in came):
        return "The two answers are alike, and the engine's is not. Do not give it before you know why."
    return "Both saw the same, and both came to what the engine comes to."
