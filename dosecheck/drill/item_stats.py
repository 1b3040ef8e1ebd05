"""How hard a question was, and whether those who do well in the rest get it right: classical item statistics.

Difficulty is the share of right answers (a high one is easy).  Discrimination is the corrected item-total correlation:
the correlation, over the learners, of the item's score x with the score y of all the other items,

    r = (n sum(xy) - sum(x) sum(y)) / sqrt((n sum(x^2) - sum(x)^2) (n sum(y^2) - sum(y)^2))

so that an item is never held against itself.  Sources, both named from memory: S. Henrysson, Correction of item-total
correlations in item analysis, Psychometrika 28 (1963), pages 211 to 218 (leaving the item out of the total); R. L. Ebel
and D. A. Frisbie, Essentials of Educational Measurement, 5th edition 1991 (an index of discrimination below 0.20 marks a
poor item, one to look at).  The least numbers of learners are our own choice.
"""

from __future__ import annotations

from collections.abc import Sequence
from decimal import Decimal
from fractions import Fraction

FEWEST = 5  # learners or answers for a share to be told
FEWEST_TO_DISCRIMINATE = 10
POOR = Decimal("0.20")


def difficulty(right: int, answers: int) -> Fraction | None:
    """The share right; None where there are too few answers to say."""
    return Fraction(right, answers) if answers >= FEWEST else None


def discrimination(scores: Sequence[tuple[Fraction | int, Fraction | int]]) -> Decimal | None:
    """The corrected item-total correlation, to 0.01.

    Args:
        scores: for each learner the item's score and that of the rest.

    Returns:
        From -1 to 1; None where there are too few learners, or where all have the same score in the item or in the rest.
    """
    n = len(scores)
    if n < FEWEST_TO_DISCRIMINATE:
        return None
    x, y = ([Fraction(pair[part]) for pair in scores] for part in (0, 1))
    together = n * sum(a * b for a, b in zip(x, y, strict=True)) - sum(x) * sum(y)
    spread = _spread(x) * _spread(y)
    if not spread:
        return None
    size = (_decimal(together**2 / spread)).sqrt().quantize(Decimal("0.01"))
    return size if together >= 0 or not size else -size


def _spread(values: list[Fraction]) -> Fraction:
    return len(values) * sum(value**2 for value in values) - sum(values) ** 2


def _decimal(fraction: Fraction) -> Decimal:
    return Decimal(fraction.numerator) / Decimal(fraction.denominator)
