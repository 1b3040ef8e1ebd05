"""The dose of a drawn order for the oracle's tests: at a limit of a regimen, beside it, or odd in some other way.

Reads the same plain TOML dicts as the oracle; the rest of an order is in oracle_orders.py.
"""

from __future__ import annotations

from fractions import Fraction
from math import ceil
from typing import Any

import oracle_words as words
from hypothesis import strategies as st
from oracle_choose import is_infusion, rows
from oracle_facts import DRUGS, bounds, high_end, low_end, rounded_root
from oracle_words import DAY, Amount

# What can be odd about an order; the more times a thing stands here, the more often it is drawn.
ODD = (
    "age at an edge", "age of another row", "age by dates", "age by dates", "no age", "weight at an edge", "no weight",
    "any weight", "weight not measured", "old weight", "no height", "gestation", "gestation", "no purpose", "no purpose",
    "no purpose", "other purpose", "no step", "no step", "other step", "no condition", "other condition", "no product",
    "other product", "unknown product", "other route", "other name", "date", "no dose", "tenfold", "margin", "other limit",
    "other limit", "range", "range", "a day", "a day", "per size", "other unit", "by product", "by product", "of", "frequency",
    "frequency", "range of times", "range of times", "no frequency", "at most", "at most", "how fast", "how fast", "volume",
    "course", "course", "course", "once", "every",
)  # fmt: skip
UNITS = {
    "mass": {"mg": Fraction(1), "micrograms": Fraction(1, 1000), "g": Fraction(1000)},
    "activity": {"units": Fraction(1), "milliunits": Fraction(1, 1000)},
    "substance": {"mmol": Fraction(1)},
    "volume": {"mL": Fraction(1)},
}
MARGINS = [Fraction(n, 100) for n in (50, 89, 90, 91, 109, 110, 111, 120, 125, 126, 133, 267)]


def decimal(value: Fraction, places: int) -> str:
    """`value` cut to so many places and never zero, without a trailing zero."""
    units = max(1, int(value * 10**places))
    whole, rest = divmod(units, 10**places)
    text = f"{whole}.{rest:0{places}d}" if places else str(whole)
    return text.rstrip("0").rstrip(".") if "." in text else text


def places_of(value: Fraction) -> int:
    """How many places write `value` out; 5 when none do."""
    return next((n for n in range(10) if (value * 10**n).denominator == 1), 5)


class DoseMaker:
    """Draws for one row of a medicine's regimens; `texts` is the order so far."""

    def __init__(self, draw: Any, medicine: dict, row: dict):
        self.draw, self.medicine, self.row = draw, medicine, row
        self.odd = draw(st.sets(st.sampled_from(ODD), min_size=self.pick(0, 1, 1, 2, 2, 3), max_size=3))
        self.texts: dict[str, str] = {}
        self.all_rows = [r for regimen in medicine["regimen"] for r in rows(regimen)]

    def pick(self, *choices: Any) -> Any:
        return self.draw(st.sampled_from(choices))

    def put(self, key: str, text: str | None, *not_if: str) -> None:
        if text is not None and not self.odd & set(not_if):
            self.texts[key] = text

    def beside(self, value: Fraction, most_places: int = 9) -> str:
        """`value` as text, or one smallest unit beside it."""
        places = min(places_of(value), most_places)
        nudge = self.pick(0, 0, 0, 1, -1)
        if nudge:
            places = self.draw(st.integers(places, min(places + 3, most_places)))
        return decimal(value + Fraction(nudge, 10**places), places)

    def _size(self, bound: Amount) -> Fraction:
        """What makes an amount of a bound per kg or per m2, for this child."""
        weight = words.kilograms(self.texts.get("weight", "10 kg"))
        if "kg" in bound.below:
            return weight
        return rounded_root(words.centimetres(self.texts.get("height", "100 cm")) * weight / 3600) if "m2" in bound.below else Fraction(1)

    def _doses(self) -> int:
        return int(self.texts.get("times_a_day", 4)) if "every" not in self.texts else ceil(DAY / words.ends_of_time(self._every())[0])

    def _every(self) -> str:
        return "24 hours" if self.texts["every"] == "once" else self.texts["every"]

    def _dose(self) -> str:
        """At a limit of the row, or a share of it; for one dose, or as a day's."""
        row, doses = self.row, self._doses()
        share = Fraction(1, doses) if row.get("per") == "day" else Fraction(1)
        ends = [end for end in (low_end(row), high_end(row)) if end]
        usual = [self._amount(end) * share for end in ends]
        tops = [self._amount(b) for b in bounds(row, "max_single")] + [self._amount(b) / doses for b in bounds(row, "max_daily")]
        if is_infusion(row):
            tops = []
        number = self.pick(min([usual[-1], *tops]), self.pick(*usual), sum(usual) / len(usual))
        others = tops + [words.amount(row[key]).number for key in ("floor",) if key in row]
        others += [self._amount(words.amount(text)) for total in row.get("totals", []) for text in total["max"]]
        if "other limit" in self.odd and others:
            number = self.pick(*others)
        if "margin" in self.odd:
            number *= self.pick(*MARGINS)
        number *= 10 if "tenfold" in self.odd else 1
        return self._written(number, ends[0])

    def _amount(self, bound: Amount) -> Fraction:
        return bound.number * self._size(bound)

    def _written(self, number: Fraction, like: Amount) -> str:
        what, under, ending, of = like.what, "", "", self._of(like.what)
        if "time" in like.below or ("other unit" in self.odd and self.pick(False, False, True)):
            unit = self.pick("min", "h")
            number, under = number * words.TIMES[unit], f"/{unit}"
        if "by product" in self.odd:
            number, what, of = *self._by_product(number, what), ""
        if "per size" in self.odd:
            size = self.pick(*(like.below & {"kg", "m2"}), "kg", "m2")
            number, under = number / self._size(Amount(number, what, frozenset({size}))), f"/{size}{under}"
        if "a day" in self.odd and not under.endswith(("/min", "/h")):
            number, ending = number * self._doses(), " a day"
        return f"{self._with_unit(number, what)}{under}{of}{ending}"

    def _with_unit(self, number: Fraction, what: str) -> str:
        """In a usual unit; where that is to be odd, in another one of the kind, or now and then of another kind."""
        units = UNITS.get(what) or {"suppositories" if what == "suppository" else f"{what}s": Fraction(1)}
        unit = next((name for name, size in units.items() if number >= size), list(units)[-1])
        unit = self.pick(*units) if "other unit" in self.odd else unit
        text = self._ranged(self.beside(min(number / units[unit], Fraction(10**9))))
        if "other unit" in self.odd and what in DRUGS and self.pick(False, False, False, True):
            unit = self.pick("mg", "units", "mmol")
        return f"{text} {unit}"

    def _ranged(self, text: str) -> str:
        low = decimal(Fraction(text) * self.pick(*(Fraction(n, 100) for n in (50, 90, 99, 10))), 9)
        return f"{low} to {text}" if "range" in self.odd and Fraction(low) < Fraction(text) else text

    def _by_product(self, number: Fraction, what: str) -> tuple[Fraction, str]:
        product = next((p for p in self.medicine.get("product", []) if p["id"] == self.texts.get("product")), None)
        if product is None:
            return number, self.pick("volume", "tablet")
        first = self.medicine["ingredient"][0]["id"]
        strength = words.strength(product.get("strength") or product["strengths"][self.row.get("ingredient", first)])
        return (number / strength.number if what == strength.what else number), next(iter(strength.below))

    def _of(self, what: str) -> str:
        """ " of trimethoprim" where an amount must say it, and sometimes where it need not."""
        ingredients = self.medicine["ingredient"]
        mine = next((i for i in ingredients if i["id"] == self.row.get("ingredient")), ingredients[0])
        names = [mine["id"], *mine.get("aliases", [])]
        needed = what in DRUGS and (len(ingredients) > 1 or self.medicine.get("basis") == "stated")
        if "of" in self.odd:
            return self.pick("", " of nothing", *(f" of {i['id']}" for i in ingredients))
        return f" of {self.pick(*names)}" if needed else ""
