"""A volume on the scale of a measuring device: how far to fill it.

The scale is marked in the steps that the product's entry in the formulary gives; its length is the smallest of the usual
sizes of oral syringes and measures that holds the volume (common practice, no source).  A drawing to compare with, not the
device itself: whoever draws up reads the device in hand.
"""

from __future__ import annotations

from fractions import Fraction

from dosecheck.formulary.medicine import Step
from dosecheck.quantity import UNITS, Quantity
from dosecheck.showing import show

SIZES = tuple(Fraction(size) for size in ("1", "2.5", "5", "10", "20", "30", "60"))  # mL
_ML = UNITS["volume"]["mL"]
_LEFT, _RIGHT, _TOP, _BOTTOM, _HEIGHT = 14, 346, 26, 62, 104
_MOST_MARKS = 100


def measure_picture(volume: Quantity, steps: tuple[Step, ...], key: str) -> str:
    """An SVG element; "" where no single device holds the volume, or its steps are not known."""
    size = next((size for size in SIZES if volume.value <= size * _ML), None)
    step = next((step.step for step in steps if step.up_to is None or volume.value <= step.up_to), None)
    if size is None or not step or not volume.value:
        return ""
    fine = Fraction(step) / _ML
    x = _place(volume.value / _ML, size)
    words = show(volume)
    title = f"Fill to {words}"
    about = (
        f"A scale from 0 to {_ml(size)} in steps of {_ml(fine)}, filled to {words}. Not the size of the device in hand: read its own scale."
    )
    return "".join(
        (
            f'<svg xmlns="http://www.w3.org/2000/svg" class="picture" viewBox="0 0 360 {_HEIGHT}" width="360" height="{_HEIGHT}" role="img" '
            f'aria-labelledby="{key}-t {key}-d" font-family="Liberation Sans, Arial, DejaVu Sans, sans-serif" font-size="11" fill="#111">',
            f'<title id="{key}-t">{title}</title><desc id="{key}-d">{about}</desc>',
            f'<rect class="paper" width="360" height="{_HEIGHT}" fill="#fff"/>',
            f'<rect class="range" x="{_LEFT}" y="{_TOP}" width="{_px(x - _LEFT)}" height="{_BOTTOM - _TOP}" fill="#ccc"/>',
            f'<rect class="ink" x="{_LEFT}" y="{_TOP}" width="{_RIGHT - _LEFT}" height="{_BOTTOM - _TOP}" fill="none" stroke="#111"/>',
            *_marks(size, fine),
            f'<path class="ink" d="M{_px(x)} {_TOP - 4}V{_BOTTOM}" stroke="#111" stroke-width="3"/>',
            _text(words, min(max(x, Fraction(34)), Fraction(326)), _TOP - 9, bold=True, large=True),
            _text(f"in mL; one small mark is {_ml(_drawn(size, fine))}; read the scale of the device in hand", Fraction(180), _HEIGHT - 6),
            "</svg>",
        )
    )


def _marks(size: Fraction, fine: Fraction) -> list[str]:
    """Small marks at the steps (every second, fifth or tenth where they would run together), long ones with their number."""
    small, shapes = _drawn(size, fine), []
    number = next(
        each
        for each in (Fraction(1, 10), Fraction(1, 5), Fraction(1, 2), Fraction(1), Fraction(2), Fraction(5), Fraction(10))
        if size / each <= 10
    )
    for count in range(int(size / small) + 1):
        x = _px(_place(count * small, size))
        shapes.append(f'<path class="ink" d="M{x} {_BOTTOM}v-8" stroke="#111" stroke-width="0.8"/>')
    for count in range(int(size / number) + 1):
        x = _place(count * number, size)
        shapes.append(f'<path class="ink" d="M{_px(x)} {_BOTTOM}v-15" stroke="#111"/>')
        shapes.append(_text(show(Quantity(count * number * _ML, "volume", "mL")).partition(" ")[0], x, _BOTTOM + 14))
    return shapes


def _drawn(size: Fraction, fine: Fraction) -> Fraction:
    return next(fine * times for times in (1, 2, 5, 10, 50, 100) if size / (fine * times) <= _MOST_MARKS)


def _place(volume: Fraction, size: Fraction) -> Fraction:
    return _LEFT + volume * (_RIGHT - _LEFT) / size


def _ml(volume: Fraction) -> str:
    return show(Quantity(volume * _ML, "volume", "mL"))


def _px(value: Fraction) -> str:
    return f"{float(round(value, 1)):g}"


def _text(words: str, x: Fraction, y: int, bold: bool = False, large: bool = False) -> str:
    more = ' font-weight="bold"' * bold + ' font-size="16"' * large
    return f'<text class="ink" x="{_px(x)}" y="{y}" text-anchor="middle"{more}>{words}</text>'
