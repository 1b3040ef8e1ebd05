"""Exactness at the edges: MR14 to MR17."""

from __future__ import annotations

from datetime import date
from fractions import Fraction
from functools import cache

import polars as pl
import pytest
from hypothesis import given
from hypothesis import strategies as st
from relations.kit import (
    ASK,
    HIGH,
    LINES,
    ON,
    PASSING,
    REAL,
    asked,
    check,
    children_for,
    codes,
    is_high,
    often,
    orders,
    plain,
    runs,
    same,
    tiny,
)

from dosecheck import Child, Formulary, Order, check_order, read_order
from dosecheck.batch.run import Batch
from dosecheck.quantity import UNITS
from dosecheck.records import QUERY, STOP, WITHIN
from dosecheck.rules.reckon import reckon
from dosecheck.showing import show

UPPER = {"dose-above-range", "dose-above-single-max", "day-above-range", "day-above-max"}
RATES = ("0.01", "0.015", "0.1", "0.15", "0.3", "0.6", "1", "2.5", "3", "5", "7.5", "10", "12.5", "15", "20", "30")
WEIGHTS = [Fraction(tenths, 10) for tenths in range(20, 601)]
STEP = Fraction(1, 10**6)


@cache
def _rate(rate: str) -> Formulary:
    return tiny({"dose": f"{rate} mg/kg", "min_gap": "4 hours"})


@pytest.mark.parametrize("rate", RATES)
def test_mr14_the_limit_itself_and_its_two_neighbours(rate: str) -> None:
    """MR14: at every weight the dose at the limit is within, one step above it is a query, one step below is not HIGH."""
    formulary = _rate(rate)
    children = [(w, Child(weight=f"{plain(w)} kg", age="5 years", on=ON)) for w in WEIGHTS]
    for weight, child in children:
        limit = Fraction(rate) * weight
        outcomes = [
            check_order(Order(medicine="exampol", route="oral", every="6 hours", dose=f"{plain(dose)} mg"), child, formulary).outcome
            for dose in (limit, limit + STEP)
        ]
        assert outcomes == [WITHIN, QUERY], (rate, weight)


@pytest.mark.parametrize("rate", RATES)
def test_mr14_in_columns(rate: str) -> None:
    """MR14: the same in a file of orders, with both steps and with the further limit at 10 % more."""
    edges = {Fraction(1): (WITHIN, QUERY), Fraction(11, 10): (QUERY, STOP)}
    rows = [
        (f"{plain(w)} kg", f"{plain(Fraction(rate) * w * edge + step * STEP, 9)} mg", edges[edge][step > 0])
        for w in WEIGHTS
        for edge in edges
        for step in (-1, 0, 1)
    ]
    table = pl.DataFrame(rows, schema=["weight", "dose", "expected"], orient="row").with_columns(
        medicine=pl.lit("exampol"), route=pl.lit("oral"), every=pl.lit("6 hours"), age=pl.lit("5 years")
    )
    answers = Batch(_rate(rate), date(2026, 5, 4)).answer(table.drop("expected"))
    assert answers["outcome"].to_list() == table["expected"].to_list()


@pytest.mark.parametrize(("rate", "weight", "dose"), [("15", "4.1", "61.5"), ("0.15", "4.1", "0.615")])
def test_mr14_known_traps_of_binary_floats(rate: str, weight: str, dose: str) -> None:
    """MR14: 61.5 mg at 4.1 kg with 15 mg/kg, 0.615 mg with 0.15 mg/kg: at the limit, so within."""
    assert check({**ASK, "weight": f"{weight} kg", "dose": f"{dose} mg", "every": "6 hours"}, _rate(rate)).outcome == WITHIN


@runs(150)
@given(st.integers(300, 2200), st.integers(10, 900))
def test_mr14_per_m2(millimetres: int, tenths: int) -> None:
    """MR14: an order written per m2 at the limit per m2 is within for every height and weight, and one step above it a query."""
    formulary = tiny({"dose": "100 mg/m2", "min_gap": "4 hours"})
    texts = {**ASK, "every": "6 hours", "height": f"{plain(Fraction(millimetres, 10))} cm", "weight": f"{plain(Fraction(tenths, 10))} kg"}
    outcomes = [
        check({**texts, "dose": f"{dose} mg/m2"}, formulary).outcome for dose in ("99.999999", "100", "100.000001", "110", "110.000001")
    ]
    assert outcomes == [WITHIN, WITHIN, QUERY, QUERY, STOP]


@runs(100)
@given(st.integers(1, 3000), st.sampled_from(("kg", "lb", "g", "oz")), st.sampled_from(RATES))
def test_mr14_an_order_written_per_kg(tenths: int, unit: str, rate: str) -> None:
    """MR14: an order written per kg at the limit per kg is within at any weight, in any unit of weight."""
    texts = {**ASK, "every": "6 hours", "weight": f"{plain(Fraction(tenths, 10))} {unit}"}
    outcomes = [check({**texts, "dose": f"{plain(Fraction(rate) + step)} mg/kg"}, _rate(rate)).outcome for step in (0, STEP)]
    assert outcomes == [WITHIN, QUERY]


ABSOLUTE = [
    ({"dose": {"low": "1 mg"}, "max_single": ["250 mg"]}, "dose", ("250 mg", "250.000001 mg"), "dose-above-single-max"),
    ({"max_daily": ["1 g"]}, "dose", ("250 mg", "250.000001 mg"), "day-above-max"),
    ({"min_gap": "6 hours"}, "every", ("6 hours", "359 minutes"), "gap-too-short"),
    ({"max_doses": 4}, "every", ("6 hours", "359 minutes"), "too-many-doses"),
    ({"max_concentration": "10 mg/mL"}, "made_up_to", ("25 mL", "24.999999 mL"), "concentration-above-max"),
    ({"min_duration": "30 minutes"}, "over", ("30 minutes", "29.999 minutes"), "given-too-fast"),
    ({"max_rate": ["10 mg/min"], "query_up_to": "0 %"}, "over", ("25 minutes", "24.999999 minutes"), "rate-above-max"),
    ({"max_course": "5 days"}, "course", ("5 days", "121 hours"), "course-too-long"),
    ({"totals": [{"over": "course", "max": ["5 g"]}]}, "course", ("5 days", "5.001 days"), "total-above-max"),
]


@pytest.mark.parametrize(("limit", "field", "texts", "code"), ABSOLUTE, ids=[code for *_, code in ABSOLUTE])
def test_mr14_other_limits_are_inclusive(limit: dict, field: str, texts: tuple[str, str], code: str) -> None:
    """MR14: each other limit is kept exactly at it, and broken one step beyond: a stop."""
    formulary = tiny({"dose": {"high": "1 g"}, "max_doses": 6, **limit})
    base = {**ASK, "dose": "250 mg", "every": "6 hours"}
    at, beyond = (check({**base, field: text}, formulary) for text in texts)
    assert at.outcome == WITHIN
    assert (beyond.outcome, codes(beyond)) == (STOP, {code})


@runs(150)
@given(st.sampled_from([t for t in PASSING if t["dose"].split(" ")[1] in ("mg", "micrograms", "g")]), st.sampled_from(tuple(UNITS["mass"])))
def test_mr15_the_unit_shown_changes_nothing(texts: dict, unit: str) -> None:
    """MR15: there are no display settings; the unit an amount is written and shown in changes no answer."""
    number, rest = texts["dose"].split(" ", 1)
    mine, of, basis = rest.partition(" of ")
    value = Fraction(number) * UNITS["mass"][mine] / UNITS["mass"][unit]
    if value < 10**12:
        same(texts, {**texts, "dose": f"{plain(value, 12)} {unit}{of}{basis}"})


# ---- the tool's own answers ----


@runs(400)
@given(orders(noise=1), st.data())
def test_mr16_what_is_suggested_passes(texts: dict, data: st.DataObject) -> None:
    """MR16: the measurable dose with a product, typed back as printed, is not HIGH."""
    products = [p.id for p in REAL.medicine(texts["medicine"]).products]
    if not products:
        return
    texts = {**texts, "product": data.draw(st.sampled_from(products))}
    suggestion = check(texts).suggestion
    if suggestion and suggestion.measured:
        again = check({**texts, "dose": show(suggestion.measured)})
        assert not codes(again) & (HIGH - {"rate-above-max", "concentration-above-max"}), (texts, show(suggestion.measured))


FITTING = [(n, texts) for n, (m, r) in enumerate(LINES) for texts in children_for(m.id, r.id)[::9]]


@runs(250)
@given(st.sampled_from(FITTING), st.integers(0, 3), st.integers(-40, 40))
def test_mr16_what_dose_prints_passes(pair: tuple[int, dict], way: int, hundredths: int) -> None:
    """MR16: each product's dose in the answer of `dose`, typed back for the same child, breaks no upper limit of its regimen."""
    line, child = pair
    medicine, regimen = LINES[line]
    ways = often(regimen)
    weight = Fraction(child["weight"].split(" ")[0]) + Fraction(hundredths, 100)
    texts = {**asked(medicine, regimen), **child, "weight": f"{plain(weight)} kg", **ways[way % len(ways)]}
    texts.pop("product", None)
    for figures in reckon(*read_order(texts), REAL).figures:
        for product in figures.products:
            if product.measured:
                count = {"times_a_day": str(figures.doses)} if figures.doses and "once" not in texts else {}
                again = check(
                    {
                        **{k: v for k, v in texts.items() if not count or k not in ("every", "at_most")},
                        **count,
                        "product": product.product,
                        "dose": show(product.measured),
                    }
                )
                broken = {f.code for f in again.findings if f.outcome and f.regimen == figures.regimen.full_id}
                assert not broken & UPPER, (texts, product.product, show(product.measured))


@pytest.mark.parametrize("count", [3, 6])
def test_mr16_the_most_that_is_printed_passes(count: int) -> None:
    """MR16: the upper end as `dose` prints it, rounded where it must be, breaks no upper limit when it is typed back."""
    wrong = []
    for line, child in FITTING:
        medicine, regimen = LINES[line]
        of = f" of {medicine.ingredient(regimen.ingredient).names[-1]}" if medicine.basis_stated else ""
        texts = {**asked(medicine, regimen), **child, "times_a_day": str(count)}
        for figures in reckon(*read_order(texts), REAL).as_dict()["figures"]:
            if figures["high"]:
                again = check({**texts, "dose": figures["high"].removeprefix("about ").replace(",", "") + of})
                broken = {f.code for f in again.findings if f.outcome and f.regimen == figures["regimen"]} & UPPER
                wrong += [(texts["medicine"], figures["regimen"], child["weight"], figures["high"])] if broken else []
    assert not wrong, wrong[:5]


@pytest.mark.parametrize("step", ["0.01 mL", "0.1 mL", "0.5 mL", "1 mL", "5 mL"])
def test_mr16_every_rounding_step_goes_down(step: str) -> None:
    """MR16: weights in steps of 0.01 kg: the measured volume is the largest step at or below the maximum, and says so."""
    product = {
        "id": "liquid",
        "name": "oral liquid",
        "form": "oral liquid",
        "routes": ["oral"],
        "strength": "100 mg in 3 mL",
        "measure": [{"step": step}],
        "source": {"id": "who-child-pain-2012", "place": "1"},
    }
    formulary = tiny({"dose": {"high": "15 mg/kg"}, "min_gap": "4 hours", "max_single": ["1 g"]}, product=[product])
    each = Fraction(step.split(" ")[0])
    for hundredths in range(1000, 8000, 61):
        texts = {**ASK, "weight": f"{plain(Fraction(hundredths, 100))} kg", "dose": "10 mg", "every": "6 hours", "product": "liquid"}
        suggestion = check(texts, formulary).suggestion
        most = min(Fraction(15 * hundredths, 100), Fraction(1000)) * 3 / 100
        assert suggestion.measured is None if most < each else suggestion.measured.number == most // each * each
        if suggestion.measured:
            assert not is_high(check({**texts, "dose": show(suggestion.measured)}, formulary))
            assert suggestion.steps[1].what == "down to what can be measured"


# ---- two limits of equal height ----


@pytest.mark.parametrize("bounds", [["12.5 mg/kg", "1 g"], ["1 g", "12.5 mg/kg"]])
@pytest.mark.parametrize(("dose", "outcome"), [("1 g", WITHIN), ("1000.000001 mg", STOP), ("999.999999 mg", WITHIN)])
def test_mr17_equal_limits_by_two_paths(bounds: list[str], dose: str, outcome: str) -> None:
    """MR17: where rate x weight is the cap, the verdict does not depend on which is listed first."""
    formulary = tiny({"dose": {"low": "1 mg/kg"}, "min_gap": "4 hours", "max_single": bounds})
    verdict = check({**ASK, "weight": "80 kg", "dose": dose, "every": "6 hours"}, formulary)
    assert verdict.outcome == outcome
    assert sorted(f.limit for f in verdict.findings if f.code == "dose-above-single-max") == (
        ["1 g", "12.5 mg/kg"] if outcome == STOP else []
    )


def test_mr17_the_binding_limit_is_named_alike() -> None:
    """MR17: the reason names both or always the same one, whichever is listed first."""
    named = []
    for bounds in (["12.5 mg/kg", "1 g"], ["1 g", "12.5 mg/kg"]):
        formulary = tiny({"dose": {"low": "1 mg/kg"}, "min_gap": "4 hours", "max_single": bounds})
        verdict = check({**ASK, "weight": "80 kg", "dose": "900 mg", "every": "6 hours"}, formulary)
        named.append(sorted(s.limit.text for s in verdict.limits if s.binding))
    assert named[0] == named[1]


def test_a_maximum_rounded_down_to_what_can_be_measured_is_no_low_dose() -> None:
    """At 92 kg the 1 g of paracetamol is 41.5 mL = 996 mg of the liquid: held down by the maximum, not too little (MR16)."""
    child = Child(weight="92 kg", age="16 years")

    def codes(dose: str) -> tuple[str, ...]:
        order = Order(medicine="paracetamol", route="oral", for_="pain", dose=dose, every="6 hours")
        return check_order(order, child, REAL).codes

    assert "dose-below-range" not in codes("996 mg")
    assert "dose-below-range" not in codes("900 mg")
    assert "dose-below-range" in codes("899 mg")
