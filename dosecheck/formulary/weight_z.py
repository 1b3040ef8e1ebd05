"""The policy's z-limits of a weight, by age: data only; what they come to in kilograms is in `body/believable.py`."""

from __future__ import annotations

from decimal import Decimal
from typing import Any, NamedTuple

from dosecheck.formulary.limits import edge
from dosecheck.reading import read_z

_MONTH = (487, 16)  # growth references count a month as 30.4375 days


class ZBand(NamedTuple):
    """From `day` on (days since birth), until the next band: the least and the greatest z-score that is believed."""

    day: int
    low: Decimal
    high: Decimal


def z_bands(policy: dict[str, Any]) -> tuple[ZBand, ...]:
    """The policy's bands, youngest first; none where the policy has no such limits."""
    bands = policy.get("weight_z", {}).get("bands", [])
    return tuple(ZBand(first_day(band["from"]), read_z(band["low"]), read_z(band["high"])) for band in bands)


def far_above(policy: dict[str, Any]) -> tuple[ZBand, ...]:
    """One band at all ages whose high end is the policy's z-score of a weight far above the centiles; none without it."""
    if "weight_far_above" not in policy:
        return ()
    high = read_z(policy["weight_far_above"]["value"])
    return (ZBand(0, -high, high),)


def first_day(text: str) -> int:
    """The first whole day of an age: "28 days" is 28, "10 years" is 3653 (120 months of 30.4375 days, rounded up)."""
    fact, number = edge(text, "from")
    return number if fact == "days" else -(-number * _MONTH[0] // _MONTH[1])
