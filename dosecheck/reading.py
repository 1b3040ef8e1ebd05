"""Text becomes a quantity here and nowhere else, strictly.

One number pattern and one closed table of spellings.  What is doubtful is refused with what to write instead;
nothing is repaired in silence.  The command line, files of orders, the formulary and the Python front door all
read through these functions.  Names (medicines, routes) are matched by their owners; ages become days and months
in `body/age.py`.
"""

from __future__ import annotations

import re
from datetime import date
from fractions import Fraction
from functools import lru_cache
from typing import NamedTuple

from dosecheck.errors import TextError
from dosecheck.quantity import COUNTED, DRUG, UNITS, Quantity, factor, kind_of

NUMBER = r"(?:0|[1-9][0-9]{0,11})(?:\.[0-9]{1,12})?"
_NUMBER = re.compile(NUMBER)
MISSING = frozenset({"", "-", "--", "?", "n/a", "na", "nan", "none", "null", "nil", "unknown", "not known", "tbc", "tba"})

# Every accepted spelling, beside the names that quantity.py shows.  Closed: anything else is refused.
SPELLINGS: dict[str, dict[str, str]] = {
    "mass": {
        **dict.fromkeys(("ng", "nanogram"), "nanograms"),
        **dict.fromkeys(("mcg", "µg", "μg", "ug", "microgram"), "micrograms"),
        **dict.fromkeys(("milligram", "milligrams"), "mg"),
        **dict.fromkeys(("gram", "grams"), "g"),
    },
    "activity": {
        "milliunit": "milliunits",
        **dict.fromkeys(("unit", "IU", "international unit", "international units"), "units"),
    },
    "substance": {"millimol": "mmol", "millimole": "mmol", "millimoles": "mmol", "micromole": "micromol", "micromoles": "micromol"},
    "weight": {
        **dict.fromkeys(("gram", "grams"), "g"),
        **dict.fromkeys(("kilogram", "kilograms"), "kg"),
        **dict.fromkeys(("lbs", "pound", "pounds"), "lb"),
        **dict.fromkeys(("ounce", "ounces"), "oz"),
    },
    "volume": {
        **dict.fromkeys(("microlitre", "microliter", "microliters"), "microlitres"),
        **dict.fromkeys(("ml", "millilitre", "millilitres", "milliliter", "milliliters"), "mL"),
        **dict.fromkeys(("litre", "litres", "liter", "liters"), "L"),
    },
    "time": {
        **dict.fromkeys(("second",), "seconds"),
        **dict.fromkeys(("min", "mins", "minute"), "minutes"),
        **dict.fromkeys(("h", "hr", "hrs", "hour"), "hours"),
        **dict.fromkeys(("day",), "days"),
        **dict.fromkeys(("week",), "weeks"),
    },
    "length": {"centimetre": "cm", "centimetres": "cm", "metre": "m", "metres": "m"},
    "surface": {"m²": "m2", "square metre": "m2", "square metres": "m2"},
    **{thing: {thing: next(iter(UNITS[thing]))} for thing in COUNTED},
}
for _kind, _names in UNITS.items():
    SPELLINGS[_kind].update({name: name for name in _names})

_HINTS = {
    **dict.fromkeys(("u", "U", "iu"), 'Write "units" in full.'),
    **dict.fromkeys(("mgs", "mg.", "Mg", "MG", "mG", "mgm"), 'Write "mg".'),
    **dict.fromkeys(("gm", "gms", "G"), 'Write "g".'),
    **dict.fromkeys(("cc", "mls", "ML", "Ml", "mL."), 'Write "mL".'),
    "l": 'Write "L".',
    **dict.fromkeys(("MCG", "mcgs", "ugs", "UG", "Mcg"), 'Write "micrograms".'),
    **dict.fromkeys(("tsp", "teaspoon", "teaspoons", "tbsp", "spoon"), 'A spoon is no measure: write the volume in "mL".'),
    **dict.fromkeys(("tab", "tabs"), 'Write "tablets".'),
    **dict.fromkeys(("amp", "amps", "vial", "vials", "ampoule"), "Write the amount of medicine, or its volume."),
    **dict.fromkeys(("K", "KG", "Kg", "kgs", "kilo", "kilos"), 'Write "kg".'),
    **dict.fromkeys(("st", "stone", "#"), 'Write the weight in "kg".'),
    **dict.fromkeys(("mo", "mos", "mth", "mths", "m", "M"), 'Write "months" (or "minutes") in full.'),
    **dict.fromkeys(("y", "yr", "yrs", "Y"), 'Write "years".'),
    **dict.fromkeys(("w", "wk", "wks"), 'Write "weeks".'),
    **dict.fromkeys(("d",), 'Write "days", or "a day" after a dose.'),
    "mEq": 'Write mmol, or the valence: "10 mEq (valence 2)".',
}
_VISIBLE = frozenset(map(chr, range(32, 127))) | set("µμ²")


class Dose(NamedTuple):
    """A dose as written: `low` to `high` (equal for a single figure), per "dose", "day" or "time" (an infusion)."""

    low: Quantity
    high: Quantity
    per: str
    basis: str | None

    @property
    def kind(self) -> str:
        return self.high.kind


class Frequency(NamedTuple):
    """How often: the gap between doses (shortest, longest, in seconds), or doses a day, or one dose only."""

    gap: tuple[Fraction, Fraction] | None = None
    times: int | None = None
    once: bool = False


class AgeParts(NamedTuple):
    """An age in completed units, as somebody states it; a part that is not stated is None."""

    years: int | None = None
    months: int | None = None
    weeks: int | None = None
    days: int | None = None


def is_missing(text: str | None) -> bool:
    """Blank texts and place-holders such as "n/a" or "?" count as not given, in every field."""
    return text is None or (isinstance(text, str) and text.strip().lower() in MISSING)


def strange_characters(text: str) -> str | None:
    """Names the first hidden or foreign character by its code, or None."""
    for char in text:
        if char not in _VISIBLE:
            return f"it holds the character U+{ord(char):04X}, which is hidden or foreign."
    return None


def _number_given(value: object) -> str:
    """A bare number for a message; Python refuses to print one of thousands of digits."""
    return str(value) if isinstance(value, (int, float)) and abs(value) < 10**12 else ""


def short_text(text: str, what: str, example: str) -> str:
    """The text itself, or a TextError when it is none (a bare number has no unit) or is of sheer length."""
    if not isinstance(text, str):
        raise TextError(_number_given(text), f"The {what} is a bare {type(text).__name__}, not text.", f'Write "{example}".')
    if len(text) > 200:
        raise TextError(ascii(text[:40])[1:-1] + " ...", f"The {what} has {len(text)} characters.", f'Write it as "{example}".')
    return text


def plain(text: str, what: str, example: str) -> str:
    """The text without outer spaces, or a TextError for hidden characters, missing text and sheer length."""
    strange = strange_characters(short_text(text, what, example))
    if strange:
        raise TextError(ascii(text)[1:-1], f"The {what} cannot be read: {strange}", f'Type it again: "{example}".')
    if is_missing(text):
        raise TextError(text.strip(), f"The {what} is missing.", f'Write "{example}".')
    return " ".join(text.split())


_NUMBER_FAULTS = (
    (r"[0-9],[0-9]{3}(?![0-9])", "has a comma, which may be a thousands mark or a decimal comma.",
     "Write thousands without a mark (1000) and decimals with a point (1.5)."),
    (r"[0-9],[0-9]", "has a comma.", "Write the decimal with a point: 1.5."),
    (r"[0-9] [0-9]", "has a space inside the number.", "Write it without the space: 1000."),
    (r"(?<![0-9.])\.[0-9]", "starts with a point, which is easily missed.", "Write the zero: 0.5."),
    (r"(?<![0-9.])0[0-9]", "starts with a needless zero.", "Write the number without it."),
    (r"[0-9][eE][+-]?[0-9]", "is in exponent form.", "Write the number out: 1000."),
    (r"[0-9]_[0-9]", "has a mark inside the number.", "Write the digits alone."),
    (r"^\s*[-+]", "has a sign.", "Write the number without a sign; it must be above zero."),
    (r"[0-9OolI]*[0-9][OolI]|[OolI][0-9]", "mixes letters and digits.", "Look for the letter O or l where 0 or 1 is meant."),
    (r"^\s*[~<>=]|\?|about|approx", "is not exact.", "Write one figure, or a range: \"2 to 4 ...\"."),
    (r"[0-9]\s*/\s*[0-9]", "is a fraction.", "Write it as a decimal: 0.5."),
    (r"[0-9]{13,}", "has more than 12 digits.", "Look at the number again."),
    (r"[0-9]\s*-\s*[0-9]", "has a dash, which may be read as a minus.", 'Write a range with "to".'),
)  # fmt: skip


def _explain(text: str, what: str, example: str) -> TextError:
    """Why `text` is no amount, in the order of what misleads most."""
    for pattern, why, write in _NUMBER_FAULTS:
        if re.search(pattern, text):
            return TextError(text, f"The {what} {why}", write)
    if re.match(r"(nan|inf|infinity)\b", text, re.I):
        return TextError(text, f"The {what} is not a number.", f'Write "{example}".')
    bare = re.fullmatch(NUMBER, text)
    if bare:
        return TextError(text, f"The {what} has no unit.", f'Write the unit too, such as "{example}".')
    unit = re.match(NUMBER + r"\s*(\S.*)$", text)
    if unit:
        return _unknown_unit(text, unit.group(1), what, example)
    return TextError(text, f"The {what} does not start with a number.", f'Write it as "{example}".')


def _unknown_unit(text: str, unit: str, what: str, example: str) -> TextError:
    for part in re.split(r"/| per | in | a day", unit):
        word = re.sub(rf"^{NUMBER}\s*", "", part.strip())
        if word in _HINTS:
            return TextError(text, f'The {what} has the unit "{word}", which can be misread.', _HINTS[word])
    known = {spelling for names in SPELLINGS.values() for spelling in names}
    if unit in known:
        return TextError(text, f'"{unit}" is not a unit of a {what}.', f'Write it as "{example}".')
    return TextError(text, f'The {what} has the unit "{unit}", which is not known here.', f'Write it as "{example}".')


def _spelt(word: str, kinds: tuple[str, ...]) -> tuple[str, str] | None:
    for kind in kinds:
        name = SPELLINGS[kind].get(word)
        if name:
            return kind, name
    return None


_GLUED_IU = re.compile(r"[0-9](IU|U|u|iu)\b")
_AMOUNT = re.compile(rf"({NUMBER}) ?([^0-9].*)?$")


@lru_cache(maxsize=4096)
def _unit(text: str, kinds: tuple[str, ...]) -> tuple[str, str] | None:
    """("mass/weight", "mg/kg") for "mg per kg"; None where a part is unknown.  `kinds` may stand on top."""
    parts = [part.strip() for part in re.split(r"/| per ", text)]
    top = _spelt(parts[0], kinds)
    if top is None:
        return None
    below = []
    for part in parts[1:]:
        found = _below(part)
        if found is None or found[0] in [kind for kind, _ in below]:
            return None
        below.append(found)
    units = "/".join([top[1], *(short for _, short in below)])
    return kind_of(top[0], *(kind for kind, _ in below)), units


def _below(word: str) -> tuple[str, str] | None:
    """What may stand below the stroke: kg or lb of child, m2, mL or L, min, h, day, and counted things."""
    found = _spelt(word, ("weight", "surface", "volume", "time", *COUNTED))
    if found is None or found in (("weight", "g"), ("weight", "oz"), ("time", "seconds"), ("time", "weeks")):
        return None
    short = {"minutes": "min", "hours": "h", "days": "day"}.get(found[1], found[1])
    return found[0], found[0] if found[0] in COUNTED else short


def read_amount(text: str | Quantity, kinds: tuple[str, ...], what: str, example: str) -> Quantity:
    """One amount above zero, with its unit, of one of `kinds` (on top of a ratio, if it is one).

    A quantity passes as it is, when its kind is right and it is above zero.

    Raises:
        TextError: with what to write instead.
    """
    if isinstance(text, Quantity):
        if text.kind.split("/")[0] not in kinds or text.value <= 0:
            raise TextError(str(text), f"The {what} is of another kind, or not above zero.", f'Give a quantity such as "{example}".')
        return text
    text = plain(text, what, example)
    if _GLUED_IU.search(text):
        raise TextError(text, f"The {what} has U or IU run together with the number.", 'Write "units" in full after a space.')
    match = _AMOUNT.match(text)
    unit = _unit(match.group(2), kinds) if match and match.group(2) else None
    if unit is None:
        raise _explain(text, what, example)
    number = Fraction(match.group(1))
    if number == 0:
        raise TextError(text, f"The {what} is zero; it must be above zero.", f'Write it as "{example}".')
    return Quantity(number * factor(unit[1], unit[0]), unit[0], unit[1])


def _one_of(quantity: Quantity, allowed: tuple[str, ...], text: str | Quantity, what: str, example: str) -> Quantity:
    if quantity.kind not in allowed:
        raise TextError(str(text), f'"{quantity.unit}" is not a unit of a {what}.', f'Write it as "{example}".')
    return quantity


_POUNDS = re.compile(rf"(0|[1-9][0-9]*) ?(?:lb|lbs|pounds?) ({NUMBER}) ?(?:oz|ounces?)")


def read_weight(text: str | Quantity) -> Quantity:
    """A child's weight: kg or g; pounds and ounces ("22 lb 4 oz") only with their unit."""
    pounds = isinstance(text, str) and _POUNDS.fullmatch(plain(text, "weight", "14.2 kg"))
    if pounds:
        ounces = Fraction(pounds.group(2))
        if ounces >= 16:
            raise TextError(text, "The ounces beside pounds are below 16.", 'Write it as "22 lb 4 oz", or in kg.')
        weight = Quantity(int(pounds.group(1)) * UNITS["weight"]["lb"] + ounces * UNITS["weight"]["oz"], "weight", "lb")
    else:
        weight = _one_of(read_amount(text, ("weight",), "weight", "14.2 kg"), ("weight",), text, "weight", "14.2 kg")
    if weight.value == 0 or weight.value > 500 * UNITS["weight"]["kg"]:
        raise TextError(str(text), "A child's weight is above zero and at most 500 kg.", 'Write it as "14.2 kg".')
    return weight


def read_length(text: str | Quantity) -> Quantity:
    """A height: cm or m, at most 250 cm."""
    height = _one_of(read_amount(text, ("length",), "height", "96 cm"), ("length",), text, "height", "96 cm")
    if height.value > 250 * UNITS["length"]["cm"]:
        raise TextError(str(text), "A height is at most 250 cm.", 'Write it as "96 cm".')
    return height


def read_volume(text: str | Quantity) -> Quantity:
    """A volume, such as what a dose is made up to."""
    return _one_of(read_amount(text, ("volume",), "volume", "50 mL"), ("volume",), text, "volume", "50 mL")


def read_time(text: str | Quantity, what: str = "time", example: str = "30 minutes") -> Quantity:
    """A length of time in seconds, minutes, hours, days or weeks (months differ in length: refused)."""
    return _one_of(read_amount(text, ("time",), what, example), ("time",), text, what, example)


def read_strength(text: str) -> Quantity:
    """What a product holds: per volume, per counted thing, "1 in 1000" (g in mL) or "0.9 %" (g in 100 mL)."""
    text = plain(text, "strength", "120 mg in 5 mL")
    ratio = re.fullmatch(r"1 in ([1-9][0-9]{0,6})", text) or re.fullmatch(rf"({NUMBER}) ?%", text)
    if ratio:
        per_ml = Fraction(1, int(ratio.group(1))) if text.startswith("1 in") else Fraction(ratio.group(1)) / 100
        if per_ml == 0:
            raise TextError(text, "The strength is zero.", 'Write it as "0.9 %".')
        return Quantity(per_ml * factor("g/mL", "mass/volume"), "mass/volume", "mg/mL")
    match = re.fullmatch(rf"(.+?)(?: in |/| per )({NUMBER}) ?([^0-9]+)", text)
    if match:
        top = read_amount(match.group(1), DRUG, "strength", "120 mg in 5 mL")
        below = read_amount(f"{match.group(2)} {match.group(3)}", ("volume", *COUNTED), "strength", "120 mg in 5 mL")
        strength = top / below if "/" not in top.kind + below.kind else None
    else:
        strength = read_amount(text, DRUG, "strength", "24 mg/mL")
    if strength is None or strength.kind.split("/")[1:] not in [["volume"], *([c] for c in COUNTED)]:
        raise TextError(text, "A strength is an amount of medicine in a volume or in one counted thing.", 'Write it as "120 mg in 5 mL".')
    return strength


_ENDING = re.compile(r" ?(?:/ ?|\bper |\ba )(day|dose)s?$")
_OFTEN = re.compile(r"\b(?:once|twice|times|daily|every|hourly)\b", re.I)
_DOSE_TOPS = (*DRUG, "volume", *COUNTED)
_DOSE_EXAMPLE = "240 mg"


def read_dose(text: str | Quantity) -> Dose:
    """A dose: "240 mg", "2 to 10 puffs", "15 mg/kg", "600 mg a day", "5 mL", "80 mg of trimethoprim".

    One administration unless it ends in "a day" (or "/day"); an infusion is per minute or per hour.
    """
    if isinstance(text, Quantity):
        low = high = read_amount(text, _DOSE_TOPS, "dose", _DOSE_EXAMPLE)
        per = basis = None
    else:
        text = plain(text, "dose", _DOSE_EXAMPLE)
        body, basis, per = _basis_and_per(text)
        low, high = _range(body, text, per)
    below = set(high.kind.split("/")[1:])
    if not (below <= {"weight", "time"} or below <= {"surface", "time"}) or ("time" in below and per):
        raise TextError(str(text), f'"{high.unit}" is not a unit of a dose.', f'Write it as "{_DOSE_EXAMPLE}" or "15 mg/kg".')
    if "day" in (low.unit + "/" + high.unit).split("/"):  # by the day is never an infusion
        raise TextError(str(text), "The dose has the day inside its unit.", 'Write the day last: "15 mg/kg a day".')
    return Dose(low, high, "time" if "time" in below else per or "dose", basis)


def _ending(text: str) -> tuple[str, str | None]:
    """Splits off "a day", "per day", "/day" (or dose)."""
    found = _ENDING.search(text)
    return (text[: found.start()], found.group(1)) if found else (text, None)


def _basis_and_per(text: str) -> tuple[str, str | None, str | None]:
    """("80 mg", "trimethoprim", "day") of "80 mg of trimethoprim a day", as of "80 mg a day of trimethoprim"."""
    rest, last = _ending(text)
    if _OFTEN.search(rest):
        raise TextError(text, "The dose also says how often.", 'Write one dose here, and how often in its own field: "6 hours".')
    body, basis = _basis(rest)
    body, first = _ending(body)
    if first and last:
        raise TextError(text, f'The dose says both "a {first}" and "a {last}".', 'Write one of them, last: "600 mg a day".')
    return body, basis, first or last


def _basis(text: str) -> tuple[str, str | None]:
    """Splits "80 mg of trimethoprim"; "mg PE" is the labels' own way to write phenytoin equivalents."""
    body, _, basis = text.partition(" of ")
    if not basis and re.search(r"\bmg PE\b", body):
        return body.replace("mg PE", "mg"), "PE"
    return body, basis.strip() or None


def _range(body: str, text: str, per: str | None) -> tuple[Quantity, Quantity]:
    ends = re.fullmatch(rf"({NUMBER}) ?(\D.*?)? to ({NUMBER}) ?(\D.*)", body)
    if not ends:
        milliequivalents = re.fullmatch(rf"({NUMBER}) ?mEq(/kg)? \(valence ([123])\)", body)
        if milliequivalents:
            number, per_kg, valence = milliequivalents.groups()
            amount = read_amount(f"{number} mmol{per_kg or ''}", ("substance",), "dose", "10 mmol") / int(valence)
        else:
            amount = read_amount(body, _DOSE_TOPS, "dose", _DOSE_EXAMPLE)
        return amount, amount
    low_text, low_per = _ending(f"{ends.group(1)} {ends.group(2) or ends.group(4)}")
    low = read_amount(low_text, _DOSE_TOPS, "dose", _DOSE_EXAMPLE)
    high = read_amount(f"{ends.group(3)} {ends.group(4)}", _DOSE_TOPS, "dose", _DOSE_EXAMPLE)
    if low.kind != high.kind or high < low or low_per not in (None, per):
        raise TextError(text, "The range does not run from a smaller to a larger amount of one kind.", 'Write it as "2 to 10 puffs".')
    return low, high


_WORDS = {"once": 1, "twice": 2, "two": 2, "three": 3, "four": 4, "five": 5, "six": 6, "one": 1}
_TIMES = re.compile(r"(?:([1-9][0-9]{0,2})|(one|two|three|four|five|six)) times? (?:a day|per day|daily)|(once|twice) (?:a day|daily)")
_GAP = re.compile(rf"(?:every )?({NUMBER})(?: to ({NUMBER}))? ?(?:hourly|([a-z]+))")
_FREQUENCY_EXAMPLE = "6 hours"


def _lower_first(text: str) -> str:
    """Words with a capital first letter ("Every 6 Hours") are the same words; all capitals are left to be refused."""
    return re.sub(r"\b[A-Z](?=[a-z]{2})", lambda match: match.group().lower(), text)


def read_frequency(text: str) -> Frequency:
    """How often: "6 hours", "every 4 to 6 hours", "6 hourly", "4 times a day", "once"."""
    text = _lower_first(plain(text, "frequency", _FREQUENCY_EXAMPLE))
    if text == "once":
        return Frequency(once=True)
    times = _TIMES.fullmatch(text)
    if times:
        count = times.group(1) or _WORDS[times.group(2) or times.group(3)]
        return Frequency(times=_count(int(count)))
    gap = _GAP.fullmatch(text)
    unit = gap and _spelt(gap.group(3) or "hours", ("time",))
    if not unit:
        raise _frequency_error(text)
    if gap.group(3) in ("day", "week") and (gap.group(2) or gap.group(1)) != "1":
        raise TextError(text, f'"{text}" has two readings.', 'Write "3 times a day" or "every 3 days".')
    ends = [Fraction(end) * UNITS["time"][unit[1]] for end in (gap.group(1), gap.group(2) or gap.group(1))]
    if not 0 < ends[0] <= ends[1]:
        raise TextError(text, "The frequency does not run from a shorter to a longer time above zero.", 'Write it as "4 to 6 hours".')
    if ends[0] < 288:
        raise TextError(text, "Doses this close are more than 300 in a day.", "Write an infusion as a dose per minute or per hour.")
    return Frequency(gap=(ends[0], ends[1]))


def _frequency_error(text: str) -> TextError:
    if re.fullmatch(r"[a-zA-Z.]{2,4}|q ?[0-9].*|[0-9]+/[0-9]+", text):
        return TextError(text, f'"{text}" is a short form with more than one reading.',
                         'Write it out: "6 hours", "4 times a day" or "once". A file of orders can map it: --columns.')  # fmt: skip
    explained = _explain(text, "frequency", _FREQUENCY_EXAMPLE)
    if "does not start" in explained.why or "no unit" in explained.why or "unit" in explained.why:
        return TextError(text, "The frequency is not understood.", 'Write "6 hours", "4 times a day" or "once".')
    return explained


def _count(number: int) -> int:
    if not 1 <= number <= 300:
        raise TextError(_number_given(number), "The number of doses is not from 1 to 300.", 'Write it as "4".')
    return number


def read_count(text: str | int, what: str = "number of doses") -> int:
    """A whole number of doses, 1 to 300: "4" or "4 times a day"."""
    if type(text) is int:
        return _count(text)
    body = plain(text, what, "4")
    times = _TIMES.fullmatch(body)
    if times:
        return read_frequency(body).times
    if not re.fullmatch(r"[1-9][0-9]{0,5}", body):
        raise TextError(body, f"The {what} is not a whole number from 1 to 300.", 'Write it as "4".')
    return _count(int(body))


_AGE_PART = re.compile(r"(0|[1-9][0-9]{0,4}) ?(years?|months?|weeks?|days?)(?:,? (?:and )?|$)")


def read_age(text: str) -> AgeParts:
    """An age in whole units, largest first: "3 years 2 months", "18 months", "5 weeks", "12 days"."""
    text = _lower_first(plain(text, "age", "3 years 2 months"))
    parts: dict[str, int] = {}
    place = 0
    order = ("years", "months", "weeks", "days")
    while place < len(text):
        match = _AGE_PART.match(text, place)
        unit = match and match.group(2).rstrip("s") + "s"
        if not match or (parts and order.index(unit) <= max(order.index(u) for u in parts)):
            raise _age_error(text)
        parts[unit] = int(match.group(1))
        place = match.end()
    if parts.get("years", 0) > 120 or parts.get("months", 0) > 1440 or parts.get("days", 0) > 44_000:
        raise TextError(text, "The age is more than 120 years.", 'Write it as "3 years 2 months".')
    return AgeParts(**parts)


def _age_error(text: str) -> TextError:
    if re.fullmatch(r"[0-9]+", text):
        return TextError(text, "The age has no unit.", 'Write "18 months" or "18 years".')
    if re.search(r"[0-9]\.[0-9]", text):
        return TextError(text, "The age is a decimal.", 'Write whole units: "2 years 6 months".')
    return TextError(text, "The age is not understood.",
                     'Write whole units in full, largest first: "3 years 2 months", "18 months", "5 weeks".')  # fmt: skip


def read_weeks(text: str, what: str = "gestation") -> int:
    """Gestation or post-menstrual age in days: "31 weeks", "31 weeks 4 days"; 20 to 50 weeks."""
    text = plain(text, what, "31 weeks")
    match = re.fullmatch(r"([0-9]{2}) weeks?(?: (?:and )?([0-6]) days?)?", text)
    if not match or not 20 <= int(match.group(1)) <= 50:
        raise TextError(text, f"The {what} is not understood.", 'Write completed weeks from 20 to 50: "31 weeks" or "31 weeks 4 days".')
    return 7 * int(match.group(1)) + int(match.group(2) or 0)


def read_date(text: str | date, what: str = "date") -> date:
    """A calendar date as YYYY-MM-DD, nothing else."""
    if type(text) is date:
        return text
    text = plain(text, what, "2024-02-29")
    if not re.fullmatch(r"[0-9]{4}-[0-9]{2}-[0-9]{2}", text):
        raise TextError(text, f"The {what} is not written as year-month-day.", 'Write it as "2024-02-29".')
    try:
        return date.fromisoformat(text)
    except ValueError:
        raise TextError(text, f"There is no such {what}.", "Look at the month and the day.") from None


def read_yes(text: str | bool, what: str) -> bool:
    """ "yes" or "no" """
    if isinstance(text, bool):
        return text
    if plain(text, what, "yes") not in ("yes", "no"):
        raise TextError(text, f'The {what} is neither "yes" nor "no".', 'Write "yes" or "no".')
    return text.strip() == "yes"
