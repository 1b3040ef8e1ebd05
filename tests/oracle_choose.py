"""Choosing for the slow oracle: the files, the order as a whole, and which regimens and age limits hold for the child.

Shares no code with dosecheck.  A child may be of every (completed months, days) that the age allows and of every
gestation that is possible; all are tried, one by one, and what holds for each is compared.
"""

from __future__ import annotations

import tomllib
from collections.abc import Iterator
from datetime import date
from functools import cache
from pathlib import Path
from typing import Any, NamedTuple

import oracle_growth as growth
import oracle_words as words

Finding = tuple[str, str]
STOP, NOT_CHECKED, QUERY, WITHIN = "stop", "not-checked", "query", "within"
TERM, EARLY_BELOW = 280, 259


# ---- the files ----


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
    policy = {key: entry.get("value", entry) for key, entry in tomllib.loads((root / "policy.toml").read_text("utf-8")).items()}
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


# ---- the order as a whole ----


class Case:
    """One order with its medicine, as far as no single regimen is concerned."""

    def __init__(self, texts: dict[str, str], medicine: dict, policy: dict):
        self.texts, self.medicine, self.policy = texts, medicine, policy
        self.on = date.fromisoformat(texts["on"]) if "on" in texts else None
        self.age = words.age_of(texts, self.on)
        self.gestations = _gestations(texts.get("gestation"))
        self.conditions = {part.strip().lower() for part in texts.get("condition", "").split(";") if part.strip()}
        self.product = next((p for p in medicine.get("product", []) if p["id"] == texts.get("product")), None)
        self.dose = words.dose(texts["dose"]) if "dose" in texts else None

    def strength_of(self, ingredient: dict) -> words.Amount | None:
        """How much of an ingredient is in one of what the named product is measured by."""
        if self.product is None:
            return None
        return words.strength(self.product["strengths"][ingredient["id"]] if "strengths" in self.product else self.product["strength"])

    def ingredient_named(self, of: str) -> dict | None:
        return next((i for i in self.medicine["ingredient"] if of in (i["id"], *i.get("aliases", []))), None)

    def findings(self) -> list[Finding]:
        """What is to be said of the order whichever regimen applies."""
        told = {
            ("dose-missing", NOT_CHECKED): self.dose is None,
            ("age-missing", NOT_CHECKED): self.age is None,
            ("weight-not-measured", QUERY): self._weight_is_doubtful(),
            ("weight-old", QUERY): self._weight_is_old(),
            ("weight-not-believable", QUERY): self._weight_is_hard_to_believe(),
            ("purpose-not-told", QUERY): self.medicine.get("high_risk", False) and "for" not in self.texts,
            ("gestation-not-told", QUERY): self.age and self.age.youngest < 3 and "gestation" not in self.texts,
        }
        return [finding for finding, holds in told.items() if holds]

    def _weight_is_doubtful(self) -> bool:
        doubtful = self.texts.get("weight_is") in ("stated", "estimated")
        return "weight" in self.texts and doubtful and self.medicine.get("high_risk", False)

    def _weight_is_old(self) -> bool:
        if "weighed" not in self.texts or "weight" not in self.texts:
            return False
        infant = self.age is None or self.age.youngest < 12
        limit = words.seconds(self.policy["weight_age_infant" if infant else "weight_age_child"]) / words.DAY
        return (self.on - date.fromisoformat(self.texts["weighed"])).days > limit

    def _weight_is_hard_to_believe(self) -> bool:
        if "weight" not in self.texts or self.age is None:
            return False
        ends = growth.widest(self.policy, self._sexes(), self._days_of_growth())
        if ends is None:
            return False
        grams = words.kilograms(self.texts["weight"]) * 1000
        unsure = self.age.youngest < 3 and "gestation" not in self.texts
        return grams > ends[1] or (grams < ends[0] and not unsure)

    def weight_is_far_above(self) -> bool:
        if "weight" not in self.texts or self.age is None:
            return False
        return words.kilograms(self.texts["weight"]) * 1000 > growth.heaviest(self.policy, self._sexes(), self._days_of_growth())

    def _sexes(self) -> tuple[str, ...]:
        return (self.texts["sex"],) if "sex" in self.texts else ("female", "male")

    def _days_of_growth(self) -> set[int]:
        """Days of age, each less the days born before 40 weeks below 2 years if born before 37."""
        days = {day for _, day in self.age.points}
        if "gestation" not in self.texts or max(self.gestations) >= EARLY_BELOW:
            return days
        return {day - TERM + gestation for day in days if day < 731 for gestation in self.gestations} | {day for day in days if day >= 731}

    def is_small_preterm(self) -> bool:
        if "gestation" not in self.texts or max(self.gestations) >= EARLY_BELOW:
            return False
        return min(child.corrected[0] for child in _scenarios(self.age, self.gestations)) < 3


def _gestations(text: str | None) -> range:
    """Every day of gestation that it may be: completed weeks stand for 7 days, silence for anything believable."""
    if text is None:
        return range(140, 322)
    first = words.weeks(text)
    return range(first, first + 7) if first % 7 == 0 else range(first, first + 1)


# ---- the shelf: all but the child ----


def shelf_of(case: Case) -> tuple[list[dict], list[Finding]]:
    """The regimens by route, purpose, step, conditions, product and sort of dose; and what stands in the way."""
    problems = list(_problems_of_names(case))
    shelf, missing = _asked_for(case)
    if missing:
        problems.append((missing, NOT_CHECKED))
    if shelf and "step" not in case.texts and all(r.get("step") in ("repeat", "maintenance") for r in shelf):
        problems.append(("step-missing", NOT_CHECKED))
    under = _by_conditions(case, shelf)
    if shelf and not under:
        problems.append(("condition-missing", NOT_CHECKED))
    fitting = _by_product(case, under)
    if under and case.product and not fitting:
        problems.append(("product-not-in-regimen", NOT_CHECKED))
    alike = [r for r in fitting if case.dose is None or is_infusion(r) == (case.dose.per == "time")]
    if fitting and not alike:
        problems.append(("kind-differs", NOT_CHECKED))
    return alike, problems


def _problems_of_names(case: Case) -> Iterator[Finding]:
    known = {c for r in case.medicine.get("regimen", []) for c in r.get("conditions", [])}
    known |= {limit["condition"] for limit in case.medicine.get("age_limit", []) if "condition" in limit}
    if case.conditions - known:
        yield "condition-unknown", NOT_CHECKED
    if "product" in case.texts and case.product is None:
        yield "product-unknown", NOT_CHECKED
    if case.product and case.texts.get("route") and case.texts["route"] not in case.product["routes"]:
        yield "route-not-for-product", STOP


def _asked_for(case: Case) -> tuple[list[dict], str | None]:
    route, purpose, step = (case.texts.get(key) for key in ("route", "for", "step"))
    if not case.medicine.get("regimen"):
        return [], "no-figures"
    if not _in_force(case):
        return [], "none-in-force"
    shelf = [r for r in _in_force(case) if r["route"] == route]
    if not shelf:
        return [], "route-unknown" if route else "route-missing"
    shelf = [r for r in shelf if purpose is None or purpose in r["for"]]
    if not shelf:
        return [], "purpose-unknown"
    shelf = [r for r in shelf if step is None or r.get("step", step) == step]
    return shelf, None if shelf else "step-unknown"


def _in_force(case: Case) -> list[dict]:
    """Of each id the newest that is valid on the day."""
    newest: dict[str, dict] = {}
    for regimen in case.medicine.get("regimen", []):
        started = case.on is None or regimen["valid_from"] <= case.on
        if started and (regimen["id"] not in newest or newest[regimen["id"]]["valid_from"] < regimen["valid_from"]):
            newest[regimen["id"]] = regimen
    return list(newest.values())


def _by_conditions(case: Case, shelf: list[dict]) -> list[dict]:
    """Only regimens whose conditions are all stated, and of two for one purpose that with more of them."""
    stated = [r for r in shelf if _conditions(r) <= case.conditions]
    return [r for r in stated if not any(_conditions(r) < _conditions(other) and set(r["for"]) & set(other["for"]) for other in stated)]


def _conditions(regimen: dict) -> set[str]:
    return set(regimen.get("conditions", []))


def _by_product(case: Case, shelf: list[dict]) -> list[dict]:
    if case.product is None:
        return shelf
    mine, release = case.product["id"], case.product.get("release", "immediate")
    return [r for r in shelf if mine in r.get("products", [mine]) and r.get("release", "immediate") == release]


def is_infusion(regimen: dict) -> bool:
    doses = repr([regimen.get("dose"), *(band["dose"] for band in regimen.get("band", []))])
    return "/min" in doses or "/h'" in doses


# ---- the child: every one that it may be ----


class Scenario(NamedTuple):
    """One child that it may be: (completed months, days), days since the last period, (months, days) corrected."""

    age: tuple[int, int]
    postmenstrual: int
    corrected: tuple[int, int]


@cache
def _scenarios(age: words.Age, gestations: range) -> tuple[Scenario, ...]:
    return tuple(
        Scenario(point, gestation + point[1], corrected)
        for point in age.points
        for gestation in gestations
        for corrected in words.corrected_ages(point, gestation, age)
    )


def scenarios(case: Case, entries: list[dict]) -> tuple[Scenario, ...]:
    """Every child that it may be; gestations are gone through only where some entry asks for what hangs on them."""
    asked = {key.removesuffix("_below") for entry in entries for key in entry}
    if asked & {"postmenstrual", "corrected"}:
        return _scenarios(case.age, case.gestations)
    return tuple(Scenario(point, point[1], point) for point in case.age.points)


def inside(band: dict, value: Any, read: Any) -> bool:
    return ("from" not in band or read(band["from"]) <= value) and ("below" not in band or value < read(band["below"]))


def old_enough(point: tuple[int, int], edge: str) -> bool:
    """Whether (months, days) has reached "2 years", "3 months", "6 weeks" or "28 days"."""
    number, unit = edge.split(" ")
    size = {"year": 12, "month": 1, "week": 7, "day": 1}[unit.rstrip("s")]
    return point[0 if unit.rstrip("s") in ("year", "month") else 1] >= int(number) * size


def age_inside(band: dict, point: tuple[int, int]) -> bool:
    return ("from" not in band or old_enough(point, band["from"])) and ("below" not in band or not old_enough(point, band["below"]))


def born_so(child: Scenario, entry: dict) -> bool:
    """Whether one possible child is inside the entry's bands of age, post-menstrual age and corrected age."""
    postmenstrual = inside(entry.get("postmenstrual", {}), child.postmenstrual, words.weeks)
    return age_inside(entry.get("age", {}), child.age) and postmenstrual and age_inside(entry.get("corrected", {}), child.corrected)


def known_facts_fit(case: Case, entry: dict) -> bool | str:
    """The bands of weight and of gestation: True, False, or the code of what is not known."""
    answers: list[bool | str] = []
    if "weight" in entry:
        told = "weight" in case.texts
        answers.append(inside(entry["weight"], words.kilograms(case.texts["weight"]), words.kilograms) if told else "weight-missing")
    if "gestation" in entry:
        each = {inside(entry["gestation"], days, words.weeks) for days in case.gestations}
        answers.append(each.pop() if len(each) == 1 else "gestation-missing")
    return False if False in answers else next((answer for answer in answers if answer is not True), True)


def rows(regimen: dict) -> list[dict]:
    """A table by band opened out: what a band says stands in place of the regimen's own."""
    bands = regimen.get("band", [{}])
    return [{**{key: value for key, value in regimen.items() if key != "band"}, **band, "row": n} for n, band in enumerate(bands)]


def age_limits(case: Case, child: Scenario) -> list[Finding]:
    """A child for whom all that an entry states holds is stopped; what is not known is not checked."""
    found = []
    for limit in case.medicine.get("age_limit", []):
        named = "condition" not in limit or limit["condition"] in case.conditions
        here = case.texts.get("route") in limit.get("routes", [case.texts.get("route")])
        purpose = "for" not in case.texts or case.texts["for"] in limit.get("for", [case.texts["for"]])
        bands = {key.removesuffix("_below"): {"below": text} for key, text in limit.items() if key.endswith("_below")}
        if named and here and purpose and born_so(child, bands):
            holds = known_facts_fit(case, bands)
            found += [("not-for-this-child", STOP)] if holds is True else [(holds, NOT_CHECKED)] if holds else []
    return found
