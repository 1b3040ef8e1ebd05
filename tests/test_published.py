"""Published tables and worked examples, each row beside its source, run through the engine.

The rows are data: `tests/published/*.toml`, explained in `tests/README.md`.  A pharmacist can add one without Python.
"""

from __future__ import annotations

import tomllib
from datetime import date
from fractions import Fraction
from pathlib import Path

import pytest
from published_body import CHECKS

from dosecheck import Formulary, Order, Quantity, check_order, read_amount, read_dose, read_order, read_strength, read_weight
from dosecheck.formulary.limits import Policy
from dosecheck.formulary.medicine import compile_medicine
from dosecheck.quantity import COUNTED
from dosecheck.reading.figures import reader_of
from dosecheck.rules.amounts import Amount, Given, amount_of
from dosecheck.rules.explain import most_for_one_dose
from dosecheck.rules.facts import body_of, common_facts, ratio
from dosecheck.sums.frame import work_out
from dosecheck.sums.listing import find

FOLDER = Path(__file__).parent / "published"
ROWS = [row for file in sorted(FOLDER.glob("*.toml")) for row in tomllib.loads(file.read_text("utf-8"), parse_float=str)["example"]]
FORMULARY = Formulary(Path(__file__).parents[1] / "formulary")
KINDS = ("mass", "activity", "substance", "volume", *COUNTED)


def read_any(text: str) -> Quantity:
    if text.endswith(("lb", "kg", "oz")):
        return read_weight(text)
    return read_amount(text, KINDS, "amount", "240 mg")


def inline_medicine(regimen: dict) -> object:
    """A medicine with one regimen of the row's own figures, compiled as a formulary file would be."""
    entry = {
        "id": "row",
        "valid_from": date(2000, 1, 1),
        "route": "oral",
        "for": ["row"],
        "max_daily": {"none": "row"},
        "source": {"id": "row", "place": "row"},
    }
    raw = {"id": "row", "name": "row", "status": "example", "ingredient": [{"id": "row"}], "regimen": [{**entry, **regimen}]}
    return compile_medicine(raw, Policy(Fraction(1, 10), Fraction(1, 10)), "row")


def single_dose(given: dict) -> Quantity:
    """`amount`: the figure times the child, shared out over the doses of a day, held by a maximum."""
    figures = {key: given[key] for key in ("dose",)} | {key: [given[key]] for key in ("max_single", "max_daily") if key in given}
    dose = read_dose(given["dose"])
    medicine = inline_medicine({**figures, "dose": given["dose"].replace(" a day", "")})
    _, child = read_order({key: given[key] for key in ("weight", "height", "age") if key in given})
    if "surface" in given:
        area = read_amount(given["surface"], ("surface",), "surface", "0.67 m2")
        amount = (dose.high * area) / (given.get("doses_a_day", 1) if dose.per == "day" else 1)
    else:
        found = amount_of(
            dose, medicine.ingredients[0], dose.kind.split("/")[0], Given(medicine, None, child, Fraction(given.get("doses_a_day", 1)))
        )
        assert isinstance(found, Amount), found
        amount = found.high
    caps = [read_dose(given["max_single"]).high] if "max_single" in given else []
    caps += [read_dose(given["max_daily"]).high / given.get("doses_a_day", 1)] if "max_daily" in given else []
    caps = [cap * child.weight if "weight" in cap.kind else cap for cap in caps]
    return min([amount, *caps])


def largest(given: dict) -> Quantity:
    """`largest`: the most that the row's own regimen allows for one dose."""
    _, child = read_order({key: given[key] for key in ("weight", "height", "age") if key in given})
    facts = body_of(child).intervals
    regimen = next(r for r in inline_medicine(given["regimen"]).regimens if all(band.holds(facts.get(band.fact)) for band in r.bands))
    count = given.get("doses_a_day", given["regimen"].get("doses_a_day", [1])[0])
    facts = common_facts(Order(), child) | {"doses": ratio(count), "average": ratio(count)}
    bounds = [b for b in (most_for_one_dose(limit, facts) for limit in regimen.limits if not limit.beyond) if b is not None]
    return Quantity(min(bounds), regimen.kind, (regimen.span.high or regimen.span.low).unit.split("/")[0])


def convert(given: dict) -> Quantity:
    if "to" in given:
        return read_weight(given["weight"]) if "weight" in given else read_any(given["amount"])
    strength = read_strength(given["strength"])
    if "amount" in given:
        return by_strength(read_any(given["amount"]), strength)
    return strength * read_any(given["volume"]) if "volume" in given else strength


def by_strength(amount: Quantity, strength: Quantity) -> Quantity:
    below = strength.kind.split("/")[1]
    return Quantity(amount.value / strength.value, below, "mL" if below == "volume" else f"{below}s")


def close(got: Quantity, want: Quantity, row: dict) -> bool:
    """Equal exactly, unless the source itself rounds, and then within what the row states."""
    if "within" not in row:
        return got == want
    assert row["rounding"]
    by_result = row["check"] == "sum"
    margin = reader_of((got.kind,), "margin", row["within"])(row["within"]) if by_result else read_any(row["within"])
    return got.kind == want.kind and abs(got.value - want.value) <= margin.value


def check_sum(row: dict) -> None:
    """`sum`: a named sum from its fields; each expected result by its name, or `outcome`."""
    name = row["given"]["sum"]
    reckoned = work_out(name, find(name), {key: text for key, text in row["given"].items() if key != "sum"}, FORMULARY)
    results = {result.name: result.value for result in reckoned.answer.results}
    assert results or "outcome" in row["expect"], reckoned.not_covered
    for key, text in row["expect"].items():
        if key == "outcome":
            assert reckoned.outcome == text
        elif isinstance(results[key], Quantity):
            want = reader_of((results[key].kind,), key, text)(text)
            assert close(results[key], want, row), f"{key}: {results[key]} is not {want}"
        else:
            assert str(results[key]) == text, f"{key}: {results[key]} is not {text}"


@pytest.mark.parametrize("row", ROWS, ids=[row["id"] for row in ROWS])
def test_published_row(row: dict) -> None:
    assert row["source"]
    given = row["given"]
    if row["check"] == "order":
        verdict = check_order(*read_order(given), FORMULARY)
        assert verdict.outcome == row["expect"]["outcome"], [f.message for f in verdict.findings]
        assert set(row["expect"].get("codes", [])) <= set(verdict.codes)
        return
    if row["check"] == "sum":
        return check_sum(row)
    if row["check"] in CHECKS:
        return CHECKS[row["check"]](row)
    got = {"amount": single_dose, "largest": largest, "convert": convert}[row["check"]](given)
    for key, text in row["expect"].items():
        want = read_strength(text) if key == "strength" else read_weight(text) if got.kind == "weight" else read_any(text)
        shown = got if want.kind == got.kind else by_strength(got, read_strength(given["strength"]))
        assert close(shown, want, row), f"{shown} is not {want}"


def test_enough_rows_each_once() -> None:
    assert len(ROWS) >= 250
    assert len({row["id"] for row in ROWS}) == len(ROWS)
