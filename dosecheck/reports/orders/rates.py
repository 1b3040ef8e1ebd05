"""How often out of how many, with the interval that chance alone would explain: what an alert rate may be read as."""

from __future__ import annotations

from decimal import Decimal, localcontext
from typing import NamedTuple

Z = Decimal("1.959964")  # the normal distribution's 97.5 % point
SOURCE = "Wilson EB. Probable inference, the law of succession, and statistical inference. J Am Stat Assoc 1927;22:209-212"


class Rate(NamedTuple):
    """`count` of `rows`; the interval as shares of 1, None where there are no rows."""

    count: int
    rows: int
    low: Decimal | None
    high: Decimal | None

    @property
    def per_100(self) -> str:
        """ "12.5", rounded half up to one decimal; "" without rows."""
        return _tenths((2000 * self.count + self.rows) // (2 * self.rows)) if self.rows else ""

    @property
    def interval(self) -> str:
        """ "9.8 to 15.8", per 100, rounded half up to one decimal; "" without rows."""
        if self.low is None or self.high is None:
            return ""
        half = Decimal("0.5")
        return f"{_tenths(int(self.low * 1000 + half))} to {_tenths(int(self.high * 1000 + half))}"


def rate(count: int, rows: int) -> Rate:
    """The share and its 95 % interval by Wilson's score method, without a correction for continuity.

    Source: SOURCE.
    """
    if not rows:
        return Rate(count, rows, None, None)
    with localcontext(prec=28):
        share, n, square = Decimal(count) / rows, Decimal(rows), Z * Z
        middle = share + square / (2 * n)
        reach = Z * (share * (1 - share) / n + square / (4 * n * n)).sqrt()
        below = 1 + square / n
        low = Decimal(0) if count == 0 else (middle - reach) / below
        high = Decimal(1) if count == rows else (middle + reach) / below
        return Rate(count, rows, low, high)


def _tenths(tenths: int) -> str:
    return f"{tenths // 10}.{tenths % 10}"
