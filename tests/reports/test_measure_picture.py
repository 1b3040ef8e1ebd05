"""The picture of a measuring device's scale: its marks and its filling, by hand."""

from __future__ import annotations

import re
from fractions import Fraction

import pytest

from dosecheck.formulary.medicine import Step
from dosecheck.printing.measure_picture import measure_picture
from dosecheck.quantity import UNITS, Quantity

ML = UNITS["volume"]["mL"]


def picture(volume: str, step: str, up_to: str | None = None) -> str:
    steps = (Step(Fraction(up_to) * ML if up_to else None, Fraction(step) * ML),)
    return measure_picture(Quantity(Fraction(volume) * ML, "volume", "mL"), steps, "k")


@pytest.mark.parametrize(
    ("volume", "step", "size", "marks"),
    [("8.5", "0.5", 10, 20), ("0.35", "0.01", 1, 100), ("2.2", "0.1", "2.5", 25), ("5", "0.1", 5, 50), ("30", "1", 30, 30)],
)
def test_scale_and_filling(volume: str, step: str, size: str | int, marks: int) -> None:
    """The smallest usual size that holds the volume, one mark a step, filled as far as the volume is of the size."""
    svg = picture(volume, step)
    assert f"Fill to {volume} mL" in svg and f"from 0 to {size} mL in steps of {step} mL" in svg
    assert svg.count("v-8") == marks + 1
    filled = Fraction(re.search(r'class="range" x="14" y="26" width="([0-9.]+)"', svg)[1])
    assert abs(filled - Fraction(volume) / Fraction(str(size)) * 332) < Fraction(1, 10)


def test_marks_that_would_run_together() -> None:
    """0.01 mL on a scale of 5 mL would be 500 marks: every fifth is drawn, and the words say so."""
    svg = picture("4.2", "0.01")
    assert svg.count("v-8") == 101 and "one small mark is 0.05 mL" in svg


@pytest.mark.parametrize(("volume", "step", "up_to"), [("61", "1", None), ("8.5", "0.5", "5"), ("0", "1", None)])
def test_no_picture(volume: str, step: str, up_to: str | None) -> None:
    assert picture(volume, step, up_to) == ""
