"""Whatever readable figures meet, a sum answers or refuses: never a traceback, a zero in silence or a wide line.

And what its working shows is what was reckoned.
"""

from __future__ import annotations

from fractions import Fraction
from operator import mul, truediv

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.strategies import DataObject

from dosecheck import InputError, Quantity
from dosecheck.cli.sum import sum_text
from dosecheck.errors import TextError
from dosecheck.sums.frame import RECKONED, Field, work_out
from dosecheck.sums.listing import SUMS, find
from dosecheck.working import Step

PLAIN = [name for name in SUMS if not find(name).by_formulary]
EXTREME = (
    "0.001 mg/mL", "999999 mg", "1 nanograms", "500 kg", "0.5 kg", "50 units/mL", "1 mmol/mL", "2 mEq/mL", "5 mg per tablet", "0.000001 mL",
    "1 in 1000", "0.01 %", "99 %", "2 tablets", "10 units/kg", "1 mEq/kg", "5 mmol/kg/min", "4 st 2 lb", "3 mL/kg", "100000 L", "0.001 mL/h",
    "9999999 mL/h", "60 drops/min", "1 drops/mL", "17 years", "1 day", "300 cm", "1 minute", "999 weeks",
)  # fmt: skip
OPERATIONS = {"x": mul, "/": truediv, "+": None, "-": None}
POOL = sorted({field.example for name in PLAIN for field in find(name).fields} | set(EXTREME))


def readable(field: Field) -> list[str]:
    found = []
    for text in POOL:
        try:
            field.read(text)
            found.append(text)
        except TextError:
            continue
    return found


def recomputed(step: Step) -> Fraction | None:
    """The step's own operations on exact numbers; None where it says a rounding, or more than operations."""
    numbers = [part.value if isinstance(part, Quantity) else part for part in step.parts]
    signs = numbers[1::2]
    if step.note or len(numbers) % 2 == 0 or any(isinstance(number, str) for number in numbers[::2]) or not set(signs) <= set(OPERATIONS):
        return None
    terms = [numbers[0]]
    for sign, number in zip(signs, numbers[2::2], strict=True):
        if sign in ("+", "-"):
            terms.append(number if sign == "+" else -number)
        else:
            terms[-1] = OPERATIONS[sign](terms[-1], number)
    return sum(terms)


READABLE = {name: {field.name: readable(field) for field in find(name).fields} for name in PLAIN}


@pytest.mark.parametrize("name", PLAIN)
@settings(max_examples=60)
@given(st.data())
def test_any_readable_figures_are_answered_or_refused(name: str, data: DataObject) -> None:
    texts = {}
    for field in find(name).fields:
        if field.needed or data.draw(st.booleans()):
            text = data.draw(st.sampled_from(READABLE[name][field.name]))
            texts[field.name] = (text,) if field.many else text
    try:
        reckoned = work_out(name, find(name), texts)
    except InputError as error:
        assert all(fault.why and fault.write for fault in error.faults)
        return
    assert all(recomputed(step) in (None, step.result.value) for step in reckoned.answer.steps if step.result is not None), (
        reckoned.answer.steps
    )
    zero = [r.name for r in reckoned.answer.results if isinstance(r.value, Quantity) and not r.value.value]
    assert not (zero and reckoned.outcome == RECKONED), zero
    assert all(len(line) <= 80 for line in sum_text(reckoned).replace("\x1b[1m", "").replace("\x1b[0m", "").splitlines())
