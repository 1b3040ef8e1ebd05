"""What is printed: MR37 (the working recomputes) and hazard H32 (no unsafe way of writing a number)."""

from __future__ import annotations

import re
from fractions import Fraction
from math import isqrt
from typing import Any

import click
import pytest
from hypothesis import given
from hypothesis import strategies as st
from relations.kit import ASK, PASSING, REAL, check, orders, raw_of, runs, tiny

from dosecheck import TextError, Verdict, check_order, read_order
from dosecheck.cli.text import reckoning_text, verdict_text
from dosecheck.reading import read_dose, read_time
from dosecheck.rules.codes import CATALOGUE
from dosecheck.rules.reckon import reckon

# ---- a second, small calculator that knows only what is printed ----

SIZES = {"nanogram": Fraction(1, 10**9), "microgram": Fraction(1, 10**6), "mg": Fraction(1, 1000), "g": Fraction(1), "kg": Fraction(1000), "lb": Fraction(45359237, 10**5),
         "oz": Fraction(45359237, 16 * 10**5), "milliunit": Fraction(1, 1000), "microlitre": Fraction(1, 10**6), "mL": Fraction(1, 1000), "L": Fraction(1), "mmol": Fraction(1, 1000),
         "micromol": Fraction(1, 10**6), "cm": Fraction(1), "min": Fraction(60), "h": Fraction(3600), "m2": Fraction(1)}  # fmt: skip
AMOUNT = re.compile(r"(about )?([0-9][0-9,]*(?:\.[0-9]+)?)( [A-Za-z][A-Za-z0-9/]*)?")
ROOT = re.compile(r"(?:body surface \()?square root of (.+?) / 3600(?:, in m2\))?")


def size(unit: str) -> Fraction:
    """What one of the unit is; a thing that is counted is 1."""
    top, *below = unit.split("/")
    value = SIZES.get(top, SIZES.get(top.removesuffix("s"), Fraction(1)))
    for part in below:
        value /= SIZES.get(part, Fraction(1))
    return value


def product_of(text: str) -> tuple[Fraction, bool]:
    """A chain of amounts with "x" and "/" between them, from left to right; and whether a part was rounded."""
    value, rounded, place, sign = Fraction(1), False, 0, "x"
    while True:
        match = AMOUNT.match(text, place)
        assert match, (text, place)
        unit = (match.group(3) or "").strip()
        number = Fraction(match.group(2).replace(",", "")) * (size(unit) if unit not in ("x", "doses", "dose") else 1)
        place = match.end() - (2 if unit == "x" else 0)
        value, rounded = (value * number if sign == "x" else value / number), rounded or bool(match.group(1))
        if place == len(text):
            return value, rounded
        sign, place = text[place + 1], place + 3


def recompute(line: str) -> tuple[Fraction, Fraction, bool] | None:
    """(left, right, rounded) of "what: a x b = c (note)"; None where there is nothing to reckon."""
    _, _, body = line.partition(": ")
    left, equals, right = body.rpartition(" = ")
    if not equals or not re.search(r" [x/] |square root", left):
        return None
    right = right.partition(" (")[0]
    root = ROOT.search(left)
    rounded = bool(root)
    if root:
        under = root.group(1).replace("about ", "")
        height, weight = (
            Fraction(number.split(" ")[0].replace(",", "")) * times
            for number, times in zip(under.split(" x "), _plain_sizes(under), strict=True)
        )
        area = Fraction(isqrt(int(height * weight / 3600 * 10**16)), 10**8)
        left = left.replace(root.group(0), f"{float(area):.8f} m2")
    value, parts_rounded = product_of(left)
    result, result_rounded = product_of(right)
    return value, result, rounded or parts_rounded or result_rounded


def _plain_sizes(text: str) -> tuple[Fraction, Fraction]:
    """The formula takes cm and kg."""
    height, weight = (part.split(" ")[1] for part in text.split(" x "))
    return {"cm": Fraction(1), "m": Fraction(100)}[height], SIZES[weight] / 1000


def lines_of(verdict: Verdict) -> list[str]:
    suggestion = verdict.suggestion
    return [step.text for step in (*verdict.working, *(suggestion.steps if suggestion else ()))]


def recomputes(lines: list[str]) -> int:
    done = 0
    for line in lines:
        both = recompute(line)
        if both:
            value, result, rounded = both
            assert value == result or (rounded and abs(result / value - 1) < Fraction(1, 500)), line
            done += 1
    return done


@runs(400)
@given(orders(), st.sampled_from(("kg", "lb", "g")))
def test_mr37_the_working_recomputes(texts: dict, unit: str) -> None:
    """MR37: each printed line of working gives its printed result, exactly unless it is marked "about"."""
    if "weight" in texts:
        number = Fraction(texts["weight"].split(" ")[0])
        texts = {**texts, "weight": f"{number * 1000} g" if unit == "g" else f"{texts['weight'].split(' ')[0]} {unit}"}
    products = REAL.medicine(texts["medicine"]).products
    recomputes(lines_of(check({**texts, "product": products[0].id} if products and "product" not in texts else texts)))


@runs(60)
@given(st.sampled_from(PASSING), st.integers(100, 9000))
def test_mr37_the_working_of_dose_recomputes(texts: dict, hundredths: int) -> None:
    """MR37: so does the working that `dose` prints, with that of each product."""
    answer = reckon(*read_order({**texts, "weight": f"{hundredths * 10} g"}), REAL).as_dict()
    for figures in answer["figures"]:
        recomputes(figures["working"])
        for product in figures["products"]:
            recomputes(product["working"])


AREA = tiny({"dose": "100 mg/m2", "max_daily": ["400 mg/m2"], "min_gap": "4 hours"})
LINES_SEEN = [
    (REAL, {"dose": "15 mg/kg a day", "times_a_day": "3"}, 2), (REAL, {"dose": "0.5 g", "weight": "33 lb"}, 1), (REAL, {"dose": "8.5 mL", "product": "oral-liquid-120-in-5"}, 3),
    (AREA, {"medicine": "exampol", "dose": "100 mg/m2", "height": "110 cm"}, 3), (AREA, {"medicine": "exampol", "dose": "70 mg", "height": "1.1 m", "weight": "40 lb"}, 2),
]  # fmt: skip


@pytest.mark.parametrize(("formulary", "change", "least"), LINES_SEEN, ids=[str(change) for _, change, _ in LINES_SEEN])
def test_mr37_every_sort_of_line(formulary: Any, change: dict, least: int) -> None:
    """MR37: per kg, by volume, a day's dose shared out, pounds and body surface: there are such lines, and they recompute."""
    texts = {**ASK, "medicine": "paracetamol", **({} if "times_a_day" in change else {"every": "6 hours"}), **change}
    assert recomputes(lines_of(check(texts, formulary))) >= least


@runs(200)
@given(orders())
def test_mr37_the_rule_it_quotes_is_in_the_formulary(texts: dict) -> None:
    """MR37: every limit quotes a regimen of the file, and its figure stands there (or is reckoned from one that does)."""
    verdict = check(texts)
    entries = {r["id"]: r for r in raw_of(texts["medicine"]).get("regimen", [])}
    for state in verdict.limits:
        entry = entries[state.regimen.base_id]
        if state.limit.figure is not None and state.limit.name not in ("low end", "share of one dose"):
            assert any(state.limit.figure == figure for figure in figures_in(entry)), (state.limit.text, entry)
        assert entry["source"]["place"] in state.source


def figures_in(value: Any) -> list[Any]:
    """Every amount and time that an entry holds."""
    if isinstance(value, (dict, list)):
        return [figure for inner in (value.values() if isinstance(value, dict) else value) for figure in figures_in(inner)]
    found = []
    for read in (lambda text: read_dose(text).high, lambda text: read_dose(text).low, read_time):
        try:
            found.append(read(str(value)))
        except TextError:
            continue
    return found


# ---- numbers written safely ----

UNSAFE = {
    "a naked point": r"(?<![\w.])\.[0-9]",
    "a trailing zero": r"[0-9]\.[0-9]*0(?![0-9])",
    "a point and no digit": r"(?<!m)[0-9]\.(?=\s[a-z])",  # "75 mg/m2." ends a sentence
    "a micro sign": r"[µμ]",
    "a short form": r"\b(?:mcg|ug|IU|iu|U|cc|gm|mgs|tsp|OD|QD|q[0-9]+h)\b",
    "a unit run together with its number": r"(?<![A-Za-z0-9-])[0-9]+(?:\.[0-9]+)?(?:mg|g|kg|mL|ml|L|micrograms?|nanograms?|units?|mmol|hours?|tablets?|puffs?|%)(?![A-Za-z0-9])",
    "five digits without a mark": r"(?<![0-9.,/-])[0-9]{5,}(?![0-9-])",
    "an exponent": r"[0-9][eE][+-]?[0-9]",
}  # fmt: skip


def unsafe(text: str) -> list[str]:
    return [
        f"{name}: {match.group()!r} in {text[max(0, match.start() - 30) : match.end() + 10]!r}"
        for name, pattern in UNSAFE.items()
        for match in re.finditer(pattern, text)
    ]


def without_sources(text: str) -> str:
    """The printed answer above its sources, which are others' words, and its foot, which has a fingerprint."""
    return click.unstyle(text).partition("\nSources\n")[0].partition("\nFormulary: ")[0]


@runs(300)
@given(orders(), st.sampled_from(("kg", "lb")))
def test_h32_no_answer_holds_an_unsafe_number(texts: dict, unit: str) -> None:
    """H32: no printed answer holds a naked point, a trailing zero, a micro sign, a short unit or a long bare number."""
    if "weight" in texts:
        texts = {**texts, "weight": f"{texts['weight'].split(' ')[0]} {unit}"}
    verdict = check_order(*read_order(texts), REAL)
    assert not unsafe(without_sources(verdict_text(verdict)))
    answer = verdict.as_dict()
    said = (
        [f["message"] for f in answer["findings"]]
        + answer["working"]
        + list(answer["understood"].values())
        + [limit["limit"] for limit in answer["limits"]]
    )
    said += [limit["comes_to"] for limit in answer["limits"]] + answer["slips"] + answer["to_observe"] + [answer["one_dose"]]
    assert not unsafe("\n".join(said).replace(texts.get("on", "none"), "").replace(texts.get("born", "none"), ""))


@runs(60)
@given(st.sampled_from(PASSING), st.integers(1, 99_000))
def test_h32_nor_does_the_answer_of_dose(texts: dict, grams: int) -> None:
    """H32: the same for what `dose` prints, at weights from next to nothing upward."""
    text = reckoning_text(reckon(*read_order({**texts, "weight": f"{grams} g"}), REAL))
    shown = re.sub(r"(?m)^  Source: .*(?:\n {10}.*)*", "", without_sources(text))
    assert not unsafe(shown)


@pytest.mark.parametrize(
    "dose",
    [
        "0.000001 micrograms",
        "0.5 micrograms",
        "12345.678 mg",
        "99999 units",
        "1000000 nanograms",
        "0.001 mL",
        "250000 mg",
        "1234567.125 mg",
        "0.1 g",
    ],
)
def test_h32_extreme_doses(dose: str) -> None:
    """H32: very small and very large doses are printed safely too."""
    assert not unsafe(without_sources(verdict_text(check({**ASK, "medicine": "paracetamol", "dose": dose, "every": "6 hours"}))))


@pytest.mark.parametrize("code", CATALOGUE)
def test_h32_the_catalogue_itself(code: str) -> None:
    """H32: no sentence or meaning of the catalogue writes a number unsafely."""
    assert not unsafe("\n".join(CATALOGUE[code]))


@pytest.mark.parametrize("text", [".5 mg", "1.0 mg", "2.50 mg", "5 µg", "5 mcg", "10 IU", "10mg", "100000 units", "1e3 mg", "5 U"])
def test_the_search_finds_what_it_looks_for(text: str) -> None:
    """The test's own: each unsafe form is found."""
    assert unsafe(f"give {text} now")
