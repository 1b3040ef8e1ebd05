"""Orders for the oracle's tests: texts near the real limits of a regimen, drawn by hypothesis.

Reads the same plain TOML dicts as the oracle.  Every text is well formed; what it says may be right, beside an edge,
tenfold, of another product, or missing.
"""

from __future__ import annotations

from datetime import date, timedelta
from fractions import Fraction
from typing import Any

import oracle_words as words
from hypothesis import strategies as st

COUNTS = ("puff", "tablet", "capsule", "dose", "suppository", "drop", "sachet")
UNITS = {
    "mass": {"mg": Fraction(1), "micrograms": Fraction(1, 1000), "g": Fraction(1000), "nanograms": Fraction(1, 10**6)},
    "activity": {"units": Fraction(1), "milliunits": Fraction(1, 1000)},
    "substance": {"mmol": Fraction(1)},
    "volume": {"mL": Fraction(1)},
    **{thing: {"suppositories" if thing == "suppository" else thing + "s": Fraction(1)} for thing in COUNTS},
}
SHARES = [Fraction(1)] * 4 + [Fraction(n, 100) for n in (10, 50, 75, 90, 100, 105, 110, 120, 125, 200, 1000)]
NUDGES = (0, 0, 0, 1, -1, 1, -1)


def often(draw: Any, usual: Any, *others: Any, weight: int = 6) -> Any:
    """`usual` most times, else one of the others."""
    return draw(st.sampled_from([usual] * weight + list(others)))


def decimal(value: Fraction, places: int) -> str:
    """`value` cut to so many places and never zero, without a trailing zero."""
    units = max(1, int(value * 10**places))
    whole, rest = divmod(units, 10**places)
    text = f"{whole}.{rest:0{places}d}" if places else str(whole)
    return text.rstrip("0").rstrip(".") if "." in text else text


def places_of(value: Fraction) -> int:
    """How many places write `value` out; 5 when none do."""
    return next((n for n in range(10) if (value * 10**n).denominator == 1), 5)


def beside(draw: Any, value: Fraction, most_places: int = 9) -> str:
    """`value`, or one smallest unit beside it, as text."""
    places = min(places_of(value), most_places)
    nudge = draw(st.sampled_from(NUDGES))
    if nudge:
        places = draw(st.integers(places, min(places + 3, most_places)))
    return decimal(value + Fraction(nudge, 10**places), places)


# ---- the child ----


def age_edges(medicine: dict) -> list[str]:
    found = [end for r in medicine.get("regimen", []) for e in (r, *r.get("band", [])) for key in ("age", "corrected") for end in e.get(key, {}).values()]
    return found + [limit["age_below"] for limit in medicine.get("age_limit", []) if "age_below" in limit] or ["2 years"]


def child_age(draw: Any, medicine: dict, regimen: dict | None) -> dict[str, str]:
    """An age in or near a band: as stated, or by dates round the very day of an edge."""
    edges = list(regimen["age"].values()) if regimen and "age" in regimen and draw(st.integers(0, 3)) else age_edges(medicine)
    number, unit = draw(st.sampled_from(edges)).split(" ")
    unit = unit.rstrip("s")
    way = draw(st.sampled_from(("stated", "stated", "inside", "dates", "dates", "other", "missing")))
    if way == "missing":
        return often(draw, {}, {"age": "9 years"}, weight=1)
    if way == "inside":
        low, high = (_months(edge) for edge in (regimen or {}).get("age", {}).values()) if len((regimen or {}).get("age", {})) == 2 else (0, 220)
        months = draw(st.integers(low, max(low, high - 1)))
        return {"age": f"{months} months"} if months % 2 or months < 24 else {"age": f"{months // 12} years"}
    if way == "other":
        return {"age": draw(st.sampled_from(("0 days", "27 days", "28 days", "4 weeks", "8 weeks", "0 months", "0 years", "3 years 11 months", "17 years", "11 weeks")))}
    near = max(0, int(number) + draw(st.sampled_from((-1, 0, 0, 1))))
    if way == "stated":
        plain = f"{near} {unit}s" if near != 1 else f"1 {unit}"
        return {"age": often(draw, plain, f"{12 * near} months", f"{near} years 1 month", weight=3) if unit == "year" else plain}
    born = date(2014, 1, 1) + timedelta(days=draw(st.integers(0, 1500)))
    if unit in ("year", "month"):
        edge = words.later(born, int(number) * (12 if unit == "year" else 1))
    else:
        edge = born + timedelta(days=int(number) * (7 if unit == "week" else 1))
    on = max(born, edge + timedelta(days=draw(st.sampled_from((-1, 0, 1, 40)))))
    return {"born": born.isoformat(), "on": on.isoformat()}


def _months(edge: str) -> int:
    number, unit = edge.split(" ")
    return int(number) * 12 if unit.startswith("year") else int(number) if unit.startswith("month") else 0


def child_body(draw: Any, medicine: dict, regimen: dict | None) -> dict[str, str]:
    texts = {}
    entries = [e for r in ([regimen] if regimen else medicine.get("regimen", [])) for e in (r, *r.get("band", []))]
    edges = [end for e in entries for end in e.get("weight", {}).values()]
    if edges and draw(st.booleans()):
        number, unit = draw(st.sampled_from(edges)).split(" ")
        texts["weight"] = f"{beside(draw, Fraction(number), 3)} {unit}"
    elif draw(st.integers(0, 9)):
        number = Fraction(draw(st.integers(5, 700)), 10)
        texts["weight"] = often(draw, f"{decimal(number, 1)} kg", f"{decimal(number * 1000, 0)} g", f"{decimal(number, 1)} lb")
    if draw(st.integers(0, 2)) == 0 or "m2" in repr(regimen):
        texts["height"] = often(draw, f"{draw(st.integers(400, 1900))} mm", weight=1).replace(" mm", "")
        texts["height"] = f"{decimal(Fraction(int(texts['height']), 10), 1)} cm"
        if draw(st.integers(0, 9)) == 0:
            del texts["height"]
    if draw(st.integers(0, 2)) == 0:
        week = draw(st.sampled_from((24, 31, 34, 35, 36, 37, 38, 40, 41)))
        texts["gestation"] = often(draw, f"{week} weeks", f"{week} weeks {draw(st.integers(1, 6))} days", weight=1)
    if "weight" in texts and draw(st.integers(0, 2)) == 0:
        texts["weight_is"] = draw(st.sampled_from(("measured", "stated", "estimated")))
    return texts


def weighed(draw: Any, texts: dict[str, str]) -> None:
    """Sometimes the date of the weight, round the policy's limits."""
    if draw(st.integers(0, 3)) or "weight" not in texts:
        return
    texts.setdefault("on", "2026-03-01")
    day = date.fromisoformat(texts["on"]) - timedelta(days=draw(st.sampled_from((0, 13, 14, 15, 89, 90, 91, 400))))
    texts["weighed"] = max(day.isoformat(), texts.get("born", day.isoformat()))


# ---- what is ordered ----


def choice(draw: Any, medicine: dict, regimen: dict | None) -> dict[str, str]:
    """Medicine, route, purpose, step, conditions and product: mostly the regimen's own."""
    texts = {"medicine": often(draw, medicine["id"], medicine["name"], *medicine.get("aliases", []), weight=3), "route": "oral"}
    if regimen:
        texts["route"] = often(draw, regimen["route"], "topical", "oral", weight=20)
        texts["for"] = often(draw, draw(st.sampled_from(regimen["for"])), *([None] * 3), "pain", "nothing known", weight=16)
        texts["step"] = often(draw, regimen.get("step"), None, "first", "maintenance")
    stated = set(regimen.get("conditions", []) if regimen else []) if draw(st.integers(0, 7)) else set()
    known = [c for r in medicine.get("regimen", []) for c in r.get("conditions", [])] + [x["condition"] for x in medicine.get("age_limit", []) if "condition" in x]
    if draw(st.integers(0, 7)) == 0:
        stated.add(draw(st.sampled_from([*known, "nothing known"])))
    texts["condition"] = "; ".join(sorted(stated)) or None
    ids = [p["id"] for p in medicine.get("product", [])]
    fitting = (regimen or {}).get("products") or [p["id"] for p in medicine.get("product", []) if texts["route"] in p["routes"]]
    usual = draw(st.sampled_from([*fitting, None, None])) if not (regimen or {}).get("products") else draw(st.sampled_from([*fitting, *fitting, None]))
    texts["product"] = often(draw, usual, *ids, "no-such-product", weight=12)
    return {key: text for key, text in texts.items() if text is not None}


def frequency(draw: Any, regimen: dict | None) -> dict[str, str]:
    """How often, round the regimen's gap and number of doses."""
    regimen = regimen or {}
    gap = words.seconds(regimen.get("min_gap", "6 hours"))
    most = regimen.get("max_doses") or max(regimen.get("doses_a_day", [4]))
    ways = ["every", "times", "range", "none"] + ["once"] * 2 + ["every", "times"] * 2
    way = draw(st.sampled_from(ways))
    texts: dict[str, str] = {}
    if way == "once":
        return draw(st.sampled_from(({"once": "yes"}, {"every": "once"})))
    if way == "every":
        minutes = max(5, int(gap / 60) + draw(st.sampled_from((0, 0, 0, 1, -1, 60, -60))))
        usual = f"{minutes // 60} hours" if minutes % 60 == 0 else f"{minutes} minutes"
        texts["every"] = often(draw, usual, "5 hours", "6 hours", "8 hours", "36 hours", "1 day", "2 days", weight=8)
    if way == "range":
        first = max(1, int(gap / 3600) + draw(st.sampled_from((0, 0, -1))))
        texts["every"] = f"{first} to {first + draw(st.sampled_from((0, 2, 4)))} hours"
    if way == "times":
        texts["times_a_day"] = str(max(1, most + draw(st.sampled_from((0, 0, 0, 0, 1, -1)))))
    if draw(st.integers(0, 5)) == 0:
        texts["at_most"] = str(max(1, most + draw(st.sampled_from((0, 0, 1, -1)))))
        texts["as_needed"] = "yes"
    return texts


def conduct(draw: Any, regimen: dict | None) -> dict[str, str]:
    """Sometimes how fast, in what volume, and for how long."""
    regimen, texts = regimen or {}, {}
    if draw(st.integers(0, 3)) == 0 or ("rate" in regimen.get("required", []) and draw(st.integers(0, 4))):
        minutes = words.seconds(regimen.get("min_duration", "10 minutes")) / 60
        texts["over"] = f"{beside(draw, minutes, 2)} minutes"
    if draw(st.integers(0, 5)) == 0 or "max_concentration" in regimen:
        texts["made_up_to"] = f"{draw(st.sampled_from((1, 2, 5, 10, 20, 50, 100)))} mL"
    if draw(st.integers(0, 2)) == 0:
        days = words.seconds(regimen.get("max_course", "5 days")) / words.DAY
        texts["course"] = often(draw, f"{beside(draw, days, 1)} days", "36 hours", "1 week", "7 days", weight=6)
    return texts


# ---- the dose ----


def bounds(regimen: dict) -> list[words.Amount]:
    dose = regimen["dose"]
    found = [words.amount(text) for text in ([dose] if isinstance(dose, str) else dose.values())] * 3
    for key in ("max_single", "max_daily"):
        if isinstance(regimen.get(key), list):
            found += [words.amount(text) for text in regimen[key]]
    found += [words.amount(text) for total in regimen.get("totals", []) for text in total["max"]]
    return found + ([words.amount(regimen["floor"])] if "floor" in regimen else [])


def size(texts: dict[str, str], bound: words.Amount) -> Fraction:
    """What makes an amount of a bound per kg or per m2 (about), for this child."""
    weight = words.kilograms(texts["weight"]) if "weight" in texts else Fraction(10)
    if "kg" in bound.below:
        return weight
    tall = words.centimetres(texts["height"]) if "height" in texts else Fraction(100)
    return Fraction(round((float(weight * tall) / 3600) ** 0.5 * 10**4), 10**4) if "m2" in bound.below else Fraction(1)


def dose_text(draw: Any, medicine: dict, regimen: dict, texts: dict[str, str]) -> str:
    bound = draw(st.sampled_from(bounds(regimen)))
    number = bound.number * size(texts, bound) * draw(st.sampled_from(SHARES))
    count = int(texts.get("times_a_day", 4))
    shared = draw(st.sampled_from((1, 1, 1, count)))
    number, what, ending = number / shared, bound.what, ""
    form = draw(st.sampled_from(("plain", "plain", "plain", "size", "product", "product", "day")))
    under = ""
    if "time" in bound.below:
        unit = draw(st.sampled_from(("min", "h")))
        number, under = number * words.TIMES[unit], f"/{unit}"
    if form == "size":
        per = often(draw, "kg", "m2") if "m2" not in bound.below else "m2"
        number, under = number / size(texts, words.Amount(number, what, frozenset({per}))), f"/{per}{under}"
    if form == "day" and "time" not in bound.below:
        number, ending = number * count, " a day"
    product = next((p for p in medicine.get("product", []) if p["id"] == texts.get("product")), None)
    if form == "product" and (product or draw(st.integers(0, 9)) == 0):
        number, what = _by_product(number, product, regimen)
    return _written(draw, number, what, under, ending, _of(draw, medicine, regimen, what))


def _by_product(number: Fraction, product: dict | None, regimen: dict) -> tuple[Fraction, str]:
    if product is None:
        return number, "volume"
    text = product.get("strength") or product["strengths"].get(regimen.get("ingredient")) or next(iter(product["strengths"].values()))
    strength = words.strength(text)
    return number / strength.number, next(iter(strength.below))


def _of(draw: Any, medicine: dict, regimen: dict, what: str) -> str:
    """ " of trimethoprim" where an amount must say it, and sometimes where it need not."""
    if what not in ("mass", "activity", "substance"):
        return ""
    ingredients = medicine["ingredient"]
    mine = next((i for i in ingredients if i["id"] == regimen.get("ingredient")), ingredients[0])
    names = [mine["id"], *mine.get("aliases", [])]
    needed = len(ingredients) > 1 or medicine.get("basis") == "stated"
    if needed:
        others = [i["id"] for i in ingredients]
        return often(draw, " of " + draw(st.sampled_from(names)), "", " of nothing", *(" of " + o for o in others), weight=9)
    return often(draw, "", " of " + names[-1], " of nothing", weight=20)


def _written(draw: Any, number: Fraction, what: str, under: str, ending: str, of: str) -> str:
    usual = list(UNITS[what])
    unit = often(draw, usual[0], *usual, weight=3)
    if draw(st.integers(0, 40)) == 0 and what in ("mass", "activity", "substance"):
        unit = draw(st.sampled_from(("mg", "units", "mmol")))
        value = number
    else:
        value = number / UNITS[what][unit]
    value = min(value, Fraction(10**9))
    text = beside(draw, value)
    if draw(st.integers(0, 7)) == 0:
        low = decimal(Fraction(text) * draw(st.sampled_from((Fraction(1, 2), Fraction(9, 10), Fraction(1, 10)))), 9)
        if Fraction(low) < Fraction(text):
            text = f"{low} to {text}"
    return f"{text} {unit}{under}{of}{ending}"


@st.composite
def orders(draw: Any, medicines: list[dict]) -> dict[str, str]:
    """One order as texts."""
    medicine = draw(st.sampled_from(medicines))
    regimens = medicine.get("regimen", [])
    regimen = draw(st.sampled_from(regimens)) if regimens else None
    texts = choice(draw, medicine, regimen)
    opened = regimen
    if regimen and "band" in regimen:
        band = draw(st.sampled_from(regimen["band"]))
        opened = {**regimen, **band, "age": band.get("age", regimen.get("age", {})), "weight": band.get("weight", regimen.get("weight", {}))}
        opened = {key: value for key, value in opened.items() if value != {}}
    texts |= child_age(draw, medicine, opened)
    texts |= child_body(draw, medicine, opened)
    texts |= frequency(draw, opened)
    texts |= conduct(draw, opened)
    if "born" not in texts and draw(st.integers(0, 4)) == 0:
        texts["on"] = draw(st.sampled_from(("2026-03-01", "2024-11-01", "2024-10-31", "2012-01-01", "1990-01-01")))
    weighed(draw, texts)
    if opened and draw(st.integers(0, 30)):
        texts["dose"] = dose_text(draw, medicine, opened, texts)
    elif draw(st.booleans()):
        texts["dose"] = draw(st.sampled_from(("10 mg", "5 mL", "1 tablet", "10 mg/kg")))
    return texts
