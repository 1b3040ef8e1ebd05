"""A medicine's file, compiled: ingredients, products, regimens with their limits, age limits.

Works on the plain tables that `tomllib` gives, once lint has found them right (`models.py`, `lint.py`), so that a
single check need not load pydantic.  Choosing among regimens is in `cells.py` and `rules/check.py`.
"""

from __future__ import annotations

from datetime import date
from fractions import Fraction
from typing import Any, NamedTuple

from dosecheck.formulary.cells import Band
from dosecheck.formulary.limits import DoseSpan, Limit, Policy, compile_limits, edge, read_span
from dosecheck.formulary.measures import AT_LEAST, Comparison
from dosecheck.quantity import DRUG, Quantity
from dosecheck.reading import read_amount, read_filtration, read_strength, read_weeks, read_weight
from dosecheck.records import STOP

_BAND_FACTS = {"age": "", "corrected": "corrected ", "postmenstrual": "postmenstrual "}


class Ingredient(NamedTuple):
    """`equals` holds the factors between kinds: {("activity", "mass"): base units of mass in one base unit of activity}."""

    id: str
    names: tuple[str, ...]
    groups: tuple[str, ...]
    equals: dict[tuple[str, str], Fraction]


class Step(NamedTuple):
    """What can be measured up to a volume (None: any), in steps; both in nanolitres."""

    up_to: Fraction | None
    step: Fraction


class Product(NamedTuple):
    """`strengths`: ingredient id to amount per volume or per counted thing; `puffs`: how many an inhaler holds."""

    id: str
    name: str
    form: str
    release: str
    routes: tuple[str, ...]
    strengths: dict[str, Quantity]
    strength_text: str
    measure: tuple[Step, ...]
    divides: int
    source: str
    origin: str
    device: str
    output: str
    particle: str
    puffs: int | None

    @property
    def below(self) -> str:
        """What the strength is in: "volume", or a counted thing such as "tablet"."""
        return next(iter(self.strengths.values())).kind.split("/")[1]


class Regimen(NamedTuple):
    """One line of practice.  `bands` say which children, `limits` what is allowed; `source` is "id, place".

    `goes_by` is empty where the file does not say which weight; `reason` is a site's own for a local regimen, and empty
    for one of the base.
    """

    id: str
    valid_from: date
    route: str
    purposes: tuple[str, ...]
    step: str | None
    conditions: frozenset[str]
    release: str
    products: tuple[str, ...]
    ingredient: str
    covers: tuple[str, ...]
    bands: tuple[Band, ...]
    span: DoseSpan
    per: str
    limits: tuple[Limit, ...]
    required: tuple[str, ...]
    goes_by: str
    no_daily: str
    rounding: str
    ask_first: tuple[str, ...]
    note: str
    source: str
    origin: str
    reason: str
    checked: str
    entry: dict[str, Any]

    @property
    def kind(self) -> str:
        """The kind its amounts are in: mass, activity, substance, or a counted thing."""
        return (self.span.high or self.span.low).kind.split("/")[0]

    @property
    def base_id(self) -> str:
        """The id in the file: a row of a table by band is compiled as "id, band 2"."""
        return self.id.partition(", band ")[0]

    @property
    def full_id(self) -> str:
        return self.id if self.origin == "base" else f"{self.id} (local)"


class AgeLimit(NamedTuple):
    """A child for whom all that it states holds is stopped; `limit` is met when any of it fails."""

    id: str
    limit: Limit
    condition: str | None
    routes: tuple[str, ...]
    purposes: tuple[str, ...]
    source: str
    origin: str


class Medicine(NamedTuple):
    """One medicine of one formulary.  `daily_bands` are as the file has them, for `daily_bands.py`."""

    id: str
    name: str
    names: tuple[str, ...]
    status: str
    high_risk: bool
    basis_stated: bool
    note: str
    ingredients: tuple[Ingredient, ...]
    products: tuple[Product, ...]
    regimens: tuple[Regimen, ...]
    age_limits: tuple[AgeLimit, ...]
    daily_bands: tuple[dict[str, Any], ...]
    file: str

    def ingredient(self, name: str) -> Ingredient | None:
        """The ingredient of that id or alias."""
        return next((i for i in self.ingredients if name.lower() in i.names), None)

    def product(self, name: str) -> Product | None:
        return next((p for p in self.products if name in (p.id, p.name.lower())), None)


def source_text(source: dict[str, Any]) -> str:
    return f"{source['id']}, {source['place']}" if source else ""


def compile_medicine(raw: dict[str, Any], policy: Policy, file: str) -> Medicine:
    """The medicine of one file (local changes already merged in, each entry marked with its `origin`)."""
    ingredients = tuple(_ingredient(entry) for entry in raw["ingredient"])
    high_risk = raw.get("high_risk", False)
    regimens = [r for entry in raw.get("regimen", []) for r in _regimens(entry, policy, high_risk, ingredients[0].id)]
    return Medicine(
        id=raw["id"],
        name=raw["name"],
        names=tuple(name.lower() for name in dict.fromkeys((raw["id"], raw["name"], *raw.get("aliases", [])))),
        status=raw["status"],
        high_risk=high_risk,
        basis_stated=raw.get("basis") == "stated" or len(ingredients) > 1,
        note=raw.get("note", ""),
        ingredients=ingredients,
        products=tuple(_product(entry, ingredients[0].id) for entry in raw.get("product", [])),
        regimens=tuple(regimens),
        age_limits=tuple(_age_limit(entry) for entry in raw.get("age_limit", [])),
        daily_bands=tuple(raw.get("daily_band", [])),
        file=file,
    )


def _ingredient(entry: dict[str, Any]) -> Ingredient:
    equals: dict[tuple[str, str], Fraction] = {}
    if "equals" in entry:
        one, other = (read_amount(entry["equals"][key], DRUG, "amount", "1 mmol") for key in ("amount", "is"))
        equals = {(one.kind, other.kind): other.value / one.value, (other.kind, one.kind): one.value / other.value}
    names = (entry["id"], *entry.get("aliases", []))
    return Ingredient(entry["id"], tuple(name.lower() for name in names), tuple(entry.get("groups", [])), equals)


def _product(entry: dict[str, Any], only: str) -> Product:
    texts = entry.get("strengths") or {only: entry["strength"]}
    steps = [Step(_nanolitres(step.get("up_to")), _nanolitres(step["step"])) for step in entry.get("measure", [])]
    shown = " and ".join(text if len(texts) == 1 else f"{name} {text}" for name, text in texts.items())
    return Product(
        id=entry["id"],
        name=entry["name"],
        form=entry["form"],
        release=entry.get("release", "immediate"),
        routes=tuple(entry["routes"]),
        strengths={name: read_strength(text) for name, text in texts.items()},
        strength_text=shown,
        measure=tuple(steps),
        divides=entry.get("divides", 1),
        source=source_text(entry.get("source", {})),
        origin=entry.get("origin", "base"),
        device=entry.get("device", ""),
        output=entry.get("output", ""),
        particle=entry.get("particle", ""),
        puffs=entry.get("puffs"),
    )


def _nanolitres(text: str | None) -> Fraction | None:
    return None if text is None else read_amount(text, ("volume",), "volume", "5 mL").value


def _regimens(entry: dict[str, Any], policy: Policy, high_risk: bool, only: str) -> list[Regimen]:
    """One regimen an entry; a table by band becomes one a band, "id, band 2"."""
    if "band" not in entry:
        return [_regimen(entry, policy, high_risk, only)]
    shared = {key: value for key, value in entry.items() if key != "band"}
    return [
        _regimen({**shared, **band, "id": f"{entry['id']}, band {n}"}, policy, high_risk, only) for n, band in enumerate(entry["band"], 1)
    ]


def _regimen(entry: dict[str, Any], policy: Policy, high_risk: bool, only: str) -> Regimen:
    daily = entry.get("max_daily", [])
    return Regimen(
        id=entry["id"],
        valid_from=entry["valid_from"],
        route=entry["route"],
        purposes=tuple(entry["for"]),
        step=entry.get("step"),
        conditions=frozenset(entry.get("conditions", [])),
        release=entry.get("release", "immediate"),
        products=tuple(entry.get("products", [])),
        ingredient=entry.get("ingredient", only),
        covers=tuple(entry.get("covers", [])),
        bands=bands_of(entry),
        span=read_span(entry["dose"]),
        per=entry.get("per", "dose"),
        limits=compile_limits(entry, policy, high_risk),
        required=tuple(entry.get("required", [])),
        goes_by=entry.get("goes_by", ""),
        no_daily=daily["none"] if isinstance(daily, dict) else "",
        rounding=entry.get("rounding", ""),
        ask_first=tuple(entry.get("ask_first", [])),
        note=entry.get("note", ""),
        source=source_text(entry["source"]),
        origin=entry.get("origin", "base"),
        reason=entry.get("reason", ""),
        checked="; ".join(f"checked by {c['by']} on {c['on']}" for c in entry.get("checked", [])) or "not yet checked by anyone here",
        entry=entry,
    )


def bands_of(entry: dict[str, Any]) -> tuple[Band, ...]:
    bands = []
    for key, prefix in _BAND_FACTS.items():
        ends: dict[str, list[int | None]] = {}
        for place, end in enumerate(("from", "below")):
            if end in entry.get(key, {}):
                fact, number = _age_edge(key, entry[key][end], end)
                ends.setdefault(prefix + fact, [None, None])[place] = number
        bands += [Band(fact, low, high) for fact, (low, high) in ends.items()]
    for key, read in (("weight", lambda t: read_weight(t).value), ("gestation", read_weeks), ("egfr", lambda t: read_filtration(t).value)):
        if key in entry:
            low, high = (read(entry[key][end]) if end in entry[key] else None for end in ("from", "below"))
            bands.append(Band(key, low, high))
    return tuple(bands)


def _age_edge(key: str, text: str, end: str) -> tuple[str, int]:
    return ("days", read_weeks(text, "post-menstrual age")) if key == "postmenstrual" else edge(text, end)


def _age_limit(entry: dict[str, Any]) -> AgeLimit:
    comparisons, said = [], []
    for key, prefix in (("age_below", ""), ("corrected_below", "corrected "), ("postmenstrual_below", "postmenstrual ")):
        if key in entry:
            fact, number = _age_edge(key.removesuffix("_below"), entry[key], key)
            comparisons.append(Comparison(prefix + fact, AT_LEAST, number, 1))
            said.append(f"below {entry[key]}" + (f" {prefix.strip()} age" if prefix else ""))
    if "weight_below" in entry:
        weight = read_weight(entry["weight_below"])
        comparisons.append(Comparison("weight", AT_LEAST, weight.value.numerator, weight.value.denominator))
        said.append(f"below {entry['weight_below']}")
    condition = entry.get("condition")
    used = " or ".join(entry["for"]) + " in " if entry.get("for") else ""
    text = f"not for {used}a child " + " and ".join(said) + (f" with: {condition}" if condition else "")
    limit = Limit("age limit", "not-for-this-child", STOP, tuple(comparisons), text)
    return AgeLimit(
        entry["id"],
        limit,
        condition,
        tuple(entry.get("routes", [])),
        tuple(entry.get("for", [])),
        source_text(entry["source"]),
        entry.get("origin", "base"),
    )
