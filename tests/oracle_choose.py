"""Choosing for the slow oracle: the files, the case, which regimens and age limits hold for which of the child's ages.

Shares no code with dosecheck.  A child's age is every (months, days) it may be; a gestation is every day it may be;
a regimen fits surely, surely not, or nobody knows, found by trying them all.
"""

from __future__ import annotations

import tomllib
from datetime import date
from functools import cache
from pathlib import Path
from typing import Any

import oracle_words as words

LONGEST_AGO = date(1, 1, 1)


class Missing(Exception):
    """A fact that a limit needs is not told; `code` says which."""

    def __init__(self, code: str):
        self.code = code


@cache
def load(folder: str) -> dict[str, Any]:
    """{"medicines": by every name, "policy": by key}, with the local files laid over."""
    root = Path(folder)
    medicines = {}
    for file in sorted((root / "medicines").glob("*.toml")):
        medicine = tomllib.loads(file.read_text("utf-8"))
        medicines[medicine["id"]] = medicine
    for file in sorted((root / "local").glob("*.toml")):
        local = tomllib.loads(file.read_text("utf-8"))
        medicines[local["medicine"]] = _overlaid(medicines[local["medicine"]], local)
    policy = {key: entry["value"] for key, entry in tomllib.loads((root / "policy.toml").read_text("utf-8")).items()}
    for key in ("query_up_to", "point_allowance"):
        policy[key] = words.percent(policy[key])
    named = {name: m for m in medicines.values() for name in (m["id"], m["name"], *m.get("aliases", []))}
    return {"medicines": named, "policy": policy}


def _overlaid(base: dict, local: dict) -> dict:
    """Withdrawn regimens out; what has the same id as a local entry is replaced by it."""
    made = dict(base)
    for table in ("regimen", "product", "age_limit"):
        ids = {entry["id"] for entry in local.get(table, [])}
        gone = ids | (set(local.get("withdraw", [])) if table == "regimen" else set())
        made[table] = [entry for entry in base.get(table, []) if entry["id"] not in gone] + local.get(table, [])
    return made


class Case:
    """One order with its medicine, as far as no single regimen is concerned."""

    def __init__(self, texts: dict[str, str], medicine: dict, policy: dict):
        self.texts, self.medicine, self.policy = texts, medicine, policy
        self.on = date.fromisoformat(texts["on"]) if "on" in texts else None
        self.age = None
        if "age" in texts:
            self.age = words.stated_age(texts["age"])
        elif "born" in texts:
            self.age = words.dated_age(date.fromisoformat(texts["born"]), self.on)
        self.gestations = _gestations(texts.get("gestation"))
        self.conditions = {part.strip().lower() for part in texts.get("condition", "").split(";") if part.strip()}
        self.product = next((p for p in medicine.get("product", []) if p["id"] == texts.get("product")), None)

    def strengths(self) -> dict[str, words.Amount] | None:
        """The strength of each ingredient of the named product."""
        if self.product is None:
            return None
        if "strengths" in self.product:
            return {name: words.strength(text) for name, text in self.product["strengths"].items()}
        return {self.medicine["ingredient"][0]["id"]: words.strength(self.product["strength"])}

    def named_ingredient(self, of: str | None) -> dict:
        """What an amount of medicine is of."""
        ingredients = self.medicine["ingredient"]
        if of is None:
            if len(ingredients) > 1 or self.medicine.get("basis") == "stated":
                raise Missing("basis-missing")
            return ingredients[0]
        for ingredient in ingredients:
            if of in (ingredient["id"], *ingredient.get("aliases", [])):
                return ingredient
        raise Missing("basis-unknown")

    def findings(self) -> list[tuple[str, str]]:
        """What is to be said of the order as a whole."""
        found = []
        known = {c for r in self.medicine.get("regimen", []) for c in r.get("conditions", [])}
        known |= {limit["condition"] for limit in self.medicine.get("age_limit", []) if "condition" in limit}
        if self.conditions - known:
            found.append(("condition-unknown", "not-checked"))
        if "product" in self.texts and self.product is None:
            found.append(("product-unknown", "not-checked"))
        if self.product and "route" in self.texts and self.texts["route"] not in self.product["routes"]:
            found.append(("route-not-for-product", "stop"))
        if self.texts.get("weight_is") in ("stated", "estimated") and "weight" in self.texts and self.medicine.get("high_risk"):
            found.append(("weight-not-measured", "query"))
        if self._weight_is_old():
            found.append(("weight-old", "query"))
        if self.age and self.age.youngest < 3 and "gestation" not in self.texts:
            found.append(("gestation-not-told", "query"))
        return found

    def _weight_is_old(self) -> bool:
        if "weighed" not in self.texts or self.on is None or "weight" not in self.texts:
            return False
        infant = self.age is None or self.age.youngest < 12
        limit = words.seconds(self.policy["weight_age_infant" if infant else "weight_age_child"]) / words.DAY
        return (self.on - date.fromisoformat(self.texts["weighed"])).days > limit

    def findings_of(self, regimen: dict) -> list[tuple[str, str]]:
        """A small child born early, and a regimen that does not speak of it."""
        speaks = any(band in regimen for band in ("gestation", "postmenstrual", "corrected"))
        if speaks or "gestation" not in self.texts or max(self.gestations) >= 259:
            return []
        least = min(months for point in self.age.points for g in self.gestations for months, _ in words.corrected_ages(point, g, self.age))
        return [("preterm", "query")] if least < 3 else []


def _gestations(text: str | None) -> range:
    """Every day of gestation that it may be: completed weeks stand for 7 days, silence for anything believable."""
    if text is None:
        return range(140, 322)
    first = words.weeks(text)
    return range(first, first + 7) if first % 7 == 0 else range(first, first + 1)


# ---- the shelf: all but the child ----


def shelf_of(case: Case) -> tuple[list[dict], str | None]:
    """The regimens by route, date, purpose, step and product; or the code that says what was not found."""
    shelf = _in_force(case)
    if "route" not in case.texts:
        return [], "route-missing"
    shelf = [r for r in shelf if r["route"] == case.texts["route"]]
    if not shelf:
        return [], "route-unknown"
    if "for" in case.texts:
        shelf = [r for r in shelf if case.texts["for"] in r["for"]]
        if not shelf:
            return [], "purpose-unknown"
    if "step" in case.texts:
        shelf = [r for r in shelf if r.get("step", case.texts["step"]) == case.texts["step"]]
        if not shelf:
            return [], "step-unknown"
    if case.product:
        shelf = [r for r in shelf if case.product["id"] in r.get("products", [case.product["id"]])]
        shelf = [r for r in shelf if r.get("release", "immediate") == case.product.get("release", "immediate")]
        if not shelf:
            return [], "product-not-in-regimen"
    return _displaced(case, shelf), None


def _displaced(case: Case, shelf: list[dict]) -> list[dict]:
    """Only regimens whose conditions are all stated, and of two for one purpose that with more of them."""
    conditions = lambda r: set(r.get("conditions", []))  # noqa: E731
    stated = [r for r in shelf if conditions(r) <= case.conditions]
    return [r for r in stated if not any(conditions(r) < conditions(other) and set(r["for"]) & set(other["for"]) for other in stated)]


def _in_force(case: Case) -> list[dict]:
    """Of each id the newest that is valid on the day."""
    newest: dict[str, dict] = {}
    for regimen in case.medicine.get("regimen", []):
        started = case.on is None or regimen["valid_from"] <= case.on
        before = newest[regimen["id"]]["valid_from"] if regimen["id"] in newest else LONGEST_AGO
        if started and regimen["valid_from"] > before:
            newest[regimen["id"]] = regimen
    return list(newest.values())


# ---- the child: bands ----


def inside(band: dict, value: Any, read: Any) -> bool:
    return ("from" not in band or read(band["from"]) <= value) and ("below" not in band or value < read(band["below"]))


def old_enough(point: tuple[int, int], edge: str) -> bool:
    """Whether (months, days) has reached "2 years", "3 months", "6 weeks" or "28 days"."""
    number, unit = edge.split(" ")
    size = {"year": 12, "month": 1, "week": 7, "day": 1}[unit.rstrip("s")]
    return point[0 if unit.rstrip("s") in ("year", "month") else 1] >= int(number) * size


def age_inside(band: dict, point: tuple[int, int]) -> bool:
    return ("from" not in band or old_enough(point, band["from"])) and ("below" not in band or not old_enough(point, band["below"]))


def _all_or_some(answers: list[bool], code: str) -> Any:
    """True, False, or the code when they differ."""
    return answers[0] if len(set(answers)) == 1 else code


def _and(*answers: Any) -> Any:
    """False if any is; else the first code if any is unknown; else True."""
    if False in answers:
        return False
    return next((answer for answer in answers if answer is not True), True)


def weight_fits(case: Case, band: dict) -> Any:
    if "weight" not in case.texts:
        return "weight-missing"
    return inside(band, words.kilograms(case.texts["weight"]), words.kilograms)


def early_fits(case: Case, entry: dict, point: tuple[int, int]) -> Any:
    """The bands that go by gestation, at one age, over every gestation that the child may have."""
    if not {"gestation", "postmenstrual", "corrected"} & set(entry):
        return True
    answers = [
        inside(entry.get("gestation", {}), g, words.weeks)
        and inside(entry.get("postmenstrual", {}), g + point[1], words.weeks)
        and age_inside(entry.get("corrected", {}), corrected)
        for g in case.gestations
        for corrected in words.corrected_ages(point, g, case.age)
    ]
    return _all_or_some(answers, "gestation-missing")


def entry_fits(case: Case, entry: dict, point: tuple[int, int]) -> Any:
    weight = weight_fits(case, entry["weight"]) if "weight" in entry else True
    return _and(age_inside(entry.get("age", {}), point), weight, early_fits(case, entry, point))


def regimen_fits(case: Case, regimen: dict, point: tuple[int, int]) -> list[tuple[dict, Any]]:
    """The regimen (its table of bands opened out) with True or a code, unless it surely does not fit."""
    found = []
    for band in regimen.get("band", [{}]):
        fits = _and(entry_fits(case, regimen, point), entry_fits(case, band, point))
        if fits is not False:
            opened = {**regimen, **{key: value for key, value in band.items() if key not in ("age", "weight")}}
            found.append((opened, fits))
    return found


# ---- the child: all together ----


def choose(case: Case, shelf: list[dict], ingredient: dict) -> list[tuple[list, list]]:
    """For each different answer over the child's possible ages: the readings, and what age limits say.

    A reading is (regimen, None), (regimen, a code for what is not known) or a code alone when there is no regimen.
    """
    several = len(case.medicine["ingredient"]) > 1
    mine = [r for r in shelf if not several or r.get("ingredient") == ingredient["id"]]
    different: dict[str, tuple[list, list]] = {}
    for point in case.age.points:
        fitting = [pair for r in mine for pair in regimen_fits(case, r, point)]
        readings: list[Any] = [(r, None if fits is True else fits) for r, fits in fitting]
        if not readings:
            readings = [_without_regimen(case, shelf, ingredient, point)]
        found = (readings, age_limits(case, point))
        different[repr(found)] = found
    return list(different.values())


def _without_regimen(case: Case, shelf: list[dict], ingredient: dict, point: tuple[int, int]) -> str:
    """Why an ingredient has no regimen at this age: another's regimen covers it, or not, or there is none."""
    if not shelf:
        return shelf_of(case)[1] or "no-regimen-for-child"
    mine = [r for r in shelf if r.get("ingredient", ingredient["id"]) == ingredient["id"]]
    if mine:
        return "no-regimen-for-child"
    fitting = [pair for r in shelf for pair in regimen_fits(case, r, point)]
    if any(ingredient["id"] in r.get("covers", []) for r, _ in fitting):
        return "covered" if case.product else "ingredient-amount-unknown"
    return "ingredient-without-regimen"


def age_limits(case: Case, point: tuple[int, int]) -> list[tuple[str, str]]:
    """A child for whom all that an entry states holds is stopped; what is not known is not checked."""
    found = []
    for limit in case.medicine.get("age_limit", []):
        if "condition" in limit and limit["condition"] not in case.conditions:
            continue
        if case.texts.get("route") not in limit.get("routes", [case.texts.get("route")]):
            continue
        if case.texts.get("for") not in limit.get("for", [case.texts.get("for")]):
            continue
        bands = {key.removesuffix("_below"): {"below": text} for key, text in limit.items() if key.endswith("_below")}
        holds = entry_fits(case, bands, point)
        if holds is True:
            found.append(("not-for-this-child", "stop"))
        elif holds is not False:
            found.append((holds, "not-checked"))
    return found
