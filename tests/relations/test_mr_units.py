"""Units and notation: MR01 to MR06."""

from __future__ import annotations

from fractions import Fraction
from itertools import permutations

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from relations.kit import ASK, PASSING, REAL, alone, check, formulary_of, numbers, orders, plain, raw_of, runs, same, tiny

from dosecheck import FormularyError, InputError, Quantity, read_amount, read_order, read_weight
from dosecheck.quantity import UNITS
from dosecheck.reading import Dose
from dosecheck.records import NOT_CHECKED

GRAMS = st.integers(300, 120_000)
BANDED = tiny(
    {"dose": "15 mg/kg", "weight": {"below": "10 kg"}, "max_single": ["1 g"], "min_gap": "4 hours"},
    {"dose": "12.5 mg/kg", "weight": {"from": "10 kg"}, "max_single": ["1 g"], "min_gap": "4 hours", "id": "oral-child-from-10-kg"},
)


@runs(120)
@given(orders(), GRAMS)
def test_mr01_kilograms_and_grams(texts: dict, grams: int) -> None:
    """MR01: a weight in kg and the same in g are one weight."""
    same({**texts, "weight": f"{plain(Fraction(grams, 1000))} kg"}, {**texts, "weight": f"{grams} g"})


@pytest.mark.parametrize("grams", [9_999, 10_000, 10_001, 66_666, 66_667, 79_999, 80_000, 80_001, 300, 120_000])
def test_mr01_on_edges(grams: int) -> None:
    """MR01: on the edge of a weight band, and where the cap starts to bind."""
    texts = {**ASK, "dose": "150 mg", "every": "6 hours"}
    same({**texts, "weight": f"{plain(Fraction(grams, 1000))} kg"}, {**texts, "weight": f"{grams} g"}, BANDED)


@runs(80)
@given(orders(), st.integers(7, 2600), st.sampled_from(("lb", "lbs", "pound", "pounds")))
def test_mr02_pounds_are_exact_and_both_figures_are_shown(texts: dict, tenths: int, unit: str) -> None:
    """MR02: pounds are converted exactly, with both figures shown."""
    pounds = Fraction(tenths, 10)
    in_pounds = {**texts, "weight": f"{plain(pounds)} {unit}"}
    same(in_pounds, {**texts, "weight": f"{plain(pounds * Fraction(45359237, 10**8), 12)} kg"})
    shown = check(in_pounds).understood["weight"]
    assert f"{plain(pounds)} lb (" in shown and " kg)" in shown


def test_mr02_stones_are_shown_as_told_and_in_kilograms() -> None:
    """MR02: stones are exact, and both figures are shown."""
    told = check({**ASK, "medicine": "paracetamol", "route": "oral", "dose": "210 mg", "weight": "2 st 3 lb"})
    assert told.understood["weight"] == "2 st 3 lb (about 14.06 kg)"


@pytest.mark.parametrize("text", ["33 #", "5 st 14 lb", "5 stone 2", "5 Stone", "33lbs.", "33 LB", "33", "15 kilos", "15 kg 200"])
def test_mr02_other_spellings_are_refused(text: str) -> None:
    """MR02: what is not on the list of spellings is refused, never guessed."""
    with pytest.raises(InputError, match="weight"):
        read_order({"weight": text})


@pytest.mark.parametrize(
    ("text", "kilograms"),
    [
        ("22 lb 4 oz", "10.0924302325"),
        ("22lb 4oz", "10.0924302325"),
        ("8 oz", "0.226796185"),
        ("2 st 3 lb", "14.06136347"),
        ("2 stone 3 pounds", "14.06136347"),
        ("5 st", "31.7514659"),
        ("1 ounce", "0.028349523125"),
    ],
)
def test_mr02_pounds_and_ounces(text: str, kilograms: str) -> None:
    """MR02: ounces fall under the exact branch."""
    assert read_weight(text) == read_weight(f"{kilograms} kg")


LIQUIDS = [
    (t, p) for t in PASSING for p in REAL.medicine(t["medicine"]).products if p.below == "volume" and t["route"] in p.routes and "/" not in t["dose"]
]  # fmt: skip


@runs(150)
@given(st.sampled_from(LIQUIDS), st.integers(1, 5000))
def test_mr03_a_volume_is_its_amount(pair: tuple, hundredths: int) -> None:
    """MR03: a volume of a product is the same order as the amount of any ingredient in it."""
    texts, product = pair
    volume = Quantity(hundredths * 10**4, "volume", "mL")
    stated = REAL.medicine(texts["medicine"]).basis_stated
    for ingredient, strength in product.strengths.items():
        amount = strength * volume
        dose = Dose(amount, amount, "dose", ingredient if stated else None)
        same(
            {**texts, "product": product.id, "dose": f"{plain(Fraction(hundredths, 100))} mL"},
            {**texts, "product": product.id, "dose": dose},
        )


def _liquid(strength: str):
    product = {
        "id": "liquid",
        "name": "oral liquid",
        "form": "oral liquid",
        "routes": ["oral"],
        "strength": strength,
        "measure": [{"step": "0.1 mL"}],
        "source": {"id": "who-child-pain-2012", "place": "1"},
    }
    return tiny({"dose": "15 mg/kg", "min_gap": "4 hours", "max_single": ["1 g"]}, product=[product])


@pytest.mark.parametrize(
    "strengths",
    [("120 mg in 5 mL", "24 mg/mL", "2.4 g in 100 mL", "2.4 %", "24 mg per mL"), ("100 mg in 3 mL", "0.1 g in 3 mL", "200 mg in 6 mL")],
)
def test_mr03_one_concentration_in_any_spelling(strengths: tuple[str, ...]) -> None:
    """MR03: 120 mg in 5 mL, 24 mg/mL and 2.4 g in 100 mL are one strength; also where the quotient does not end."""
    made = [_liquid(strength) for strength in strengths]
    for hundredths in range(1, 1500, 7):
        texts = {**ASK, "dose": f"{plain(Fraction(hundredths, 100))} mL", "every": "6 hours", "product": "liquid"}
        answers = [check(texts, formulary) for formulary in made]
        assert len({str(numbers(answer)) for answer in answers}) == 1
        assert len({str(answer.suggestion) for answer in answers if answer.suggestion.measured is None}) <= 1
        assert len({answer.suggestion.measured for answer in answers}) == 1


@pytest.mark.parametrize("kind", UNITS)
def test_mr04_conversion_is_path_free_and_reversible(kind: str) -> None:
    """MR04: by any path between units the amount is the same, and back again it is the first."""
    for value in (Fraction(10**24 + 1, 7), Fraction(1, 3), Fraction(123456789, 10**12), Fraction(10**12)):
        for a, b, c in permutations([*UNITS[kind], *list(UNITS[kind])[:2]], 3):
            first = Quantity(value, kind, a)
            assert first.to(b).to(c) == first.to(c) == first.to(b).to(a)
            assert first.to(b).to(c).number == first.to(c).number and first.to(c).to(a).number == first.number


@runs(150)
@given(
    st.sampled_from([(k, u, v) for k in ("mass", "activity", "substance", "volume", "time") for u in UNITS[k] for v in UNITS[k]]),
    st.integers(1, 10**11),
    st.integers(0, 6),
)
def test_mr04_read_in_either_unit(units: tuple[str, str, str], digits: int, places: int) -> None:
    """MR04: an amount typed in one unit equals the same typed in another."""
    kind, unit, other = units
    first = read_amount(f"{plain(Fraction(digits, 10**places), places)} {unit}", (kind,), "amount", "1 mg")
    number = first.to(other).number
    text = plain(number, 12)
    assume(Fraction(text) == number and number < 10**12)
    assert read_amount(f"{text} {other}", (kind,), "amount", "1 mg") == first


AMOUNTS = [t for t in PASSING if "/" not in t["dose"] and not any(i.equals for i in REAL.medicine(t["medicine"]).ingredients)]
WRONG = (
    "mL",
    "units",
    "mmol",
    "mg",
    "puffs",
    "tablets",
    "drops",
    "mg/kg/min",
    "units/kg",
    "mg/mL",
    "kg",
    "cm",
    "m2",
    "minutes",
    "mg/m2",
    "kg/mg",
    "mg kg",
    "mg/kg/kg",
)


def _top(unit: str) -> str:
    return next(
        (k for k in ("mass", "activity", "substance", "volume", "puff", "tablet", "drop") if unit.split("/")[0] in UNITS[k]), "none"
    )


@runs(250)
@given(st.sampled_from(AMOUNTS), st.sampled_from(WRONG))
def test_mr05_a_wrong_dimension_is_never_a_number(texts: dict, unit: str) -> None:
    """MR05: an order in a unit of another dimension is refused or not checked, and no dose is computed."""
    number, rest = texts["dose"].split(" ", 1)
    right, of, basis = rest.partition(" of ")
    bare = {key: value for key, value in texts.items() if key not in ("product", "height")}
    assume(_top(unit) != _top(right) or unit in ("mg/kg/min", "mg/mL", "mg/m2", "kg/mg", "mg kg", "mg/kg/kg"))
    try:
        verdict = check({**bare, "dose": f"{number} {unit}{of}{basis}"})
    except InputError as error:
        assert error.faults[0].field in ("dose", "every", "times_a_day", "once", "at_most")  # an infusion has no such
        return
    assert verdict.outcome == NOT_CHECKED and verdict.one_dose is None and not verdict.limits


@pytest.mark.parametrize("figure", [{"dose": "15 mg/cm"}, {"dose": "15 kg/mg"}, {"dose": "15 mg/mL"}, {"dose": "15 mg/kg a day"}, {"max_single": ["1 units"]}, {"max_single": ["5 mL"]},
                                    {"max_daily": ["1 mmol"]}, {"max_daily": ["10 mg/kg/min"]}, {"floor": "1 mg/kg"}, {"min_gap": "4 mg"}, {"max_concentration": "10 mg"},
                                    {"max_rate": ["10 mg"]}, {"max_course": "5 kg"}, {"weight": {"from": "10 cm"}}, {"max_single": ["1 mg/kg/kg"]}])  # fmt: skip
def test_mr05_in_a_formulary_rule(figure: dict) -> None:
    """MR05: a figure of the wrong dimension stops the formulary from loading."""
    with pytest.raises(FormularyError):
        tiny({"dose": "15 mg/kg", "min_gap": "4 hours", **figure})


@runs(150)
@given(st.sampled_from(AMOUNTS), st.integers(1, 6), st.integers(1, 4000))
def test_mr06_a_day_in_n_doses_and_each_of_them(texts: dict, n: int, tenths: int) -> None:
    """MR06: D a day in n doses is D/n a dose given n times, also where D/n does not end."""
    _, rest = texts["dose"].split(" ", 1)
    unit, of, _ = rest.partition(" of ")
    assume(not of)
    bare = {key: value for key, value in texts.items() if key not in ("every", "at_most", "once")}
    amount = read_amount(
        f"{plain(Fraction(tenths, 10))} {unit}", ("mass", "activity", "substance", "puff", "drop", "tablet"), "dose", "1 mg"
    )
    same(
        {**bare, "dose": f"{plain(Fraction(tenths, 10))} {unit} a day", "times_a_day": str(n)},
        {**bare, "dose": amount / n, "times_a_day": str(n)},
    )


def test_mr06_when_the_daily_limit_is_the_only_one() -> None:
    """MR06: 100 mg in 3 on a daily limit alone: the same daily verdict, at, above and below it."""
    daily = tiny({"dose": {"low": "1 mg"}, "max_single": ["1 g"], "max_daily": ["5 mg/kg"]})
    for day in (99, 100, 101):
        for n in range(1, 7):
            both = [
                {**ASK, "dose": f"{day} mg a day", "times_a_day": str(n)},
                {**ASK, "dose": Quantity(Fraction(day * 10**6, n), "mass", "mg"), "times_a_day": str(n)},
            ]
            same(*both, daily)
            assert ("day-above-max" in check(both[0], daily).codes) == (day > 100)


def test_the_real_files_can_be_cut_to_one_regimen() -> None:
    """The kit's own: a real regimen alone is a formulary, with the same figures."""
    one = formulary_of(alone("paracetamol", "oral-pain-child"))
    assert [r.id for r in one.medicine("paracetamol").regimens] == ["oral-pain-child"]
    assert len(raw_of("paracetamol")["regimen"]) > 1
