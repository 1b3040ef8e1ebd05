"""Orders for the oracle's tests: a right order for some regimen, then up to three things about it made odd.

Reads the same plain TOML dicts as the oracle.  Every text is well formed; what it says may stand at a limit or one
smallest unit beside it, at the day of a band's edge, be tenfold, of another product, or missing.
"""

from __future__ import annotations

from datetime import date, timedelta
from fractions import Fraction
from math import ceil
from typing import Any

import oracle_words as words
from hypothesis import strategies as st
from oracle_choose import is_infusion, rows
from oracle_doses import DoseMaker, decimal
from oracle_facts import all_bounds
from oracle_words import DAY


class Maker(DoseMaker):
    """Draws one order for one row of a medicine's regimens; `texts` grows field by field."""

    def order(self) -> dict[str, str]:
        self._choice()
        self._age()
        self._body()
        self._how_often()
        self._conduct()
        if "no dose" not in self.odd:
            self.texts["dose"] = self._dose()
        if words.dose(self.texts.get("dose", "1 mg")).per == "time":  # an infusion with a number of doses cannot be read
            self.texts = {key: text for key, text in self.texts.items() if key not in ("every", "times_a_day", "at_most", "as_needed")}
        self._dates()
        return self.texts

    # medicine, route, purpose, step, conditions, product

    def _choice(self) -> None:
        names = [self.medicine["name"], *self.medicine.get("aliases", [])]
        self.put("medicine", self.pick(*names) if "other name" in self.odd else self.medicine["id"])
        self.put("route", self.pick("oral", "topical", "intravenous", None) if "other route" in self.odd else self.row["route"])
        purposes = [purpose for r in self.all_rows for purpose in r["for"]] + ["nothing known"]
        self.put("for", self.pick(*purposes) if "other purpose" in self.odd else self.pick(*self.row["for"]), "no purpose")
        self.put("step", self.pick("first", "maintenance") if "other step" in self.odd else self.row.get("step"), "no step")
        stated = set() if "no condition" in self.odd else set(self.row.get("conditions", []))
        if "other condition" in self.odd:
            limits = [limit["condition"] for limit in self.medicine.get("age_limit", []) if "condition" in limit]
            known = [c for r in self.all_rows for c in r.get("conditions", [])]
            stated.add(self.pick(*(limits * 3 + known), "nothing known"))
        self.put("condition", "; ".join(sorted(stated)) or None)
        self._product()

    def _product(self) -> None:
        products = self.medicine.get("product", [])
        fitting = self.row.get("products") or [p["id"] for p in products if self.row["route"] in p["routes"]]
        wanted = len(self.medicine["ingredient"]) > 1 or "products" in self.row or "by product" in self.odd or self.pick(False, False, True)
        self.put("product", self.pick(*fitting) if fitting and wanted else None, "no product")
        if "other product" in self.odd and products:
            self.texts["product"] = self.pick(*products)["id"]
        if "unknown product" in self.odd:
            self.texts["product"] = "no-such-product"

    # the child

    def _age(self) -> None:
        band = self.row.get("age", {})
        if "age of another row" in self.odd:
            band = self.pick(*self.all_rows).get("age", {})
        low, high = _months(band.get("from", "0 months")), _months(band.get("below", "216 months"))
        months = self.draw(st.integers(low, max(low, high - 1)))
        if "age at an edge" in self.odd or "age by dates" in self.odd:
            self._age_at(self.pick(*_age_edges([self.row]), *_age_edges([*self.all_rows, *self.medicine.get("age_limit", [])])))
        elif high <= 1:
            self.texts["age"] = self.pick(f"{low * 30 + 9} days", "1 week", "3 weeks", "0 months", f"{max(0, high * 30 - 3)} days")
        else:
            self.texts["age"] = f"{months // 12} years" if months % 3 == 0 and months > 23 else f"{months} months"
        if "no age" in self.odd:
            for key in ("age", "born", "on"):
                self.texts.pop(key, None)

    def _age_at(self, edge: str) -> None:
        number, unit = int(edge.split(" ")[0]), edge.split(" ")[1].rstrip("s")
        if "age by dates" not in self.odd:
            stated = f"{max(0, number + self.pick(-1, 0, 0))} {unit}s"
            self.texts["age"] = self.pick(stated, stated, f"{12 * number} months" if unit == "year" else stated)
            return
        born = date(2016, 1, 29) + timedelta(days=self.draw(st.integers(0, 800)))
        if unit in ("year", "month"):
            day = words.later(born, number * (12 if unit == "year" else 1))
        else:
            day = born + timedelta(days=number * (7 if unit == "week" else 1))
        self.texts |= {"born": born.isoformat(), "on": max(born, day + timedelta(days=self.pick(-1, 0, 0, 1))).isoformat()}

    def _body(self) -> None:
        edges = [end for r in (self.row, *self.all_rows) for end in r.get("weight", {}).values()] or ["10 kg"]
        low, high = (words.kilograms(self.row.get("weight", {}).get(end, usual)) for end, usual in (("from", "3 kg"), ("below", "60 kg")))
        weight = low + (high - low) * self.draw(st.integers(0, 99)) / 100
        if "weight at an edge" in self.odd:
            number, unit = self.pick(*edges).split(" ")
            self.put("weight", f"{self.beside(Fraction(number), 3)} {unit}", "no weight")
        elif "any weight" in self.odd:
            self.put("weight", self.pick("0.8 kg", "2500 g", "30 lb", "95 kg", "10 kg"), "no weight")
        else:
            self.put("weight", f"{decimal(max(weight, low + Fraction(1, 100)), 2)} kg", "no weight")
        if any("m2" in bound.below for r in self.all_rows for bound in all_bounds(r)) or "per size" in self.odd:
            self.put("height", f"{decimal(Fraction(self.draw(st.integers(450, 1800)), 10), 1)} cm", "no height")
        if "weight not measured" in self.odd:
            self.texts["weight_is"] = self.pick("stated", "estimated", "measured")
        self._gestation()

    def _gestation(self) -> None:
        speaks = [r[key] for r in (self.row, *self.all_rows) for key in ("gestation",) if key in r]
        if "gestation" in self.odd:
            week, days = self.pick(24, 31, 34, 36, 36, 37, 38, 40), self.pick("", "", " 1 day", " 4 days", " 6 days")
            self.texts["gestation"] = f"{week} weeks{days}"
        elif self.pick(True, True, True, False):
            self.texts["gestation"] = "36 weeks" if speaks and "below" in speaks[0] else "39 weeks"

    def _dates(self) -> None:
        if "date" in self.odd and "born" not in self.texts:
            started = [r["valid_from"] for r in self.all_rows]
            self.texts["on"] = (self.pick(*started) + timedelta(days=self.pick(-1, 0, 0, 1))).isoformat()
        if "old weight" in self.odd:
            self.texts.setdefault("on", "2026-03-01")
            day = date.fromisoformat(self.texts["on"]) - timedelta(days=self.pick(0, 13, 14, 15, 89, 90, 91, 400))
            self.texts["weighed"] = max(day.isoformat(), self.texts.get("born", ""))

    # how often, how fast, how long

    def _how_often(self) -> None:
        gap = words.seconds(self.row.get("min_gap", "30 minutes"))
        counts = self.row.get("doses_a_day") or [max(1, int(min(self.row.get("max_doses", 4), DAY / gap)))]
        count = self.pick(*counts)
        if is_infusion(self.row) and not self.odd & {"frequency", "once", "every"}:
            return
        shift = self.pick(-1, 1, 1) if "frequency" in self.odd else 0
        if "once" in self.odd:
            self.texts |= self.pick({"once": "yes"}, {"every": "once"})
        elif "range of times" in self.odd:
            first = max(1, ceil(gap / 3600) + shift)
            self.texts["every"] = f"{first} to {first + self.pick(0, 1, 2, 4)} hours"
        elif "every" in self.odd or Fraction(DAY, count) < gap:
            minutes = max(5, int(gap / 60) + shift * self.pick(1, 60))
            usual = f"{minutes // 60} hours" if minutes % 60 == 0 else f"{minutes} minutes"
            self.texts["every"] = self.pick(usual, usual, usual, "5 hours", "1 day", "36 hours")
        else:
            self.put("times_a_day", str(max(1, count + shift)), "no frequency")
        if "at most" in self.odd and "once" not in self.odd:
            self.texts |= {"at_most": str(max(1, count + self.pick(0, 0, 1, -1))), "as_needed": "yes"}

    def _conduct(self) -> None:
        required = self.row.get("required", [])
        if "how fast" in self.odd or "rate" in required:
            minutes = words.seconds(self.row.get("min_duration", "10 minutes")) / 60
            self.put("over", f"{self.beside(minutes, 2)} minutes")
        if "volume" in self.odd or "concentration" in required:
            self.put("made_up_to", self.pick("1 mL", "5 mL", "12.5 mL", "100 mL"))
        if "course" in self.odd or "course" in required:
            days = words.seconds(self.row.get("max_course", "5 days")) / DAY
            self.put("course", self.pick(f"{self.beside(days, 1)} days", f"{self.beside(days, 1)} days", "36 hours", "1 week"))
        if required and self.pick(False, False, False, True):
            self.texts.pop(self.pick("over", "made_up_to", "course"), None)


def _months(edge: str) -> int:
    number, unit = edge.split(" ")
    return int(number) * 12 if unit.startswith("year") else int(number) if unit.startswith("month") else int(number) // 28


def _age_edges(entries: list[dict]) -> list[str]:
    """Every edge of age, of corrected age, and of post-menstrual age for a child born at 39 weeks."""
    found = [end for e in entries for key in ("age", "corrected") for end in e.get(key, {}).values()]
    found += [e[key] for e in entries for key in ("age_below", "corrected_below") if key in e]
    late = [end for e in entries for end in e.get("postmenstrual", {}).values()]
    late += [e["postmenstrual_below"] for e in entries if "postmenstrual_below" in e]
    return found + [f"{words.weeks(end) - 273} days" for end in late] or ["2 years"]


class Shelf(list):
    """Medicines with a short name for hypothesis to print."""

    def __repr__(self) -> str:
        return f"{len(self)} medicines"


@st.composite
def orders(draw: Any, medicines: Shelf) -> dict[str, str]:
    """One order as texts, for one of the medicines."""
    medicine = medicines[draw(st.sampled_from(range(len(medicines))))]
    if not medicine.get("regimen"):
        return {"medicine": medicine["id"], "route": "oral", "dose": draw(st.sampled_from(("10 mg", "5 mL"))), "age": "3 years"}
    every = [row for regimen in medicine["regimen"] for row in rows(regimen)]
    row = every[draw(st.sampled_from(range(len(every))))]
    return Maker(draw, medicine, row).order()
