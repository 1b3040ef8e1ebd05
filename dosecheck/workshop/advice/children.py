"""Which children a regimen is for, as weights: its own band of weight, or what is believable at its ages.

In force is taken to mean on the day that is looked at; a superseded regimen is left alone.
"""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date
from decimal import Decimal
from fractions import Fraction
from typing import NamedTuple

from dosecheck.body.believable import GRAM, weight_limits
from dosecheck.body.growth import LAST_DAY, SEXES
from dosecheck.formulary.load import Formulary
from dosecheck.formulary.measures import CEILINGS, Ratio
from dosecheck.formulary.medicine import Medicine, Regimen
from dosecheck.formulary.meets import in_days
from dosecheck.formulary.weight_z import ZBand
from dosecheck.quantity import Quantity
from dosecheck.rules.explain import most_for_one_dose
from dosecheck.rules.facts import ratio

WIDE = (ZBand(0, Decimal(-4), Decimal(4)),)  # for a policy that does not say what it believes
HEAVIEST = CEILINGS["weight"][0]  # where the reference's curve has no end: the most that any order may say


class Weights(NamedTuple):
    """The lightest and the heaviest child, in base units; `bounded` if the regimen itself ends the weight above.

    `believed`: some weight of its band is believed at its ages.
    """

    least: Fraction
    most: Fraction
    bounded: bool
    believed: bool = True

    def ends(self) -> tuple[Quantity, Quantity]:
        return Quantity(self.least, "weight", "kg"), Quantity(self.most, "weight", "kg")


def in_force(medicine: Medicine, on: date) -> Iterator[Regimen]:
    """Of each id the version that holds on that day, or the first to come."""
    for regimen in medicine.regimens:
        days = [other.valid_from for other in medicine.regimens if other.base_id == regimen.base_id]
        begun = [day for day in days if day <= on]
        if regimen.valid_from == (max(begun) if begun else min(days)):
            yield regimen


def weights_of(regimen: Regimen, formulary: Formulary) -> Weights | None:
    """None where the ages lie beyond the growth reference and no band of weight ends it."""
    by_age = _by_age(regimen, formulary)
    band = next((band for band in regimen.bands if band.fact == "weight"), None)
    low = None if band is None or band.low is None else Fraction(band.low)
    high = None if band is None or band.high is None else Fraction(band.high) - GRAM  # the heaviest whole gram below the end
    least = max([end for end in (low, by_age and by_age[0]) if end is not None], default=None)
    most = min([end for end in (high, by_age and by_age[1]) if end is not None], default=None)
    if least is None or most is None:
        return None
    if least > most:  # nobody of those ages is believed to weigh that: the band alone
        ends = (least if low is None else low), (most if high is None else high)
        return Weights(min(ends), max(ends), high is not None, False)
    return Weights(least, most, high is not None)


def _by_age(regimen: Regimen, formulary: Formulary) -> tuple[Fraction, Fraction] | None:
    """The least and the greatest weight that the policy believes at the ages of the regimen."""
    low, high = 0, LAST_DAY
    for band in map(in_days, regimen.bands):
        if band.fact == "days":
            low = max(low, band.low or 0)
            high = min(high, LAST_DAY if band.high is None else band.high - 1)
    if low > high:
        return None
    limits = weight_limits(formulary.z_bands or WIDE, formulary.growth_reference, SEXES, (low, high))
    if limits is None:
        return None
    return Fraction((limits.low or 0) * GRAM), Fraction(limits.high * GRAM if limits.high else HEAVIEST)


def facts_at(weight: Fraction, doses: int | None = None) -> dict[str, Ratio]:
    """What upper limits are reckoned from at one weight, and at so many doses a day where the number matters."""
    facts = {"weight": ratio(weight)}
    if doses:
        facts["doses"] = facts["average"] = ratio(doses)
    return facts


def most_at(regimen: Regimen, weight: Fraction, doses: int | None = None) -> Fraction | None:
    """The largest single dose at one weight, by every limit that asks or stops."""
    bounds = [most_for_one_dose(limit, facts_at(weight, doses)) for limit in regimen.limits if not limit.beyond]
    known = [bound for bound in bounds if bound is not None]
    return min(known) if known else None


def counts_of(regimen: Regimen) -> list[int]:
    """The numbers of doses a day that the regimen allows for: those it lists, else the most in 24 hours that it names."""
    listed = sorted(regimen.entry.get("doses_a_day", []))
    most = regimen.entry.get("max_doses")
    return listed or ([most] if most else [])
