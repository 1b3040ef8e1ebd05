"""Quantities become text here: safe number writing, rounded once, and said so.

A leading zero, no trailing zero, a space before the unit, "micrograms" and "units" in full, thousands separated.
What does not end within six decimals is rounded and marked "about"; the most that is allowed is rounded down, so that
what is printed may be given.
"""

from __future__ import annotations

from fractions import Fraction
from math import floor

from dosecheck.quantity import UNITS, Quantity, factor

_DECIMALS = 6
_SIGNIFICANT = 4


def show_number(number: Fraction | int, down: bool = False) -> str:
    """ "1,234.5"; "about 16.9" where the exact number does not end within six decimals (`down`: never rounded up)."""
    number = Fraction(number)
    scaled = number * 10**_DECIMALS
    if scaled.denominator == 1:
        return _decimal(int(scaled), _DECIMALS)
    places = _DECIMALS
    while places > 0 and abs(number) * 10**places >= 10**_SIGNIFICANT:
        places -= 1
    while abs(number) * 10**places < 10 ** (_SIGNIFICANT - 1):
        places += 1
    return "about " + _decimal((floor if down else round)(number * 10**places), places)


def _decimal(scaled: int, places: int) -> str:
    whole, rest = divmod(abs(scaled), 10**places)
    decimals = f"{rest:0{places}d}".rstrip("0") if places else ""
    return "-" * (scaled < 0) + f"{whole:,}" + f".{decimals}" * bool(decimals)


def show(quantity: Quantity, down: bool = False) -> str:
    """ "213 mg", "about 16.9 mg/kg", "1 tablet", "6 hours": in its own unit, or the next that reads better."""
    if quantity.unit == "st":
        return _stones(quantity)
    quantity = _readable(quantity)
    number = quantity.number
    return f"{show_number(number, down)} {show_unit(quantity.unit, number)}"


def show_as_asked(quantity: Quantity) -> str:
    """In its own unit, however small or large the number is: "0.0005 g" where an exercise asks for grams."""
    return f"{show_number(quantity.number)} {show_unit(quantity.unit, quantity.number)}"


def _stones(weight: Quantity) -> str:
    """ "2 st 3 lb": a part of a stone is said in pounds."""
    stones, rest = divmod(weight.value, UNITS["weight"]["st"])
    pounds = show(Quantity(rest, "weight", "lb")) if rest else ""
    about = "about " * pounds.startswith("about ")
    return f"{about}{show_number(stones)} st {pounds.removeprefix('about ')}".rstrip()


def show_unit(unit: str, number: Fraction | int = 2) -> str:
    """The unit as printed after `number`: "1 unit", "2 units", "units/kg"."""
    top, stroke, below = unit.partition("/")
    if number == 1 and len(top) > 2:
        top = "suppository" if top == "suppositories" else top.removesuffix("s")
    return top + stroke + below


def _readable(quantity: Quantity) -> Quantity:
    """Another unit of the kind when the number would be below 0.01 (or a rounded one below 1), or at or above 10 000.

    Syringes, pumps and wards count no microlitres, micromol or nanograms where they can help it: a volume stays in mL down
    to 0.001 mL, a rate of flow and mmol stay as they are, and micrograms become nanograms below 0.01 only.
    """
    _, stroke, below = quantity.unit.partition("/")
    kind = quantity.kind.split("/")[0]
    flow = kind == "volume" and "time" in quantity.kind
    if kind not in ("mass", "activity", "volume", "substance") or flow or not quantity.value:
        return quantity
    number = quantity.number
    exact = (number * 10**_DECIMALS).denominator == 1 or quantity.unit.startswith("micrograms")
    least = Fraction(1, 1000) if kind == "volume" else Fraction(1, 100) if exact else 1
    if least <= number < 10_000:
        return quantity
    units = sorted((u for u in UNITS[kind] if u != "micromol"), key=UNITS[kind].__getitem__)
    fitting = [u for u in units if quantity.value / factor(u + stroke + below, quantity.kind) >= 1] or units[:1]
    best = fitting[-1]
    if kind == "activity":
        best = "units"
    return quantity.to(best + stroke + below)


def show_seconds(seconds: Fraction | int) -> str:
    """A length of time in the largest unit that it fills: "6 hours", "4.8 hours", "30 minutes", "5 days"."""
    seconds = Fraction(seconds)
    hours = Fraction(3600)
    if seconds >= 48 * hours and (seconds / 86_400).denominator == 1:
        unit = "days"
    elif seconds >= hours:
        unit = "hours"
    else:
        unit = "minutes" if seconds >= 60 else "seconds"
    return show(Quantity(seconds, "time", unit))


def show_share(share: Fraction) -> str:
    """A part of a whole: "8 %"."""
    return f"{show_number(share * 100)} %"


def show_weeks(days: int) -> str:
    """Gestation: "31 weeks" or "31 weeks 4 days"."""
    weeks, rest = divmod(days, 7)
    return f"{weeks} weeks" + (f" {rest} day{'s' * (rest != 1)}" if rest else "")


def show_ordinal(number: int) -> str:
    """ "1st", "12th", "53rd"."""
    ending = {1: "st", 2: "nd", 3: "rd"}.get(number % 10, "th")
    return f"{number}{'th' if number % 100 in (11, 12, 13) else ending}"


def show_weight(weight: Quantity) -> str:
    """In kg or g; a weight given in stones or pounds is shown with both figures."""
    if weight.unit in ("st", "lb", "oz"):
        return f"{show(weight)} ({show(weight.to('kg'))})"
    return show(weight)


def show_length(seconds: Fraction | int) -> str:
    """A length of time as it is said aloud: "3 hours 20 minutes", "2 days 4 hours"; what is no whole minute as a decimal."""
    minutes, odd = divmod(Fraction(seconds), 60)
    if odd or not minutes:
        return show_seconds(seconds)
    parts = ((minutes // 1440, "days"), (minutes // 60 % 24, "hours"), (minutes % 60, "minutes"))
    if minutes < 2880:
        parts = ((minutes // 60, "hours"), (minutes % 60, "minutes"))
    return " ".join(f"{number} {show_unit(unit, number)}" for number, unit in parts if number)


def keep_together(text: str) -> str:
    """With hard spaces, so that digits stay on the line of the unit (or "%") that follows them, and "10 000" is never parted."""
    words = text.split(" ")
    out = words[:1]
    for word in words[1:]:
        thousands = word[:3].isdigit() and len(word[:3]) == 3 and not word[3:4].isdigit()
        joined = out[-1][-1:].isdigit() and (word[:1].isalpha() or word.startswith("%") or thousands)
        out[-1:] = [out[-1] + "\u00a0" + word] if joined else [out[-1], word]
    return " ".join(out)
