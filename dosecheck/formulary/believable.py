"""Which weights are believable at which age, by the policy's own coarse table; growth curves are another matter.

The table is in policy.toml: rows from an age on, each with a least and a greatest weight.
"""

from __future__ import annotations

from typing import Any, NamedTuple

from dosecheck.formulary.limits import edge
from dosecheck.quantity import Quantity
from dosecheck.reading import read_weight

LAST_MONTH = 240  # the table ends at 20 years


class WeightRow(NamedTuple):
    """From `months` (completed) on, until the next row; the weights are read when they are needed."""

    months: int
    low: str
    high: str


def weight_rows(policy: dict[str, Any]) -> tuple[WeightRow, ...]:
    """The policy's rows, youngest first; none where the policy has no table."""
    bands = policy.get("believable_weight", {}).get("bands", [])
    return tuple(WeightRow(edge(row["from"], "from")[1], row["low"], row["high"]) for row in bands)


def believable(rows: tuple[WeightRow, ...], months_lo: int, months_hi: int) -> tuple[Quantity, Quantity] | None:
    """The least and the greatest believable weight for an age of `months_lo` to `months_hi` completed months.

    None above 20 years, before the first row, and where there is no table.
    """
    if not rows or months_lo < rows[0].months or months_hi >= LAST_MONTH:
        return None
    last = max(index for index, row in enumerate(rows) if row.months <= months_hi)
    first = max(index for index, row in enumerate(rows) if row.months <= months_lo)
    met = rows[first : last + 1]
    return min(read_weight(row.low) for row in met), max(read_weight(row.high) for row in met)
