"""The LMS method: a measured value as a z-score and a centile, and back.  Decimal, to 20 figures; nothing is rounded here
but the centile.

A growth reference gives for each sex and age a power (L), a median (M) and a spread (S, a coefficient of variation).
Which reference, and its figures, are in `growth.py`.

Source of the method: Cole TJ, Green PJ. Smoothing reference centile curves: the LMS method and penalized likelihood.
Statistics in Medicine 1992;11:1305-19.  Source of the outer rule: World Health Organization, WHO Child Growth Standards,
methods and development, 2006: beyond 3, z of a weight or BMI goes on evenly, by the distance between 2 and 3.
"""

from __future__ import annotations

from decimal import Context, Decimal, localcontext
from typing import NamedTuple

FIGURES = Context(prec=20)
STEP = Decimal("0.01")  # a z-score is shown to this step
EDGE, INNER = Decimal(3), Decimal(2)  # the outer rule begins at 3 and goes on by the distance from 2
_SURE = 6  # beyond this z every centile is 0 or 100 to any figure that is shown


class Lms(NamedTuple):
    """L, M and S of one sex and age.  `outer`: z beyond 3 goes by WHO's rule for weights, not by the curve."""

    power: Decimal
    median: Decimal
    spread: Decimal
    outer: bool


def z_score(value: Decimal, lms: Lms) -> Decimal:
    """How many standard deviations `value` (above zero, in the unit of the median) lies from the median; unrounded."""
    with localcontext(FIGURES):
        log = (value / lms.median).ln()
        z = (((log * lms.power).exp() - 1) / lms.power if lms.power else log) / lms.spread
        return _outer_z(value, lms, z) if lms.outer and abs(z) > EDGE else z


def value_at(z: Decimal, lms: Lms) -> Decimal | None:
    """The value whose z-score is `z`, unrounded; None where the curve does not reach so far, however extreme the value."""
    with localcontext(FIGURES):
        if lms.outer and abs(z) > EDGE:
            edge, step = _outer_line(lms, z)
            value = None if edge is None else edge + (abs(z) - EDGE) * step
            return value if value is None or value > 0 else None
        return _on_curve(z, lms)


def centile(z: Decimal) -> int:
    """The share of the reference's children below `z`, in whole hundredths: 0 is below the 1st centile, 100 above the 99th."""
    if abs(z) > _SURE:
        return 100 if z > 0 else 0
    with localcontext(FIGURES):
        return int((100 * _normal(z)).to_integral_value())


def _on_curve(z: Decimal, lms: Lms) -> Decimal | None:
    if not lms.power:
        return lms.median * (lms.spread * z).exp()
    inside = 1 + lms.power * lms.spread * z
    return lms.median * (inside.ln() / lms.power).exp() if inside > 0 else None


def _outer_line(lms: Lms, z: Decimal) -> tuple[Decimal, Decimal] | tuple[None, None]:
    """The value at 3 (or -3), and the signed distance to it from the value at 2 (or -2)."""
    edge, inner = (_on_curve(end.copy_sign(z), lms) for end in (EDGE, INNER))
    return (None, None) if edge is None or inner is None else (edge, edge - inner)


def _outer_z(value: Decimal, lms: Lms, z: Decimal) -> Decimal:
    edge, step = _outer_line(lms, z)
    return z if edge is None else (EDGE + (value - edge) / step).copy_sign(z)


def _normal(z: Decimal) -> Decimal:
    """The standard normal distribution, by its series around zero (all terms have one sign, so none cancels)."""
    term = total = z
    odd = 1
    while abs(term) > Decimal("1e-15"):
        odd += 2
        term *= z * z / odd
        total += term
    return Decimal("0.5") + total * (-z * z / 2).exp() / _ROOT


_ROOT = Decimal("2.5066282746310005024")  # the square root of two pi
