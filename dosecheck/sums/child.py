"""The child's weight and age, as fields that several sums share.

An age is held as an interval, since "2 years" is a whole year.
"""

from __future__ import annotations

from dosecheck.body.age import Age, age_from_parts
from dosecheck.errors import TextError
from dosecheck.reading import AgeParts, read_age, read_weight
from dosecheck.sums.frame import Field, NotCovered

NEWBORN_LAST_DAY = 28


def read_told_age(text: str) -> Age:
    """ "3 years 2 months", "10 days".

    Raises:
        TextError: it is no age in completed units.
    """
    parts = read_age(text)
    try:
        return age_from_parts(**parts._asdict())
    except ValueError as error:
        raise TextError(text, f"This is no age in completed units: {error}.", 'Write it as "3 years 2 months".') from None


def read_age_parts(text: str) -> AgeParts:
    """The same, as the parts in which it was told, for a `Child`."""
    read_told_age(text)
    return read_age(text)


WEIGHT = Field("weight", read_weight, "14.2 kg", "the child's weight")
AGE = Field("age", read_told_age, "3 years 2 months", "the child's age in completed units")
AGE_IF_TOLD = AGE._replace(needed=False)


def completed_years(age: Age) -> int:
    """The completed years.

    Raises:
        NotCovered: the age as told leaves open which year it is.
    """
    if age.months_lo // 12 != age.months_hi // 12:
        raise NotCovered("The age leaves open which year it is: give it in years, or in years and months.")
    return age.months_lo // 12
