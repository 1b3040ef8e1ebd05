"""One amount with its unit: weights, volumes, times, strengths, and the closed table of spellings."""

from __future__ import annotations

import re
from fractions import Fraction
from functools import lru_cache

from dosecheck.errors import TextError
from dosecheck.quantity import COUNTED, DRUG, UNITS, Quantity, factor, kind_of
from dosecheck.reading.numbers import NUMBER, a, number_fault, plain

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
    "charge": dict.fromkeys(("milliequivalent", "milliequivalents"), "mEq"),
    "weight": {
        **dict.fromkeys(("gram", "grams"), "g"),
        **dict.fromkeys(("kilogram", "kilograms"), "kg"),
        **dict.fromkeys(("lbs", "pound", "pounds"), "lb"),
        **dict.fromkeys(("ounce", "ounces"), "oz"),
        **dict.fromkeys(("stone", "stones"), "st"),
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
    "length": {**dict.fromkeys(("millimetre", "millimetres"), "mm"), "centimetre": "cm", "centimetres": "cm", "metre": "m", "metres": "m"},
    "surface": {"m²": "m2", "square metre": "m2", "square metres": "m2"},
    "energy": dict.fromkeys(("joule", "joules"), "J"),
    "creatinine": {
        **dict.fromkeys(("µmol/L", "μmol/L", "umol/L", "micromol/l", "micromoles/L", "micromole/liter"), "micromol/L"),
        **dict.fromkeys(("mg/dl", "milligram/deciliter"), "mg/dL"),
    },
    "filtration": dict.fromkeys(("mL/min/1.73 m²", "mL/min/1.73m2", "mL/min per 1.73 m2"), "mL/min/1.73 m2"),
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
    **dict.fromkeys(("gtt", "gtts"), 'Write "drops".'),
    **dict.fromkeys(("amp", "amps", "vial", "vials", "ampoule"), "Write the amount of medicine, or its volume."),
    **dict.fromkeys(("MU", "mega", "mega units", "megaunits", "million units", "million"), 'Write the number out: "1200000 units".'),
    **dict.fromkeys(("meq", "MEQ", "Meq"), 'Write "mEq", or mmol.'),
    **dict.fromkeys(("K", "KG", "Kg", "kgs", "kilo", "kilos"), 'Write "kg".'),
    "#": 'Write the weight in "kg".',
    **dict.fromkeys(("mo", "mos", "mth", "mths", "m", "M"), 'Write "months" (or "minutes") in full.'),
    **dict.fromkeys(("y", "yr", "yrs", "Y"), 'Write "years".'),
    **dict.fromkeys(("w", "wk", "wks"), 'Write "weeks".'),
    **dict.fromkeys(("d",), 'Write "days", or "a day" after a dose.'),
    "mEq": 'Write mmol, or the valence: "10 mEq (valence 2)".',
}


def explain(text: str, what: str, example: str) -> TextError:
    """Why `text` is no amount, in the order of what misleads most."""
    fault = number_fault(text, what)
    if fault:
        return fault
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
        return TextError(text, f'"{unit}" is not a unit of {a(what)}.', f'Write it as "{example}".')
    return TextError(text, f'The {what} has the unit "{unit}", which is not known here.', f'Write it as "{example}".')


def spelt(word: str, kinds: tuple[str, ...]) -> tuple[str, str] | None:
    for kind in kinds:
        name = SPELLINGS[kind].get(word)
        if name:
            return kind, name
    return None


_GLUED_IU = re.compile(r"[0-9](IU|U|u|iu)\b")
_AMOUNT = re.compile(rf"({NUMBER}) ?([^0-9].*)?$")


@lru_cache(maxsize=4096)
def unit_of(text: str, kinds: tuple[str, ...]) -> tuple[str, str] | None:
    """("mass/weight", "mg/kg") for "mg per kg"; None where a part is unknown.  `kinds` may stand on top."""
    whole = spelt(text, kinds)
    if whole:
        return whole
    parts = [part.strip() for part in re.split(r"/| per ", text)]
    top = spelt(parts[0], kinds)
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
    found = spelt(word, ("weight", "surface", "volume", "time", *COUNTED))
    if found is None or found in (("weight", "g"), ("weight", "oz"), ("weight", "st"), ("time", "seconds"), ("time", "weeks")):
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
    unit = unit_of(match.group(2), kinds) if match and match.group(2) else None
    if unit is None:
        raise explain(text, what, example)
    number = Fraction(match.group(1))
    if number == 0:
        raise TextError(text, f"The {what} is zero; it must be above zero.", f'Write it as "{example}".')
    return Quantity(number * factor(unit[1], unit[0]), unit[0], unit[1])


def _one_of(quantity: Quantity, allowed: tuple[str, ...], text: str | Quantity, what: str, example: str) -> Quantity:
    if quantity.kind not in allowed:
        raise TextError(str(text), f'"{quantity.unit}" is not a unit of {a(what)}.', f'Write it as "{example}".')
    return quantity


# Two units side by side: (larger, smaller, how the message names the smaller, how many make one of the larger, example).
_WEIGHT_PAIRS = (
    ("st", "lb", "pounds beside stones", 14, "2 st 3 lb", re.compile(rf"(0|[1-9][0-9]*) ?(?:st|stones?) ({NUMBER}) ?(?:lb|lbs|pounds?)")),
    ("lb", "oz", "ounces beside pounds", 16, "22 lb 4 oz", re.compile(rf"(0|[1-9][0-9]*) ?(?:lb|lbs|pounds?) ({NUMBER}) ?(?:oz|ounces?)")),
)


def _weight_of_two(text: str) -> Quantity | None:
    """ "2 st 3 lb" or "22 lb 4 oz", exactly; None where it is not so written."""
    for larger, smaller, named, most, example, pattern in _WEIGHT_PAIRS:
        found = pattern.fullmatch(text)
        if not found:
            continue
        rest = Fraction(found.group(2))
        if rest >= most:
            raise TextError(text, f"The {named} are below {most}.", f'Write it as "{example}", or in kg.')
        units = UNITS["weight"]
        return Quantity(int(found.group(1)) * units[larger] + rest * units[smaller], "weight", larger)
    return None


def read_weight(text: str | Quantity) -> Quantity:
    """A child's weight: kg or g; stones, pounds and ounces ("2 st 3 lb", "22 lb 4 oz") only with their unit."""
    weight = _weight_of_two(plain(text, "weight", "14.2 kg")) if isinstance(text, str) else None
    if weight is None:
        weight = _one_of(read_amount(text, ("weight",), "weight", "14.2 kg"), ("weight",), text, "weight", "14.2 kg")
    if weight.value == 0 or weight.value > 500 * UNITS["weight"]["kg"]:
        raise TextError(str(text), "A child's weight is above zero and at most 500 kg.", 'Write it as "14.2 kg".')
    return weight


def read_length(text: str | Quantity) -> Quantity:
    """A height, 20 to 250 cm."""
    height = _one_of(read_amount(text, ("length",), "height", "96 cm"), ("length",), text, "height", "96 cm")
    if not 20 <= height.to("cm").number <= 250:
        raise TextError(str(text), "A height is from 20 to 250 cm.", 'Write it as "96 cm".')
    return height


def read_creatinine(text: str | Quantity) -> Quantity:
    """Creatinine in a child's blood, in micromol/L or mg/dL; what no child has is a slip of the unit or of the point."""
    creatinine = read_amount(text, ("creatinine",), "creatinine", "62 micromol/L")
    if not 5 <= creatinine.to("micromol/L").number <= 3000:
        raise TextError(
            str(text),
            "A creatinine is from 5 to 3,000 micromol/L, which is about 0.06 to 34 mg/dL.",
            'Look at the number and at its unit: "62 micromol/L" or "0.7 mg/dL".',
        )
    return creatinine


def read_filtration(text: str | Quantity) -> Quantity:
    """An edge of kidney function (GFR), for a child's surface of 1.73 m2."""
    return read_amount(text, ("filtration",), "kidney function", "60 mL/min/1.73 m2")


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
