"""FEV1 by the equations of the Global Lung Function Initiative, 2012: L, M and S of a child of 4 to 17 years.

M = exp(a0 + a1 ln(height in cm) + a2 ln(age) + group + Mspline), S = exp(p0 + p1 ln(age) + group + Sspline),
L = q0 + q1 ln(age).  The published splines are tabled every quarter of a year; here stand those of whole ages, and between
them they are taken in proportion: that stays within 0.4 % of M and 0.0005 of S, as a test holds.

Source: Quanjer PH and others, Multi-ethnic reference values for spirometry for the 3-95-yr age range, European Respiratory
Journal 2012;40:1324-1343; the public lookup table of the European Respiratory Society's initiative.
"""

from __future__ import annotations

from decimal import Decimal, localcontext
from fractions import Fraction
from typing import NamedTuple

from dosecheck.body.lms import FIGURES, Lms

FIRST, LAST = 4, 17  # years
GROUPS = ("caucasian", "african american", "north east asian", "south east asian", "other")  # the words of the source


class Equation(NamedTuple):
    """One sex: (constant, height, age) of M, (constant, age) of S and of L, and what each further group adds to M and S."""

    median: tuple[str, str, str]
    spread: tuple[str, str]
    power: tuple[str, str]
    median_groups: tuple[str, str, str, str]
    spread_groups: tuple[str, str, str, str]
    median_spline: tuple[str, ...]
    spread_spline: tuple[str, ...]


EQUATIONS = {
    "male": Equation(
        ("-10.3420", "2.2196", "0.0574"),
        ("-2.3268", "0.0798"),
        ("0.8866", "0.0850"),
        ("-0.1589", "-0.0351", "-0.0881", "-0.0708"),
        ("0.1096", "-0.3973", "0.0327", "0.0114"),
        (
            "-0.0893", "-0.0752", "-0.0787", "-0.0822", "-0.0778", "-0.0691", "-0.0549",
            "-0.0395", "-0.0176", "0.0169", "0.0612", "0.1068", "0.1460", "0.1744",
        ),
        (
            "0.1794", "0.1535", "0.1285", "0.0912", "0.0439", "-0.0092", "-0.0461",
            "-0.0525", "-0.0387", "-0.0199", "-0.0091", "-0.0108", "-0.0234", "-0.0421",
        ),
    ),
    "female": Equation(
        ("-9.6987", "2.1211", "-0.0270"),
        ("-2.3765", "0.0972"),
        ("1.1540", "0"),
        ("-0.1484", "-0.0149", "-0.1208", "-0.0708"),
        ("0.1016", "-0.0109", "0.0733", "0.0114"),
        (
            "-0.1817", "-0.1548", "-0.1452", "-0.1310", "-0.1125", "-0.0897", "-0.0573",
            "-0.0172", "0.0274", "0.0709", "0.1086", "0.1379", "0.1583", "0.1711",
        ),
        (
            "0.2439", "0.1749", "0.1208", "0.0780", "0.0452", "0.0206", "0.0037",
            "-0.0076", "-0.0160", "-0.0233", "-0.0305", "-0.0373", "-0.0437", "-0.0495",
        ),
    ),
}  # fmt: skip


def fev1(sex: str, years: Fraction, height_cm: Fraction, group: str) -> Lms:
    """L, M (litres) and S of FEV1, unrounded.

    Args:
        sex: "female" or "male".
        years: the age, FIRST to LAST.
        group: one of GROUPS.
    """
    equation, number = EQUATIONS[sex], GROUPS.index(group)
    with localcontext(FIGURES):
        log_age, log_height = (_decimal(part).ln() for part in (years, height_cm))
        constant, by_height, by_age = map(Decimal, equation.median)
        median = constant + by_height * log_height + by_age * log_age + _group(equation.median_groups, number)
        constant, by_age = map(Decimal, equation.spread)
        spread = constant + by_age * log_age + _group(equation.spread_groups, number)
        constant, by_age = map(Decimal, equation.power)
        median, spread = median + _spline(equation.median_spline, years), spread + _spline(equation.spread_spline, years)
        return Lms(constant + by_age * log_age, median.exp(), spread.exp(), outer=False)


def _decimal(part: Fraction) -> Decimal:
    return Decimal(part.numerator) / part.denominator


def _group(groups: tuple[str, ...], number: int) -> Decimal:
    """Nothing for the first group, which the others are held against."""
    return Decimal(groups[number - 1]) if number else Decimal(0)


def _spline(table: tuple[str, ...], years: Fraction) -> Decimal:
    whole = int(years)
    here = Decimal(table[whole - FIRST])
    part = years - whole
    return here + (Decimal(table[whole - FIRST + 1]) - here) * _decimal(part) if part else here
