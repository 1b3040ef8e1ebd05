"""What every sum does alike: fields read strictly and all at once, doubts, refusals, rounding, the same answer as JSON."""

from __future__ import annotations

import doctest
from fractions import Fraction

import pytest

from dosecheck import InputError, Quantity, reckon_sum
from dosecheck.sums import listing
from dosecheck.sums.amounts import PUMP_STEP
from dosecheck.sums.frame import NotCovered, Sum, rounded, work_out
from dosecheck.sums.listing import SUMS, find


@pytest.mark.parametrize("name", SUMS)
def test_each_listed_sum_is_there_and_its_examples_can_be_read(name: str) -> None:
    for field in find(name).fields:
        assert field.read(field.example) is not None
        assert field.help and not field.help.endswith(".")


def test_all_faults_at_once() -> None:
    with pytest.raises(InputError) as error:
        work_out("infusion-rate", find("infusion-rate"), {"dose": "5,3 mg/h", "wieght": "14 kg", "weight": "14"})
    assert [fault.field for fault in error.value.faults] == ["wieght", "dose", "strength", "weight"]
    assert 'Did you mean "weight"?' in str(error.value)


def test_what_the_formula_does_not_cover_has_no_result() -> None:
    def refuse() -> None:
        raise NotCovered("Only above 1 year.")

    reckoned = work_out("none", Sum("None", (), refuse), {})
    assert (reckoned.outcome, reckoned.not_covered, reckoned.answer.results) == ("not-checked", "Only above 1 year.", ())


@pytest.mark.parametrize(
    ("value", "nearest", "down"), [("1.25", "1.3", "1.2"), ("1.24", "1.2", "1.2"), ("0.04", "0", "0"), ("2", "2", "2")]
)
def test_rounding_is_to_a_stated_step(value: str, nearest: str, down: str) -> None:
    flow = Quantity(Fraction(value) * PUMP_STEP.value * 10, "volume/time", "mL/h")
    assert rounded(flow, PUMP_STEP).number == Fraction(nearest)
    assert rounded(flow, PUMP_STEP, down=True).number == Fraction(down)


def test_a_sum_by_name_from_python() -> None:
    """The example of `reckon_sum` runs, a near name is only offered, and a sum that goes by a formulary finds one."""
    assert doctest.testmod(listing).failed == 0
    with pytest.raises(InputError, match='Did you mean "drops"'):
        reckon_sum("drop", {})
    given = {"weight": "20 kg", "age": "8 years", "medicine": "lidocaine", "strength": "1 %"}
    assert reckon_sum("local-anaesthetic", given).formulary
