"""Controls of hazards that no other test shows directly: short, through the public names or the command line.

`hazards.toml` names them; the number of the hazard stands first in each docstring.
"""

from __future__ import annotations

import json
import re
from datetime import date, timedelta
from decimal import Decimal
from fractions import Fraction
from pathlib import Path
from typing import Any

import click
import pytest
from cli.door import BASE, FOLDER, dosecheck, flat, options, order, spawn

from dosecheck import Child, Formulary, InputError, Order, Verdict, check_order
from dosecheck.body.growth import SEXES, lms_at
from dosecheck.body.lms import value_at
from dosecheck.cli.text import verdict_text
from dosecheck.rules.reckon import reckon

REAL = Formulary(FOLDER)
CHILD = ("weight", "weighed", "weight_is", "age", "born", "on", "gestation", "sex")
POUND = Decimal("0.45359237")
POLICY = (FOLDER / "policy.toml").read_text("utf-8")
SOURCES = '[invented-handbook-2024]\ntitle = "Invented handbook"\norganisation = "Nobody"\nyear = 2024\ngrade = "primary"\naddress = "https://handbook.example"\n'
HEAD = 'id = "exampol"\nname = "exampol"\nstatus = "example"\n'
REGIMEN = """
[[regimen]]
id = "{id}"
valid_from = 2024-05-01
route = "oral"
for = ["pain"]
age = {{ {age} }}
dose = "{dose}"
min_gap = "4 hours"
max_doses = 4
max_single = ["1 g"]
max_daily = ["4 g"]
source = {{ id = "invented-handbook-2024", place = "page 3" }}
"""


def regimen(name: str = "oral-child", age: str = 'from = "1 month", below = "18 years"', dose: str = "15 mg/kg") -> str:
    return REGIMEN.format(id=name, age=age, dose=dose)


def formulary(folder: Path, *regimens: str, head: str = HEAD, policy: str = POLICY) -> Formulary:
    """A small folder of one invented medicine."""
    (folder / "medicines").mkdir(parents=True, exist_ok=True)
    (folder / "policy.toml").write_text(policy, "utf-8")
    (folder / "sources.toml").write_text(SOURCES, "utf-8")
    text = head + '[[ingredient]]\nid = "exampol"\n' + "".join(regimens or [regimen()])
    (folder / "medicines" / "exampol.toml").write_text(text, "utf-8")
    return Formulary(folder)


def ask(figures: Formulary = REAL, **changes: Any) -> Verdict:
    """The usual order with changes, from Python; None leaves a field out."""
    texts = {**BASE, "medicine": "paracetamol" if figures is REAL else "exampol", **changes}
    told = {name: text for name, text in texts.items() if text is not None}
    child = {name: told.pop(name) for name in CHILD if name in told}
    return check_order(Order(for_=told.pop("for", None), **told), Child(**child), figures)


def notes(verdict: Verdict) -> set[str]:
    return {f.code for f in verdict.findings if not f.outcome}


# ---- units and weights ----


@pytest.mark.parametrize("text", ["0 kg", "-3 kg", "500.1 kg", "1200 lb", "14200 kg"])
def test_a_weight_out_of_all_reason_is_refused(text: str) -> None:
    """H03: a child's weight lies above zero and at 500 kg or below."""
    with pytest.raises(InputError) as error:
        ask(weight=text)
    assert [fault.field for fault in error.value.faults] == ["weight"]


@pytest.mark.parametrize("changes", [{}, {"dose": "230 mg"}, {"dose": "2 g"}, {"weight": None}, {"medicine": "nosuch"}], ids=str)
def test_every_answer_says_what_was_never_looked_at(changes: dict[str, Any]) -> None:
    """H12, H22: whatever the outcome; and no headline calls a dose safe, approved or correct."""
    verdict = ask(**changes)
    said = flat(verdict_text(verdict))
    assert "Earlier doses: not told, so not counted." in said
    assert "Allergy, interactions and liver were not looked at, and kidneys only where a creatinine is told." in said
    assert not re.search(r"\b(safe|approved|correct|OK|fine)\b", verdict.headline)


# ---- the weight against the age ----

# Medians in kg, girls and boys: WHO Child Growth Standards, weight for age, World Health Organization, 2006.
MEDIANS = [("3 months", "5.8", "6.4"), ("6 months", "7.3", "7.9"), ("12 months", "8.9", "9.6"), ("24 months", "11.5", "12.1"),
           ("3 years", "13.9", "14.3"), ("4 years", "16.1", "16.3"), ("5 years", "18.2", "18.3")]  # fmt: skip
UNTOLD = {"weight": "14.2 kg", "age": "3 years 2 months"}


def believed(**child: str) -> bool:
    return "weight-not-believable" not in ask(**{"age": None, "weighed": None, "weight_is": None} | child).codes


@pytest.mark.parametrize("age, girls, boys", MEDIANS)
def test_pounds_typed_as_kilograms_are_never_within(age: str, girls: str, boys: str) -> None:
    """H02, H03: the right weight is believed, its figure in pounds is a query that names pounds, tenfold is one too."""
    for median in (girls, boys):
        kilograms = Fraction(median)
        tenths = round(kilograms * 10 * 100_000_000 / 45_359_237)
        pounds = f"{tenths // 10}.{tenths % 10 or 1}"
        dose = f"{round(kilograms * 15)} mg"
        assert "weight-not-believable" not in ask(weight=f"{median} kg", age=age, dose=dose).codes
        told = ask(weight=f"{pounds} kg", age=age, dose=f"{round(Fraction(pounds) * 15)} mg")
        assert told.outcome != "within" and "weight-not-believable" in told.codes
        assert "if the figure is in pounds" in flat(verdict_text(told))
        assert "weight-not-believable" in ask(weight=f"{int(kilograms * 10)} kg", age=age).codes


@pytest.mark.parametrize("sex", [None, "female", "male"])
def test_pounds_at_the_median_are_a_query_from_1_month_to_18_years(sex: str | None) -> None:
    """H02, MR13: and kilograms taken as pounds are; the right weights of the reference, 3rd to 97th centile, are believed."""
    for day in range(31, 6575, 29):
        for born_as in SEXES if sex is None else (sex,):
            child = {"born": str(date(2026, 5, 4) - timedelta(days=day)), "on": "2026-05-04", "gestation": "40 weeks", "sex": sex}
            child = {name: text for name, text in child.items() if text}
            low, median, high = (value_at(Decimal(z), lms_at("who", born_as, day)) for z in ("-1.88", "0", "1.88"))
            for kilograms, expected in ((low, True), (median, True), (high, True), (median / POUND, False), (median * POUND, False)):
                assert believed(weight=f"{kilograms:.3f} kg", **child) is expected, (day, born_as, kilograms)


@pytest.mark.parametrize(
    "weight, age, sex, hint",
    [
        ("33 kg", "3 years", None, "the figure is in pounds (about 14.97 kg)"),  # B028
        ("21 kg", "2 years 1 month", None, "two digits have changed places (12 kg)"),
        ("12 kg", "6 years 3 months", None, "two digits have changed places (21 kg)"),
        ("142 kg", "3 years", None, "the decimal point has slipped (14.2 kg)"),
        ("1.42 kg", "3 years", "male", "the decimal point has slipped (14.2 kg)"),
        ("6.4 kg", "3 years", "female", "kilograms were taken as pounds (about 14.11 kg)"),
        ("6.4 kg", "3 years", "female", "the age is 3 months"),
        ("14.3 kg", "3 months", "male", "the age is 3 years"),
    ],
)
def test_an_unbelievable_weight_names_what_would_explain_it(weight: str, age: str, sex: str | None, hint: str) -> None:
    """H03: only explanations that bring the weight, or the age, inside the limits."""
    said = flat(verdict_text(ask(weight=weight, age=age, **({"sex": sex} if sex else {}))))
    assert f"{weight} is hard to believe at {age}: z " in said and "centile (WHO" in said
    assert hint in said.partition("It would fit if ")[2]


def test_an_explanation_that_does_not_fit_is_not_named() -> None:
    """H03: 65 kg at 3 years is neither pounds nor two digits."""
    said = flat(verdict_text(ask(weight="65 kg", age="3 years")))
    assert "65 kg is hard to believe" in said and "in pounds" not in said and "changed places" not in said


def test_a_believable_weight_is_told_with_its_centile() -> None:
    """H03: z and centile stand with what was understood; without the sex, of both (1160 days: pygrowup2 gives -0.03 too)."""
    girl = ask(weight="14.2 kg", age=None, born="2023-03-01", on="2026-05-04", sex="female")
    assert girl.understood["weight_for_age"] == "z -0.03, 49th centile (WHO, girls)"
    assert "weight for age: z -0.03, 49th centile (WHO, girls)" in flat(verdict_text(girl))
    assert girl.as_dict()["understood"]["weight_for_age"] == girl.understood["weight_for_age"]
    assert ask(**UNTOLD).understood["weight_for_age"].endswith("(WHO; sex not told: girls and boys)")


def test_a_child_born_early_is_held_at_the_corrected_age() -> None:
    """H34: corrected below 2 years, from then on not; before term nothing is compared, and the answer says so."""
    early = {"weight": "4 kg", "gestation": "27 weeks", "sex": "male", "on": "2026-05-04"}
    assert not believed(**{**early, "gestation": "40 weeks"}, born="2025-12-04")
    assert believed(**early, born="2025-12-04")
    one = {**early, "weight": "7.4 kg"}
    assert believed(**one, born="2024-05-05") and not believed(**one, born="2024-05-03")
    told = ask(**{**early, "age": None, "weight": "1.2 kg", "born": "2026-03-04"})
    assert "weight-not-compared" in notes(told) and "not yet at 40 weeks" in flat(verdict_text(told))


@pytest.mark.parametrize("child, why", [({"age": None}, "no age is told"), ({"age": "20 years"}, "the growth references end at 20 years")])
def test_a_weight_that_is_not_compared_says_so(child: dict[str, str | None], why: str) -> None:
    """H03: silence never stands for a weight that was looked at."""
    said = flat(verdict_text(ask(**child)))
    assert f"The weight was not compared with the age: {why}." in said and "weight for age" not in said


def test_a_policy_without_z_limits_says_so(tmp_path: Path) -> None:
    """H03: then no weight is compared with the age, and every answer says so; the z-score is told all the same."""
    policy = re.sub(r"\[weight_z\].*?(?=\n\[)", "", POLICY, flags=re.S)
    told = ask(formulary(tmp_path, policy=policy), weight="60 kg", age="3 years")
    assert "weight-not-believable" not in told.codes and told.understood["weight_for_age"]
    assert "the policy has no z-limits for the age" in flat(verdict_text(told))


def test_a_high_risk_medicine_without_a_purpose_is_asked_about() -> None:
    """H20: a dose into a vein for arrest must not pass for another purpose because none was said."""
    given = {
        "medicine": "adrenaline",
        "route": "intravenous",
        "dose": "250 micrograms",
        "every": None,
        "once": True,
        "weight": "25 kg",
        "age": "8 years",
    }
    assert "purpose-not-told" in ask(**given, **{"for": None}).codes
    assert "purpose-not-told" not in ask(**given, **{"for": "cardiac arrest"}).codes


def test_repeats_without_an_end_are_asked_about() -> None:
    """H13, H22: a gap of minutes and nothing else leaves the number of doses open."""
    given = {
        "medicine": "salbutamol",
        "route": "intravenous",
        "for": "life-threatening asthma",
        "dose": "10 micrograms/kg",
        "weight": "20 kg",
        "age": "6 years",
    }
    assert "repeats-not-bounded" in ask(**given, every="10 minutes").codes
    assert "repeats-not-bounded" not in ask(**given, every=None, once=True).codes


@pytest.mark.parametrize("how", [{"every": "6 hours"}, {"every": None, "times_a_day": 4}, {"every": None, "at_most": 4}])
def test_an_infusion_with_a_number_of_doses_is_refused(how: dict[str, Any]) -> None:
    """H04: the order contradicts itself."""
    with pytest.raises(InputError):
        ask(medicine="dobutamine", route="intravenous", dose="5 micrograms/kg/min", **how)


def test_a_tenfold_dose_is_a_stop_that_names_the_slip() -> None:
    """H04, H08: the size in words, and the slipped decimal point as a hint."""
    said = order(dose="2100 mg")
    assert said.status == 3 and "times the most for one dose" in flat(said.out)
    assert "the decimal point or a zero has slipped (ten times)" in flat(said.out)


def test_a_days_dose_and_a_single_dose_are_told_apart(tmp_path: Path) -> None:
    """H04: the same figure is judged by the words beside it, which the answer repeats."""
    figures = formulary(tmp_path)
    single, day = (ask(figures, weight="20 kg", dose=text, every=None, times_a_day="4") for text in ("300 mg", "1200 mg a day"))
    assert (single.outcome, day.outcome) == ("within", "within")
    assert (single.understood["dose"], day.understood["dose"]) == ("300 mg, one dose", "1,200 mg a day, all doses together")
    assert ask(figures, weight="20 kg", dose="1200 mg", every=None, times_a_day="4").outcome == "stop"


def test_a_volume_alone_is_never_an_amount() -> None:
    """H05: millilitres without a product give no amount; with one, amount and volume come together with the strength."""
    bare = ask(dose="5 mL")
    assert (bare.outcome, bare.one_dose, bare.limits) == ("not-checked", None, ()) and "product-needed" in bare.codes
    told = json.loads(order("--json", dose="8.5 mL", product="oral-liquid-120-in-5").out)
    assert told["outcome"] == "within" and told["one_dose"] == "204 mg"
    assert any("24 mg/mL" in line for line in told["working"])
    assert (told["suggestion"]["dose"], told["suggestion"]["measured"]) == ("204 mg", "8.5 mL")


# ---- rules and limits ----


@pytest.mark.parametrize(
    ("weight", "dose", "outcome"),
    [("66 kg", "990 mg", "within"), ("67 kg", "1 g", "within"), ("67 kg", "1005 mg", "stop"), ("90 kg", "1350 mg", "stop")],
)
def test_a_heavy_child_is_held_by_the_single_maximum(tmp_path: Path, weight: str, dose: str, outcome: str) -> None:
    """H09: 15 mg/kg up to 1 g: from 66.67 kg the 1 g binds, and the answer marks it."""
    verdict = ask(formulary(tmp_path), weight=weight, dose=dose, age="16 years")
    assert verdict.outcome == outcome and ("dose-above-single-max" in verdict.codes) == (outcome == "stop")
    binding = {s.limit.name for s in verdict.limits if s.binding}
    assert ("dose" in binding) == (weight == "66 kg") and ("single maximum" in binding) == (weight != "66 kg")


GAPPED = (
    regimen("young", 'from = "1 month", below = "2 years"', "10 mg/kg"),
    regimen("old", 'from = "3 years", below = "12 years"', "15 mg/kg"),
)


@pytest.mark.parametrize(
    ("born", "fits"),
    [
        ("2026-04-05", None), ("2026-04-04", "young"), ("2024-05-05", "young"), ("2024-05-04", None), ("2023-05-05", None),
        ("2023-05-04", "old"), ("2014-05-05", "old"), ("2014-05-04", None), ("1990-01-01", None),
    ],
)  # fmt: skip
def test_outside_every_band_nothing_is_checked(tmp_path: Path, born: str, fits: str | None) -> None:
    """H10, H18, H34: below, between and beyond the bands a known medicine is not checked; at each edge one regimen alone holds."""
    verdict = ask(formulary(tmp_path, *GAPPED), weight="20 kg", dose="200 mg", age=None, born=born, gestation="40 weeks")
    assert [r.id for r in verdict.regimens] == ([fits] if fits else [])
    assert fits or (verdict.outcome == "not-checked" and "no-regimen-for-child" in verdict.codes)


@pytest.mark.parametrize("age", ["18 years", "40 years", "90 years"])
def test_an_adult_is_outside_the_childrens_figures(age: str) -> None:
    """H34: the shipped figures for children are not used beyond 18 years."""
    verdict = ask(age=age, weight="80 kg")
    assert verdict.outcome == "not-checked" and not verdict.limits


def test_a_preterm_baby_is_a_query(tmp_path: Path) -> None:
    """H34: a regimen that says nothing of gestation is not taken to be meant for a preterm baby, nor an untold gestation for term."""
    figures = formulary(tmp_path)
    baby = {"born": "2026-03-01", "age": None, "weight": "4 kg", "dose": "60 mg"}
    assert ask(figures, **baby, gestation="40 weeks").outcome == "within"
    for gestation, code in (("32 weeks", "preterm"), (None, "gestation-not-told")):
        verdict = ask(figures, **baby, gestation=gestation)
        assert (verdict.outcome, verdict.codes) == ("query", (code,))


def test_one_figure_changed_changes_fingerprint_and_answer(tmp_path: Path) -> None:
    """H11: an edit of one digit is seen in the fingerprint of each answer."""
    before = ask(formulary(tmp_path / "a"), weight="20 kg", dose="300 mg")
    after = ask(formulary(tmp_path / "b", regimen(dose="14 mg/kg")), weight="20 kg", dose="300 mg")
    assert (before.outcome, after.outcome) == ("within", "query")
    assert before.formulary["fingerprint"] != after.formulary["fingerprint"]
    assert after.formulary["fingerprint"] in verdict_text(after)


@pytest.mark.parametrize(("on", "overdue"), [("2027-12-31", False), ("2028-01-01", True)])
def test_figures_that_are_not_approved_or_overdue_say_so(on: str, overdue: bool) -> None:
    """H11: their status and a review date gone by stand under each answer."""
    said = flat(order(on=on).out)
    assert 'the status "example": not for clinical use until a pharmacist has checked and approved them' in said
    assert ("due for review on 2027-12-31" in said) == overdue


@pytest.mark.parametrize(("purpose", "outcome"), [("pain", "stop"), ("fever", "within"), (None, "query"), ("colic", "not-checked")])
def test_regimens_that_differ_are_named(tmp_path: Path, purpose: str | None, outcome: str) -> None:
    """H20: without the purpose an order that fits one regimen only is a query that names both; another purpose is not checked."""
    fever = regimen("fever-child").replace('"pain"', '"fever"')
    verdict = ask(formulary(tmp_path, regimen("pain-child", dose="10 mg/kg"), fever), weight="20 kg", dose="300 mg", **{"for": purpose})
    assert verdict.outcome == outcome
    differ = [f.message for f in verdict.findings if f.code == "regimens-differ"]
    assert bool(differ) == (purpose is None) and all("pain-child: stop" in said and "fever-child: within" in said for said in differ)


def test_the_route_is_never_assumed() -> None:
    """H20: no route, no check; an oral product by another route is a stop."""
    bare = ask(route=None)
    assert (bare.outcome, bare.codes, bare.limits) == ("not-checked", ("route-missing",), ())
    wrong = ask(route="intravenous", dose="8.5 mL", product="oral-liquid-120-in-5")
    assert wrong.outcome == "stop" and "route-not-for-product" in wrong.codes


@pytest.mark.parametrize(("every", "doses"), [("5 hours", 5), ("6 hours", 4), ("4 to 6 hours", 6), ("7 hours", 4)])
def test_doses_are_counted_in_the_worst_24_hours(tmp_path: Path, every: str, doses: int) -> None:
    """H13: every 5 hours can be five doses in some 24 hours, whatever the calendar day; a range counts at its shortest end."""
    verdict = ask(formulary(tmp_path), weight="20 kg", dose="300 mg", every=every)
    assert f"up to {doses} doses in 24 hours" in verdict.understood["how_often"]
    assert ("too-many-doses" in verdict.codes) == (doses > 4) == (verdict.outcome == "stop")


def test_no_low_end_in_the_source_is_told(tmp_path: Path) -> None:
    """H30: a dose below the low end is a query; where the source has none, the answer says that it was not looked at."""
    low = ask(formulary(tmp_path / "a"), weight="20 kg", dose="30 mg")
    assert (low.outcome, low.codes) == ("query", ("dose-below-range",))
    ceiling = ask(formulary(tmp_path / "b", regimen().replace('"15 mg/kg"', '{ high = "15 mg/kg" }')), weight="20 kg", dose="30 mg")
    assert ceiling.outcome == "within" and "low-not-checked" in notes(ceiling)


# ---- weight, recognition, reporting ----


@pytest.mark.parametrize("kind", ["stated", "estimated"])
def test_a_weight_that_was_not_measured(tmp_path: Path, kind: str) -> None:
    """H14: a note, and a query for a high-risk medicine; a weight of untold kind or date is never taken as measured today."""
    plain, risky = (formulary(tmp_path / name, head=HEAD + more) for name, more in (("a", ""), ("b", "high_risk = true\n")))
    asked = {"weight": "20 kg", "dose": "300 mg", "weighed": "2026-05-04", "weight_is": kind}
    assert ask(plain, **asked).outcome == "within" and "weight-not-measured" in notes(ask(plain, **asked))
    assert (ask(risky, **asked).outcome, ask(risky, **asked).codes) == ("query", ("weight-not-measured",))
    assert {"weight-undated", "weight-kind-not-told"} <= notes(ask(plain, weight="20 kg", dose="300 mg"))


def test_a_note_never_changes_the_outcome() -> None:
    """H28: an answer with notes alone is within, with exit status 0, and its notes come after the limits."""
    said = order()
    assert said.status == 0 and "no date" in said.out.partition("\nNotes\n")[2]
    assert said.out.index("\nLimits\n") < said.out.index("\nNotes\n")


def test_a_stop_carries_its_size_and_the_binding_limit() -> None:
    """H21, H28: value, limit, source and multiple as data; the binding limit marked; as many due as kept, broken and open."""
    answer = json.loads(order("--json", dose="2 g").out)
    (worst, *_) = answer["findings"]
    assert worst["outcome"] == "stop" and worst["value"].startswith("2 g") and "times" in worst["message"]
    assert worst["limit"] and worst["source"]
    assert [limit for limit in answer["limits"] if limit["binding"]]
    counts = answer["counts"]
    assert counts["due"] == counts["met"] + counts["broken"] + counts["not-checked"] and counts["broken"]


@pytest.mark.parametrize("changes", [{}, {"dose": "230 mg"}, {"dose": "2 g"}, {"weight": None}], ids=str)
def test_colour_never_carries_the_meaning(changes: dict[str, Any]) -> None:
    """H32: the only styling is bold, and without it the outcome stands in words first."""
    verdict = ask(**changes)
    styled = verdict_text(verdict)
    assert set(re.findall(r"\x1b\[([0-9;]*)m", styled)) <= {"0", "1"}
    assert click.unstyle(styled).startswith(verdict.outcome.upper().replace("-", " "))


@pytest.mark.parametrize("dose", ["210 mg", "1 mg", "213.5 mg", "2 g", "15 mg/kg", "850 mg a day"])
def test_a_line_never_parts_an_amount_from_its_unit(dose: str) -> None:
    """H32: wherever an answer's lines are wrapped, a number stays beside its unit."""
    for weight in ("14.2 kg", "33 lb", "9.75 kg", "104 kg"):
        for product in (None, "oral-liquid-120-in-5"):
            said = order(dose=dose, weight=weight, product=product, age="3 years 2 months").out
            assert not re.search(r"[0-9]\n +(?:m?g|kg|lb|mL|mg/|micrograms|units|hours|doses|months|years|times)\b", said)


# ---- files and the folder ----

ROWS = """order_id,child_id,medicine,route,dose,every,weight,age
1,c1,{},oral,210 mg,6 hours,14.2 kg,3 years
2,c1,{},intravenous,210 mg,6 hours,14.2 kg,3 years
3,c2,ibuprofen,oral,100 mg,8 hours,14.2 kg,3 years
"""


@pytest.mark.parametrize(
    ("one", "other", "named"),
    [
        ("paracetamol", "acetaminophen", "paracetamol: rows 1, 2"),
        ("amoxicillin", "co-amoxiclav", "amoxicillin: rows 1, 2"),
        ("paracetamol", "ibuprofen", ""),
    ],
)
def test_one_ingredient_under_two_names_is_named(tmp_path: Path, one: str, other: str, named: str) -> None:
    """H12: by another name, by another route or in a combination: the rows of one child are named, and that no total was made."""
    (tmp_path / "orders.csv").write_text(ROWS.format(one, other), "utf-8")
    said = dosecheck("batch", str(tmp_path / "orders.csv"), "--out", str(tmp_path / "out.csv"), "--formulary", str(FOLDER))
    assert named in said.out and ("totals across orders were not reckoned" in said.out) == bool(named)
    assert "Earlier doses were not told" in flat(said.out)


def test_an_open_formulary_does_not_change_under_an_answer(tmp_path: Path) -> None:
    """H27: a folder is read whole when it is opened; edited afterwards, the open one answers as before, under its own fingerprint."""
    opened = formulary(tmp_path)
    before = opened.fingerprint
    file = tmp_path / "medicines" / "exampol.toml"
    file.write_text(file.read_text("utf-8").replace("15 mg/kg", "5 mg/kg"), "utf-8")
    verdict = ask(opened, weight="20 kg", dose="300 mg")
    assert (verdict.outcome, verdict.formulary["fingerprint"]) == ("within", before)
    again = ask(Formulary(tmp_path), weight="20 kg", dose="300 mg")
    assert again.outcome == "stop" and again.formulary["fingerprint"] != before


def test_nothing_of_one_child_stays_for_the_next() -> None:
    """H31: two children in turn: the second answer is the same with and without the first, and heads with its own particulars."""
    alone = ask(Formulary(FOLDER), weight="9 kg", age="1 year", dose="130 mg").as_dict()
    one = Formulary(FOLDER)
    ask(one, weight="40 kg", age="12 years", dose="600 mg", weighed="2026-05-04", weight_is="measured")
    after = ask(one, weight="9 kg", age="1 year", dose="130 mg").as_dict()
    assert after == alone and after["understood"]["weight"] == "9 kg"
    assert ask(one, weight=None).outcome == "not-checked"


def test_nothing_of_a_child_is_kept_on_the_disk(tmp_path: Path) -> None:
    """H33: after an order the cache holds the formulary's names and files, and no word of the order; there is no log."""
    home, cache = tmp_path / "home", tmp_path / "cache"
    home.mkdir()
    said = spawn("order", *options({**BASE, "weight": "14.37 kg"}), cwd=tmp_path, HOME=str(home), XDG_CACHE_HOME=str(cache))
    assert "14.37 kg" in said.out and said.err == ""
    kept = [path for path in tmp_path.rglob("*") if path.is_file()]
    assert len(kept) == 1 and set(json.loads(kept[0].read_text("utf-8"))) == set(REAL.names)


def test_a_crash_is_no_answer(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    """H22, H26: an unexpected fault ends in NOT CHECKED and status 4, for one order and for a file of them."""

    def broken(*_: object, **__: object) -> None:
        raise RuntimeError("planted")

    monkeypatch.setattr("dosecheck.cli.order.check_order", broken)
    monkeypatch.setattr("dosecheck.batch.run.Batch.compare", broken)
    said = order()
    assert (said.status, said.out) == (4, "") and said.err.startswith("NOT CHECKED")
    (tmp_path / "orders.csv").write_text(ROWS.format("paracetamol", "paracetamol"), "utf-8")
    said = dosecheck("batch", str(tmp_path / "orders.csv"), "--out", str(tmp_path / "out.csv"), "--formulary", str(FOLDER))
    assert said.status == 4 and said.out == "" and not (tmp_path / "out.csv").exists()


def test_a_size_below_the_low_end_is_offered_by_nobody() -> None:
    """H30: at 8 kg WHO's 15 mg/kg is 120 mg, less 10 % 108 mg; a 100 mg tablet is too little, also while how often is not told."""
    child = Child(weight="8 kg", age="8 months", on="2026-05-04")
    asked = {"medicine": "paracetamol", "route": "oral", "for_": "pain"}
    for often in ({}, {"every": "6 hours"}, {"once": True}):
        told = Order(**asked, product="dispersible-tablet-100", dose="120 mg", **often)
        suggestion = check_order(told, child, REAL).suggestion
        assert suggestion is not None and suggestion.measured is None
    blocks = reckon(Order(**asked), child, REAL).figures
    assert {p.product: p.measured is None for p in blocks[0].products}["dispersible-tablet-100"]


def test_a_daily_maximum_holds_one_dose_whose_number_is_not_told() -> None:
    """H09: 100 mg/kg once a day (WHO) is 7 g at 70 kg; the day's 4 g (MSF) holds the single dose, in `dose` too."""
    child = Child(weight="70 kg", age="17 years", on="2026-05-04")
    order = Order(medicine="ceftriaxone", route="intravenous", for_="typhoid fever", condition="second line")
    (block,) = reckon(order, child, REAL).figures
    assert str(block.high.to("g").number) == "4" and all(p.amount is None or p.amount <= block.high for p in block.products)


@pytest.mark.parametrize("product", [None, "oral-liquid-120-in-5"])
def test_without_a_weight_no_size_is_offered(product: str | None) -> None:
    """H15, H09: WHO's 15 mg/kg without a weight is no dose; the 1 g that is left of its maxima is not one for a 2-year-old."""
    order = {"medicine": "paracetamol", "route": "oral", "for_": "pain", "product": product}
    child = Child(age="2 years", on="2026-05-04")
    (block,) = reckon(Order(**order), child, REAL).figures
    assert (
        block.high is None and block.low is None and block.products and all(p.measured is None and p.amount is None for p in block.products)
    )
    checked = check_order(Order(**order, dose="100 mg", every="6 hours"), child, REAL)
    assert checked.outcome == "not-checked" and checked.slips == () and (not product or checked.suggestion.measured is None)
