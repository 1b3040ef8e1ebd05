"""What the relations' tests share: the real formulary, copies of it with one thing changed, and orders near its limits.

The orders are texts, as a user writes them.  `PASSING` holds one order for each regimen under which some child and
dose come out "within".  The engine's own limits are used to aim an order, never to say what its answer should be.
"""

from __future__ import annotations

import atexit
import json
import re
import shutil
import tempfile
import tomllib
from collections.abc import Iterator
from datetime import date, timedelta
from fractions import Fraction
from functools import cache
from pathlib import Path
from typing import Any

from hypothesis import HealthCheck, settings
from hypothesis import strategies as st

from dosecheck import Formulary, Verdict, check_order, read_order
from dosecheck.formulary.folder import parse, read_folder
from dosecheck.formulary.medicine import Medicine, Regimen
from dosecheck.quantity import factor
from dosecheck.reading import read_time
from dosecheck.records import WITHIN
from dosecheck.rules.explain import most_for_one_dose
from dosecheck.rules.facts import body_of, common_facts, ratio

FOLDER = Path(__file__).parents[2] / "formulary"
REAL = Formulary(FOLDER)
HIGH = {
    "dose-above-range",
    "dose-above-single-max",
    "day-above-range",
    "day-above-max",
    "total-above-max",
    "rate-above-max",
    "concentration-above-max",
}
TOO_OFTEN = {"gap-too-short", "too-many-doses"}
LOW = {"dose-below-range", "day-below-range", "dose-below-floor"}
ON = "2026-05-04"

Texts = dict[str, str]


def runs(examples: int) -> settings:
    """Hypothesis without a clock: the same examples each time, and no deadline."""
    return settings(deadline=None, derandomize=True, max_examples=examples, suppress_health_check=list(HealthCheck))


# ---- asking ----


def check(texts: Texts, formulary: Formulary = REAL) -> Verdict:
    return check_order(*read_order(texts), formulary)


def codes(verdict: Verdict) -> set[str]:
    return set(verdict.codes)


def is_high(verdict: Verdict) -> bool:
    return bool(codes(verdict) & HIGH)


def numbers(verdict: Verdict) -> tuple:
    """Everything exact about an answer, once in base units; order of the file aside."""
    limits = sorted((s.regimen.full_id, s.limit.name, s.limit.text, s.state, s.comes_to.value if s.comes_to else 0) for s in verdict.limits)
    return verdict.outcome, verdict.codes, verdict.one_dose and (verdict.one_dose.kind, verdict.one_dose.value), limits


def same(one: Texts, other: Texts, formulary: Formulary = REAL) -> None:
    """Both orders have the same outcome, codes and exact numbers."""
    assert numbers(check(one, formulary)) == numbers(check(other, formulary)), (one, other)


def plain(number: Fraction | int, places: int = 6) -> str:
    """`number` cut to so many decimals, without a trailing zero."""
    whole, rest = divmod(int(Fraction(number) * 10**places), 10**places)
    return f"{whole}.{rest:0{places}d}".rstrip("0").rstrip(".") if places else str(whole)


# ---- formularies ----


def toml(value: Any) -> str:
    """A value as TOML on one line."""
    if isinstance(value, dict):
        return "{ " + ", ".join(f"{key} = {toml(v)}" for key, v in value.items()) + " }"
    if isinstance(value, list):
        return "[" + ", ".join(map(toml, value)) + "]"
    return value.isoformat() if isinstance(value, date) else json.dumps(value, ensure_ascii=False)


def as_file(raw: dict[str, Any]) -> bytes:
    return "".join(f"{key} = {toml(value)}\n" for key, value in raw.items()).encode()


def raw_of(name: str) -> dict[str, Any]:
    """The tables of one medicine's file of the real formulary, without its printed examples: they are no rules."""
    raw = tomllib.loads((FOLDER / "medicines" / f"{name}.toml").read_text("utf-8"), parse_float=str)
    return {key: value for key, value in raw.items() if key != "example"}


@cache
def frame() -> tuple[bytes, dict[str, Any]]:
    """The real policy but for its z-limits of weights (weights are swept here), and the sources by id."""
    files = read_folder(FOLDER)
    policy = re.sub(rb"\[(weight_z|weight_far_above)\].*?(?=\n\[)", b"", files["policy.toml"], flags=re.S)
    return policy, parse("sources.toml", files["sources.toml"])


def formulary_of(*raws: dict[str, Any]) -> Formulary:
    """A linted formulary of these medicines, beside the real policy and the sources that they name."""
    policy, sources = frame()
    cited = repr(raws)
    named = {source: entry for source, entry in sources.items() if f"'{source}'" in cited}
    files = {f"medicines/{raw['id']}.toml": as_file(raw) for raw in raws}
    return in_folder(files | {"policy.toml": policy, "sources.toml": as_file(named)})


def in_folder(files: dict[str, bytes]) -> Formulary:
    folder = Path(tempfile.mkdtemp(prefix="dosecheck-"))
    atexit.register(shutil.rmtree, folder, ignore_errors=True)
    for name, content in files.items():
        (folder / name).parent.mkdir(exist_ok=True)
        (folder / name).write_bytes(content)
    return Formulary(folder)


TINY = {"id": "exampol", "name": "exampol", "status": "example", "ingredient": [{"id": "exampol"}]}
LINE = {"id": "oral-child", "valid_from": date(2024, 5, 1), "route": "oral", "for": ["pain"], "age": {"from": "1 month", "below": "18 years"},
        "max_daily": {"none": "the source has none"}, "source": {"id": "who-child-pain-2012", "place": "table 3, row 2"}}  # fmt: skip
ASK = {"medicine": "exampol", "route": "oral", "weight": "20 kg", "age": "5 years", "on": ON}


def tiny(*changes: dict[str, Any], **more: Any) -> Formulary:
    """One invented medicine, with a regimen for each of `changes`."""
    return formulary_of({**TINY, **more, "regimen": [{**LINE, **change} for change in changes]})


def alone(medicine: str, regimen_id: str, **change: Any) -> dict[str, Any]:
    """A real medicine's file with one regimen (by its id, any "band" and "local" aside) left in it; None drops a key."""
    raw = raw_of(medicine)
    entries = [{key: value for key, value in {**r, **change}.items() if value is not None} for r in raw["regimen"] if r["id"] == regimen_id]
    return {**raw, "regimen": entries[-1:]}


# ---- children and orders that fit a regimen ----

_DAYS = (0, 3, 9, 15, 20, 29, 40, 70, 100, 150, 200, 300, 380, 500, 750, 900, 1300, 1700, 2300, 3100, 3800, 4500, 5200, 6000, 6500)
_WEIGHTS = (
    "1.4",
    "2.4",
    "2.6",
    "3.4",
    "4.2",
    "4.8",
    "5.5",
    "6.5",
    "8",
    "9.5",
    "12",
    "14.2",
    "17",
    "19.5",
    "22",
    "24",
    "27",
    "29.5",
    "33",
    "38",
    "43",
    "46",
    "52",
    "61",
    "72",
)
_GESTATIONS = ("40 weeks", "25 weeks", "31 weeks", "34 weeks", "36 weeks 3 days")


def _usual(days: int) -> Fraction:
    """A weight that is believable at this age, in kg."""
    return Fraction(7, 2) + Fraction(days, 62) if days < 365 else 8 + 2 * Fraction(days, 365)


@cache
def children() -> tuple[tuple[Texts, dict], ...]:
    """Children with their facts, the most usual weights first."""
    found = []
    for days in _DAYS:
        born = (date.fromisoformat(ON) - timedelta(days=days)).isoformat()
        for weight in sorted(_WEIGHTS, key=lambda w: abs(Fraction(w) - _usual(days)))[:7]:
            for weeks in _GESTATIONS if days < 130 else _GESTATIONS[:1]:
                texts = {
                    "born": born,
                    "on": ON,
                    "weight": f"{weight} kg",
                    "weight_is": "measured",
                    "weighed": ON,
                    "gestation": weeks,
                    "height": "90 cm",
                }
                found.append((texts, body_of(read_order(texts)[1]).intervals))
    return tuple(found)


@cache
def children_for(medicine: str, regimen: str) -> tuple[Texts, ...]:
    """Those children whom all bands of the regimen hold."""
    bands = named(medicine, regimen).bands
    return tuple(texts for texts, facts in children() if all(band.holds(facts.get(band.fact)) for band in bands))


def named(medicine: str, regimen: str) -> Regimen:
    return next(r for r in REAL.medicine(medicine).regimens if r.id == regimen)


def often(regimen: Regimen) -> list[Texts]:
    """Ways of saying how often that the regimen might allow; a gap below 288 seconds is more than 300 doses a day."""
    entry = {key: value for key, value in regimen.entry.items() if key != "min_gap" or read_time(value).value >= 288}
    ways = [{"times_a_day": str(n)} for n in entry.get("doses_a_day", [])]
    ways += [{"every": entry["min_gap"]}] if "min_gap" in entry else []
    ways += [{"every": entry["min_gap"], "at_most": str(entry["max_doses"])}] if {"min_gap", "max_doses"} <= set(entry) else []
    ways += [{"times_a_day": str(entry["max_doses"])}] if "max_doses" in entry else []
    return [*ways, {"once": "yes"}] if not regimen.span.continuous else [{}]


def asked(medicine: Medicine, regimen: Regimen) -> Texts:
    """Everything that says which regimen is meant."""
    texts = {"medicine": medicine.id, "route": regimen.route, "for": regimen.purposes[0]}
    texts |= {"step": regimen.step} if regimen.step else {}
    texts |= {"condition": "; ".join(sorted(regimen.conditions))} if regimen.conditions else {}
    texts |= {"over": regimen.entry.get("min_duration", "30 minutes")} if "rate" in regimen.required else {}
    fitting = [p for p in medicine.products if p.id in regimen.products] or [
        p for p in medicine.products if p.release == regimen.release and regimen.route in p.routes
    ]
    return texts | ({"product": fitting[0].id} if fitting and (regimen.products or len(medicine.ingredients) > 1) else {})


def dose_near(medicine: Medicine, regimen: Regimen, texts: Texts, share: Fraction) -> str | None:
    """An absolute dose of `share` times the least upper bound for this child; an infusion as the file writes it."""
    of = f" of {medicine.ingredient(regimen.ingredient).names[-1]}" if medicine.basis_stated else ""
    if regimen.span.continuous:
        figure = regimen.span.high or regimen.span.low
        return f"{plain(figure.number * share)} {figure.unit}"
    order, child = read_order(texts)
    count = order.times_a_day or (order.at_most or 0) or (int(-(-86400 // order.every.gap[0])) if order.every else 1)
    facts = common_facts(order, child) | {"doses": ratio(count), "average": ratio(count), "given": ratio(1)}
    bounds = [b for b in (most_for_one_dose(limit, facts) for limit in regimen.limits) if b is not None]
    if not bounds:
        return None
    return amount_text(regimen, min(bounds) * share, of)


def amount_text(regimen: Regimen, value: Fraction, of: str = "") -> str:
    """`value` base units in the unit that the file uses, cut to six decimals."""
    unit = (regimen.span.high or regimen.span.low).unit.split("/")[0]
    text = plain(value / factor(unit, regimen.kind), 6 if unit not in ("puffs", "tablets", "drops") else 0)
    return f"{text} {unit}{of}"


def _first_passing(medicine: Medicine, regimen: Regimen) -> Texts | None:
    fitting = children_for(medicine.id, regimen.id)
    for child in fitting[:: max(1, len(fitting) // 8)]:
        for way in often(regimen):
            for share in (Fraction(1), Fraction(19, 20), Fraction(4, 5), Fraction(1, 2)):
                texts = asked(medicine, regimen) | child | way
                dose = dose_near(medicine, regimen, texts, share)
                if dose and not dose.startswith("0 ") and check(texts | {"dose": dose}).outcome == WITHIN:
                    return texts | {"dose": dose}
    return None


def _passing() -> Iterator[tuple[str, Texts]]:
    for medicine in REAL.medicines():
        for regimen in medicine.regimens:
            texts = _first_passing(medicine, regimen)
            if texts:
                yield regimen.id, texts


PAIRS = tuple(_passing())
PASSING = tuple(texts for _, texts in PAIRS)

_SHARES = [Fraction(n, 100) for n in (1, 10, 45, 80, 90, 97, 100, 100, 100, 101, 105, 110, 111, 150, 200, 1000)]
_NOISE = (("for", None), ("step", None), ("weight", None), ("route", None), ("age", None), ("gestation", None), ("height", None), ("weighed", None), ("weighed", "2025-01-01"),
          ("weight_is", "estimated"), ("product", None), ("as_needed", "yes"), ("course", "3 days"), ("over", "10 minutes"), ("made_up_to", "20 mL"), ("dose", None))  # fmt: skip


LINES = tuple((medicine, regimen) for medicine in REAL.medicines() for regimen in medicine.regimens)


@st.composite
def orders(draw: st.DrawFn, noise: int = 2, line: int | None = None) -> Texts:
    """An order near the limits of a regimen of the real formulary (any of LINES), with some things changed or left out."""
    medicine, regimen = LINES[draw(st.integers(0, len(LINES) - 1)) if line is None else line]
    texts = asked(medicine, regimen) | draw(st.sampled_from(children_for(medicine.id, regimen.id) or (children()[0][0],)))
    texts |= draw(st.sampled_from(often(regimen)))
    dose = dose_near(medicine, regimen, texts, draw(st.sampled_from(_SHARES)))
    if dose and not dose.startswith("0 "):
        texts["dose"] = dose
    for field, value in draw(st.lists(st.sampled_from(_NOISE), max_size=noise)):
        texts[field] = value
    if "once" in texts:
        texts.pop("as_needed", None)
    if (texts.get("weighed") or ON) < texts["born"]:
        del texts["weighed"]
    if draw(st.integers(0, 3)) == 0:
        texts |= {
            "born": None,
            "age": draw(st.sampled_from(("2 years", "5 years", "5 weeks", "8 months", "11 years 4 months"))),
            "weighed": None,
        }
    return {field: value for field, value in texts.items() if value is not None}


__all__ = [name for name in globals() if not name.startswith("_")]
