"""Text becomes a quantity here and nowhere else, strictly.

One number pattern and one closed table of spellings.  What is doubtful is refused with what to write instead;
nothing is repaired in silence.  The command line, files of orders, the formulary and the Python front door all
read through these functions.  Names (medicines, routes) are matched by their owners; ages become days and months
in `body/age.py`.
"""

from dosecheck.reading.amounts import (
    SPELLINGS,
    read_amount,
    read_creatinine,
    read_filtration,
    read_length,
    read_strength,
    read_time,
    read_volume,
    read_weight,
)
from dosecheck.reading.doses import Dose, read_dose
from dosecheck.reading.numbers import MISSING, NUMBER, is_missing, pint_text, plain, read_reference, read_z, short_text, strange_characters
from dosecheck.reading.times import AgeParts, Frequency, read_age, read_count, read_date, read_frequency, read_weeks, read_yes

__all__ = [
    "MISSING",
    "NUMBER",
    "SPELLINGS",
    "AgeParts",
    "Dose",
    "Frequency",
    "is_missing",
    "pint_text",
    "plain",
    "read_age",
    "read_amount",
    "read_count",
    "read_creatinine",
    "read_date",
    "read_dose",
    "read_filtration",
    "read_frequency",
    "read_length",
    "read_reference",
    "read_strength",
    "read_time",
    "read_volume",
    "read_weeks",
    "read_weight",
    "read_yes",
    "read_z",
    "short_text",
    "strange_characters",
]
