"""What weights are believable at an age, and how a weight lies among the reference's children.

An age may be an interval and the sex may be untold: then the widest limits hold, and z is an interval too.  Limits are
weights at a z-score, rounded once to a whole gram; a weight is compared with them exactly.  Which z-limits hold from
what age on is the policy's; whether a weight is held against them at all is decided in `rules/`.
"""

from __future__ import annotations

from collections.abc import Iterable
from decimal import ROUND_HALF_EVEN, Decimal, localcontext
from functools import cache, lru_cache
from typing import NamedTuple

from dosecheck.body.growth import LAST_DAY, SEXES, joints, lms_at
from dosecheck.body.lms import FIGURES, STEP, Lms, value_at, z_score
from dosecheck.formulary.weight_z import ZBand
from dosecheck.quantity import UNITS, Quantity

GRAM = UNITS["weight"]["g"]
MOST_Z = Decimal(20)  # a z-score beyond this is shown as this
# Days on which the curves turn: a newborn first loses weight; and the outer curves of girls fall again towards 20 years,
# which is looked at every 30 days (a test holds that this is right to 2 g).
_TURNS = (1, 2, 3, 4, *range(5460, LAST_DAY, 30))
_LITTLE = 10  # g; more than what may lie between two of those days


class Limits(NamedTuple):
    """The least and the greatest believable weight, in grams; None where the reference's curve has no such end."""

    low: int | None
    high: int | None


@lru_cache(maxsize=2**16)
def weight_limits(bands: tuple[ZBand, ...], reference: str, sexes: tuple[str, ...], days: tuple[int, int]) -> Limits | None:
    """The widest limits over an age of `days` (both ends inside) and over `sexes`.

    Looked at are both ends and every day between on which the curves or the policy turn.  None where the reference or
    the policy does not reach.
    """
    each = _each(bands, reference, sexes, days)
    lows, highs = [limits.low for limits in each], [limits.high for limits in each]
    return Limits(None if None in lows else min(lows), None if None in highs else max(highs)) if each else None


def sure_limits(bands: tuple[ZBand, ...], reference: str, days: tuple[int, int]) -> Limits | None:
    """The narrowest limits over `days` and both sexes, and a little inside them: a weight between them needs no closer look."""
    each = _each(bands, reference, SEXES, days)
    lows, highs = ([end for end in ends if end is not None] for ends in zip(*each, strict=True)) if each else ((), ())
    return Limits(max(lows) + _LITTLE if lows else None, min(highs) - _LITTLE if highs else None) if each else None


def _each(bands: tuple[ZBand, ...], reference: str, sexes: tuple[str, ...], days: tuple[int, int]) -> list[Limits]:
    """The limits of each sex on each day that matters; empty where the reference or the policy does not reach."""
    if not bands or not bands[0].day <= days[0] <= days[1] <= LAST_DAY:
        return []
    turns = [*joints(reference), *(side for band in bands for side in (band.day - 1, band.day))]
    return [_limits(_band_on(bands, day), reference, sex, day) for sex in sexes for day in _days(days, turns)]


def z_ends(weight: Quantity, reference: str, sexes: tuple[str, ...], days: tuple[int, int]) -> tuple[Decimal, Decimal] | None:
    """The least and the greatest z-score of a weight, as `z_between` gives it."""
    with localcontext(FIGURES):
        kilograms = Decimal(weight.value.numerator) / (weight.value.denominator * UNITS["weight"]["kg"])
    return z_between(kilograms, "weight", reference, sexes, days)


def z_between(
    value: Decimal, measure: str, reference: str, sexes: tuple[str, ...], days: tuple[int, int]
) -> tuple[Decimal, Decimal] | None:
    """The least and the greatest z-score of a weight (kg), height (cm) or BMI over an age of `days` and `sexes`, to 0.01.

    None where the reference has nothing to say of the whole interval.
    """
    if not 0 <= days[0] <= days[1] <= LAST_DAY:
        return None
    scores = [_z(value, lms_at(reference, sex, day, measure)) for sex in sexes for day in _days(days, joints(reference, measure))]
    return min(scores), max(scores)


def _days(days: tuple[int, int], turns: Iterable[int]) -> set[int]:
    return {*days, *(day for day in (*_TURNS, *turns) if days[0] < day < days[1])}


def _band_on(bands: tuple[ZBand, ...], day: int) -> ZBand:
    return max(band for band in bands if band.day <= day)


@cache
def _limits(band: ZBand, reference: str, sex: str, day: int) -> Limits:
    lms = lms_at(reference, sex, day)
    return Limits(_grams(value_at(band.low, lms)), _grams(value_at(band.high, lms)))


def _grams(kilograms: Decimal | None) -> int | None:
    return None if kilograms is None else int((kilograms * 1000).to_integral_value(ROUND_HALF_EVEN))


def _z(value: Decimal, lms: Lms) -> Decimal:
    with localcontext(FIGURES):
        return max(-MOST_Z, min(MOST_Z, z_score(value, lms))).quantize(STEP) + 0
