"""The engine against the slow oracle: the same outcome and the same codes, on drawn orders, drawn formularies and
local changes; and every order on which the two were once found to differ.

The oracle (oracle*.py) reads the TOML itself and shares no code with dosecheck.
"""

from __future__ import annotations

import tomllib
from collections import Counter
from datetime import date
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st
from oracle import check
from oracle_choose import load
from oracle_formularies import formularies
from oracle_orders import Shelf, orders
from oracle_write import SOURCE, SOURCES, policy, write, written

from dosecheck import Formulary, FormularyError, check_order, read_order
from dosecheck.workshop.examples import examples

HERE = Path(__file__).parent
SHIPPED = HERE.parent / "formulary"
STEADY = settings(
    deadline=None,
    derandomize=True,
    database=None,
    phases=[Phase.explicit, Phase.generate, Phase.shrink],
    suppress_health_check=list(HealthCheck),
)
PUBLISHED = [
    row["given"]
    for file in sorted((HERE / "published").glob("*.toml"))
    for row in tomllib.loads(file.read_text("utf-8"))["example"]
    if row["check"] == "order"
] + [example.given for example in examples(Formulary(SHIPPED)) if "dose" in example.given]


def engine(formulary: Formulary, texts: dict[str, str]) -> tuple[str, tuple[str, ...]]:
    verdict = check_order(*read_order(texts), formulary)
    return verdict.outcome, tuple(sorted(set(verdict.codes)))


def test_orders_against_the_shipped_formulary() -> None:
    formulary, medicines = Formulary(SHIPPED), Shelf({m["id"]: m for m in load(str(SHIPPED))["medicines"].values()}.values())
    seen: Counter[str] = Counter()

    @settings(STEADY, max_examples=1000)
    @given(orders(medicines))
    def agree(texts: dict[str, str]) -> None:
        answer = engine(formulary, texts)
        seen[answer[0]] += 1
        assert answer == check(SHIPPED, texts)

    agree()
    assert min(seen[outcome] for outcome in ("within", "query", "stop", "not-checked")) >= 50, seen


def test_made_up_formularies(tmp_path_factory: pytest.TempPathFactory) -> None:
    seen: Counter[str] = Counter()

    @settings(STEADY, max_examples=250)
    @given(formularies(), st.data())
    def agree(files: dict[str, str], data: st.DataObject) -> None:
        folder = write(files, tmp_path_factory.mktemp("made-up"))
        try:
            formulary = Formulary(folder)
        except FormularyError:
            seen["refused"] += 1
            return
        for _ in range(3):
            texts = data.draw(orders(Shelf([load(str(folder))["medicines"]["exampol"]])))
            answer = engine(formulary, texts)
            seen[answer[0]] += 1
            assert answer == check(folder, texts)

    agree()
    assert min(seen[outcome] for outcome in ("within", "query", "stop", "not-checked")) >= 20, seen
    assert seen["refused"] < 125, seen


def test_published_orders() -> None:
    formulary = Formulary(SHIPPED)
    assert [texts for texts in PUBLISHED if engine(formulary, texts) != check(SHIPPED, texts)] == []


# ---- orders on which engine and oracle once differed ----


def regimen(**keys: Any) -> dict[str, Any]:
    usual = {"id": "r", "valid_from": date(2020, 1, 1), "route": "oral", "for": ["pain"], "age": {"from": "1 year"}}
    return {**usual, "max_daily": {"none": "made up"}, "source": SOURCE, **keys}


def medicine(*regimens: dict[str, Any], **keys: Any) -> dict[str, Any]:
    return {"id": "exampol", "name": "exampol", "status": "example", "ingredient": [{"id": "exampol"}], **keys, "regimen": list(regimens)}


TWO = [{"id": "exampol", "equals": {"amount": "1 unit", "is": "100 mg", "source": SOURCE}}, {"id": "secundol"}]
STRENGTHS = {"exampol": "100 mg per tablet", "secundol": "50 mg per tablet"}
TABLET = [{"id": "tablet", "name": "a tablet", "form": "tablet", "routes": ["oral"], "strengths": STRENGTHS, "source": SOURCE}]
BANDS = [{"weight": {"from": "5 kg", "below": "10 kg"}, "dose": "50 mg"}, {"weight": {"from": "10 kg"}, "dose": "200 mg"}]
COURSE, EPISODE = ({"over": over, "max": ["1 g"]} for over in ("course", "episode"))
CHILD = {"medicine": "exampol", "route": "oral", "age": "5 years"}

CASES: dict[str, tuple[dict[str, Any], dict[str, str], str, tuple[str, ...]]] = {
    "another regimen covers the second ingredient, but not the one that fits": (
        medicine(
            regimen(id="young", ingredient="exampol", age={"below": "2 years"}, products=["tablet"], covers=["secundol"], dose="100 mg"),
            regimen(id="old", ingredient="exampol", age={"from": "2 years"}, dose="100 mg", max_doses=3),
            ingredient=TWO,
            product=TABLET,
        ),
        {"product": "tablet", "dose": "100 mg of exampol", "times_a_day": "3"},
        "not-checked",
        ("ingredient-amount-unknown",),
    ),
    "a stated rate needs the weight": (
        medicine(regimen(dose="100 mg", max_doses=3, max_rate=["1 mg/kg/min"])),
        {"dose": "100 mg", "times_a_day": "3", "over": "1 minutes"},
        "not-checked",
        ("weight-missing",),
    ),
    "a stated rate needs the height": (
        medicine(regimen(dose="100 mg", max_doses=3, max_rate=["1 mg/m2/min"])),
        {"dose": "100 mg", "times_a_day": "3", "over": "1 minutes", "weight": "20 kg"},
        "not-checked",
        ("height-missing",),
    ),
    "a total of a stated course lacks how often, not the course": (
        medicine(regimen(dose="100 mg", max_doses=3, required=["course"], totals=[COURSE])),
        {"dose": "100 mg", "course": "3 days"},
        "not-checked",
        ("frequency-missing",),
    ),
    "a total of an episode is due for one dose only, whatever is required": (
        medicine(regimen(dose="100 mg", max_doses=3, max_course="5 days", required=["course"], totals=[EPISODE])),
        {"dose": "100 mg", "times_a_day": "3", "course": "3 days"},
        "within",
        (),
    ),
    "a dose a day is not shared out over four to six doses": (
        medicine(regimen(dose="100 mg", max_doses=6)),
        {"dose": "400 mg a day", "every": "4 to 6 hours"},
        "not-checked",
        ("count-needed",),
    ),
    "units of one ingredient are brought into the strength's milligrams before the other's share": (
        medicine(
            regimen(id="first", ingredient="exampol", dose="100 mg", max_doses=3),
            regimen(id="second", ingredient="secundol", dose="50 mg", max_doses=3),
            ingredient=TWO,
            product=TABLET,
        ),
        {"product": "tablet", "dose": "1 units of exampol", "times_a_day": "3"},
        "within",
        (),
    ),
    "a table by band is superseded whole": (
        medicine(regimen(max_doses=3, band=BANDS), regimen(max_doses=3, dose="100 mg", valid_from=date(2024, 1, 1))),
        {"dose": "200 mg", "times_a_day": "3", "weight": "20 kg", "on": "2025-01-01"},
        "stop",
        ("dose-above-range",),
    ),
    "no child is under 7 days old and 10 days or more of corrected age": (
        medicine(
            regimen(age={"from": "7 days", "below": "6 months"}, dose="10 mg", max_doses=3),
            age_limit=[{"id": "early", "corrected_below": "10 days", "age_below": "3 months", "source": SOURCE}],
        ),
        {"age": "0 months", "gestation": "39 weeks", "dose": "11 mg", "times_a_day": "2"},
        "stop",
        ("dose-above-range", "no-regimen-for-child", "not-for-this-child", "regimens-differ"),
    ),
}


@pytest.mark.parametrize("name", CASES)
def test_once_different(name: str, tmp_path: Path) -> None:
    file, texts, outcome, codes = CASES[name]
    folder = write({"policy.toml": policy(), "sources.toml": SOURCES, "medicines/exampol.toml": written(file)}, tmp_path)
    texts = {**CHILD, **texts}
    assert engine(Formulary(folder), texts) == (outcome, codes)
    assert check(folder, texts) == (outcome, codes)


A_DAY = {"weight": "18.39 kg", "age": "97 months", "every": "4 to 6 hours"}
SHIPPED_CASES = (
    {"medicine": "pheniramine", "route": "oral", "for": "allergy", **A_DAY, "dose": "37.4 mg a day"},
    {"medicine": "triprolidine", "route": "oral", "for": "allergy", **A_DAY, "dose": "5 mg a day"},
    {"medicine": "acetylcysteine", "route": "intravenous", **A_DAY, "every": "1 to 2 hours", "dose": "6192 mg a day"},
)


@pytest.mark.parametrize("texts", SHIPPED_CASES, ids=lambda texts: texts["medicine"])
def test_once_different_in_the_shipped_formulary(texts: dict[str, str]) -> None:
    assert engine(Formulary(SHIPPED), texts) == check(SHIPPED, texts)
