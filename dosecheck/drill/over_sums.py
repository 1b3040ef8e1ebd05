"""A question over one of the sums: the sum reckons the right answer, and again each wrong one from the wrong figures."""

from __future__ import annotations

from collections.abc import Mapping
from fractions import Fraction
from typing import NamedTuple

from dosecheck.drill.question import Question, Trap
from dosecheck.drill.traps import power_traps
from dosecheck.errors import DosecheckError
from dosecheck.formulary.load import Formulary
from dosecheck.quantity import COUNTED, Quantity
from dosecheck.reading import read_amount
from dosecheck.showing import show_unit
from dosecheck.sums.frame import RECKONED, Reckoned, work_out
from dosecheck.sums.listing import find


class OfSum(NamedTuple):
    """`figures` are the sum's fields as text; `result` the name of its exact result; `unit` and `step` how it is asked;
    `source` is that of the figures, beside the sum's own.

    what: what is asked, "is the rate" after "How much"; how: another word than "much".  down: the sum itself rounds down.
    """

    name: str
    figures: Mapping[str, str]
    result: str
    text: str
    what: str
    unit: str
    step: str = ""
    source: str = ""
    how: str = "much"
    down: bool = False


class Misread(NamedTuple):
    """A slip as other figures of the same sum, which reckons what it gives."""

    slip: str
    says: str
    figures: Mapping[str, str]


def pose(asked: OfSum, kind: str, level: int, formulary: Formulary, slips: tuple[Misread | Trap, ...] = ()) -> Question | None:
    """The question; None where the sum does not cover the figures or doubts them."""
    reckoned = _work_out(asked, asked.figures, formulary)
    if reckoned is None or reckoned.outcome != RECKONED:
        return None
    answer = _result(reckoned, asked.result).to(asked.unit)
    step = read_amount(asked.step, (answer.kind.split("/")[0],), "rounding", "0.1 mL") if asked.step else None
    exact = f"rounded {'down ' * asked.down}to {asked.step}" if asked.step else "the exact figure"
    unit = show_unit(asked.unit)
    question = f"How many {unit} {asked.what}?" if answer.kind.split("/")[0] in COUNTED else f"How {asked.how} {asked.what}, in {unit}?"
    traps = [slip if isinstance(slip, Trap) else _trap(slip, asked, answer, formulary) for slip in slips]
    steps = reckoned.answer.steps
    ends = [n for n, each in enumerate(steps) if each.result == answer]
    last = next((n for n in ends if steps[n].result.unit == asked.unit), ends[-1] if ends else len(steps) - 1)
    return Question(
        kind=kind,
        level=level,
        text=asked.text,
        ask=f"{question} Write the number and the unit, {exact}.",
        answer=answer,
        steps=steps[: last + 1],
        given=tuple(asked.figures.items()),
        source="; ".join(filter(None, (asked.source, *reckoned.answer.sources))),
        step=step,
        traps=(*power_traps(), *(trap for trap in traps if trap)),
    )


def _work_out(asked: OfSum, figures: Mapping[str, str], formulary: Formulary) -> Reckoned | None:
    try:
        reckoned = work_out(asked.name, find(asked.name), figures, formulary)
    except DosecheckError:  # the figures of a slip may be such that there is no answer
        return None
    return reckoned if reckoned.answer.results else None


def _result(reckoned: Reckoned, name: str) -> Quantity:
    return next(result.value for result in reckoned.answer.results if result.name == name)


def _trap(slip: Misread, asked: OfSum, answer: Quantity, formulary: Formulary) -> Trap | None:
    reckoned = _work_out(asked, {**asked.figures, **slip.figures}, formulary)
    wrong = _result(reckoned, asked.result) if reckoned else None
    return Trap(slip.slip, slip.says, Fraction(wrong.value, answer.value)) if wrong and wrong.kind == answer.kind else None
