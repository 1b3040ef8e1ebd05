"""The fields of a formulary's files: every text is read as what it should be, and a fault is told in plain words.

`models.py` is built of these types.  They check and keep the text: the figures themselves are compiled from the
plain tables in `medicine.py`, so that a single check never loads pydantic.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Callable
from fractions import Fraction
from typing import Annotated, Any

from pydantic import AfterValidator, Discriminator, Field, Tag, WithJsonSchema
from pydantic_core import PydanticCustomError

from dosecheck.errors import TextError
from dosecheck.formulary.limits import edge, share
from dosecheck.quantity import COUNTED, DRUG, Quantity
from dosecheck.reading import (
    NUMBER,
    is_missing,
    read_amount,
    read_dose,
    read_filtration,
    read_strength,
    read_time,
    read_volume,
    read_weeks,
    read_weight,
    read_z,
)

MOST_DOSES = 300
_OLDEST = {"days": 44_000, "months": 1440}


def refuse(why: str, write: str) -> PydanticCustomError:
    """A fault in our own words; pydantic adds the place."""
    return PydanticCustomError("plain", "{why}", {"why": why, "write": write})


def _reads(read: Callable[[str], Any]) -> AfterValidator:
    """The text can be read by `read`; the text itself is kept."""

    def check(text: str) -> str:
        try:
            read(text)
        except TextError as error:
            given = error.given if error.given.isprintable() else ascii(error.given)[1:-1]
            raise refuse(f'"{given}": {error.why}', error.write) from None
        return text

    return AfterValidator(check)


# ---- words ----

_ID = re.compile(r"[a-z0-9]+(?:-[a-z0-9]+)*")


def _id(text: str) -> str:
    if len(text) > 80 or not _ID.fullmatch(text):
        raise TextError(text[:80], "An id is lower-case letters and digits with single hyphens between them.", 'Write it as "oral-child".')
    return text


def hidden_character(text: str, allowed: str = " ") -> str | None:
    """The code of the first character that cannot be seen, such as U+200B, or None."""
    return next((f"U+{ord(char):04X}" for char in text if not char.isprintable() and char not in allowed), None)


def _text(text: str) -> str:
    """Free text: it is shown on screens, so it must not steer them."""
    hidden = hidden_character(text, "\n\t\u00a0\u202f")
    if hidden:
        raise TextError(ascii(text[:40])[1:-1], f"It holds the hidden character {hidden}.", "Type it again.")
    if is_missing(text):
        raise TextError(text.strip(), "It says nothing.", "Write it out, or leave the key out.")
    return text


def _line(text: str) -> str:
    _text(text)
    if text != " ".join(text.split()) or len(text) > 200:
        raise TextError(
            text[:40], "It has needless spaces or line breaks, or more than 200 characters.", "Write it on one line with single spaces."
        )
    return text


def _address(text: str) -> str:
    """A web address: pages show it as a link, so nothing else may stand there."""
    if not re.fullmatch(r"https?://[\x21-\x7e]{3,500}", text):
        raise TextError(text[:60], "It is not a web address.", 'Write it as "https://handbook.example", or leave the key out.')
    return text


def _word(text: str) -> str:
    """What an order may write: orders are read in lower case with single spaces, so anything else would never match."""
    hidden = hidden_character(text)
    if hidden:
        raise TextError(ascii(text[:40])[1:-1], f"It holds the hidden character {hidden}.", "Type it again.")
    _line(text)
    if text != text.lower():
        raise TextError(text, "It has capital letters, and orders are matched in lower case.", f'Write "{text.lower()}".')
    scripts = {unicodedata.name(char, "?").split()[0] for char in text if char.isalpha()}
    if len(scripts) > 1:
        raise TextError(
            ascii(text)[1:-1], f"It mixes letters of several alphabets: {', '.join(sorted(scripts)).lower()}.", "Type it again."
        )
    if ";" in text:
        raise TextError(text, "It has a semicolon, which separates names in an order.", "Write it without.")
    return text


def _text_of(read: Callable[[str], Any], pattern: str = "") -> Any:
    """A text that `read` reads.  `pattern`: how it looks, for the JSON Schema: whatever `read` reads looks so."""
    return Annotated[str, _reads(read), WithJsonSchema({"type": "string", **({"pattern": pattern} if pattern else {})})]


Id = _text_of(_id, f"^{_ID.pattern}$")
Text = _text_of(_text, r"\S")
Line = _text_of(_line, r"^\S(?:.*\S)?$")
Word = _text_of(_word, r"^[^\sA-Z;](?:[^A-Z;\n]*[^\sA-Z;])?$")
Address = _text_of(_address, r"^https?://[!-~]{3,500}$")
Count = Annotated[int, Field(ge=1, le=MOST_DOSES)]


# ---- amounts ----


def read_figure(text: str) -> Quantity:
    """One figure, such as "15 mg/kg" or "4 g"; what the file says with other keys is refused in the text."""
    dose = read_dose(text)
    if dose.low != dose.high:
        raise TextError(
            text, "It is a range, and one figure is needed.", 'Write the figure alone, or dose = { low = "...", high = "..." }.'
        )
    return _amount(text)


def _amount(text: str) -> Quantity:
    dose = read_dose(text)
    if dose.basis:
        raise TextError(text, 'It says "of", and what the figures are of is said once, by the key "ingredient".', "Write the amount alone.")
    if dose.per == "day" or re.search(r"(?:/ ?| per | a )dose$", text.strip()):
        raise TextError(
            text,
            'It says "a day" or "a dose", which would be left unread here.',
            'Write the amount alone: per = "day" makes a dose daily, and max_daily is for 24 hours.',
        )
    if dose.kind.split("/")[0] not in (*DRUG, *COUNTED):
        raise TextError(text, "It is a volume, whose amount hangs on the strength.", 'Write the amount of medicine, such as "5 mg".')
    return dose.high


def _bound(text: str) -> None:
    if "time" in read_figure(text).kind.split("/"):
        raise TextError(
            text, "It is a rate, per minute or per hour.", 'Write an amount, such as "1 g" or "15 mg/kg"; rates stand in max_rate.'
        )


def _plain_amount(text: str) -> None:
    if "/" in read_figure(text).kind:
        raise TextError(text, "It is an amount per something, where only a plain amount fits.", 'Write it as "100 micrograms".')


def _mass_amount(text: str) -> None:
    _plain_amount(text)
    if read_figure(text).kind != "mass":
        raise TextError(text, "It is no mass, and the tables of inhaled medicines are in micrograms.", 'Write it as "400 micrograms".')


def _rate(text: str) -> None:
    if "time" not in read_figure(text).kind.split("/"):
        raise TextError(text, "It is no rate.", 'Write it per minute or per hour: "2 mg/kg/min".')


def read_concentration(text: str) -> Quantity:
    amount = read_amount(text, DRUG, "concentration", "10 mg/mL")
    if amount.kind.split("/")[1:] != ["volume"]:
        raise TextError(text, "A concentration is an amount of medicine in a volume.", 'Write it as "10 mg/mL".')
    return amount


def read_factor_end(text: str) -> Quantity:
    """One side of `equals`: a plain amount of mass, activity or substance."""
    amount = read_amount(text, DRUG, "amount", "1 mmol")
    if "/" in amount.kind:
        raise TextError(text, "It is an amount per something, where only a plain amount fits.", 'Write it as "1 mmol".')
    return amount


def read_share(text: str) -> Fraction:
    if not re.fullmatch(NUMBER + " ?%", text) or share(text) > 10:
        raise TextError(text[:40], "It is not a share from 0 % to 1000 %.", 'Write it as "10 %".')
    return share(text)


def read_edge(text: str) -> tuple[str, int]:
    """An edge of an age band, as (fact, whole number)."""
    if not re.fullmatch(r"(?:0|[1-9][0-9]{0,4}) (?:day|week|month|year)s?", text):
        raise TextError(text[:40], "It is not an edge of an age band.", 'Write one whole unit: "28 days", "3 months", "12 years".')
    fact, number = edge(text, "")
    if number > _OLDEST[fact]:
        raise TextError(text, "It is more than 120 years.", 'Write it as "18 years".')
    return fact, number


def _print_of_figures(text: str) -> None:
    if not re.fullmatch(r"[0-9a-f]{12}", text):
        raise TextError(text[:40], "It is not a print of figures.", 'It is written by "dosecheck formulary approve", never by hand.')


def _over(text: str) -> None:
    if text not in ("episode", "course"):
        read_time(text, "time of a total", "7 days")


_AMOUNT = rf"^ *{NUMBER} *[A-Za-zµμ%][^,]*$"  # a number, then its unit

DoseText = _text_of(_amount, _AMOUNT)
Figure = _text_of(read_figure, _AMOUNT)
Bound = _text_of(_bound, _AMOUNT)
PlainAmount = _text_of(_plain_amount, _AMOUNT)
MassAmount = _text_of(_mass_amount, _AMOUNT)
Rate = _text_of(_rate, _AMOUNT)
Concentration = _text_of(read_concentration, _AMOUNT)
FactorEnd = _text_of(read_factor_end, _AMOUNT)
Strength = _text_of(read_strength, _AMOUNT)
Volume = _text_of(read_volume, _AMOUNT)
Time = _text_of(lambda text: read_time(text, "time", "6 hours"), _AMOUNT)
Over = _text_of(_over)
Share = _text_of(read_share, rf"^{NUMBER} ?%$")
AgeEdge = _text_of(read_edge, r"^(?:0|[1-9][0-9]{0,4}) (?:day|week|month|year)s?$")
Weight = _text_of(read_weight, _AMOUNT)
Filtration = _text_of(read_filtration, _AMOUNT)
Weeks = _text_of(read_weeks, _AMOUNT)
Print = _text_of(_print_of_figures, r"^[0-9a-f]{12}$")
ZScore = _text_of(read_z, r"^ *-?[0-9](?:\.[1-9])? *$")


def either(first: tuple[type, Any], other: Any) -> Any:
    """A field of two forms, parted by their TOML type: `first` is (that type, the field), all else goes to `other`.

    The tags in "<>" stand in pydantic's place of a fault and are taken out again in `problems`.
    """
    kind, inner = first
    choose = Discriminator(lambda value: "<first>" if isinstance(value, kind) else "<other>")
    return Annotated[Annotated[inner, Tag("<first>")] | Annotated[other, Tag("<other>")], choose]
