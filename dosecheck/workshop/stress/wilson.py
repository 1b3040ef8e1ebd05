"""The interval in which a share lies with 95 % confidence, by its score.

Source: Wilson EB. Probable inference, the law of succession, and statistical inference. J Am Stat Assoc 1927;22:209-212.
"""

from __future__ import annotations

from math import sqrt
from statistics import NormalDist

Z = NormalDist().inv_cdf(0.975)


def wilson(part: int, whole: int) -> tuple[float, float]:
    """(low, high), between 0 and 1; all of it where nothing was counted.  Floats: a share is no dose."""
    if not whole:
        return 0.0, 1.0
    share, square = part / whole, Z * Z / whole
    middle = share + square / 2
    half = sqrt(square * share * (1 - share) + square * square / 4)
    low, high = ((middle + side * half) / (1 + square) for side in (-1, 1))
    return (0.0 if part == 0 else low), (1.0 if part == whole else high)
