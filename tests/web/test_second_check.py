"""A second check by two people: independent, compared inputs first, and what explains a difference."""

from __future__ import annotations

import re
from datetime import UTC, date, datetime
from pathlib import Path
from typing import Any

import pytest
from starlette.testclient import TestClient
from web.test_order_page import text
from web.ward import FOLDER, client, post

from dosecheck.errors import InputError
from dosecheck.formulary.load import Formulary
from dosecheck.journal import Journal
from dosecheck.web.guard import Refused
from dosecheck.web.second import LASTS, SecondChecks
from dosecheck.web.settings import Settings

ORDER = {"medicine": "paracetamol", "route": "oral", "for": "pain", "dose": "15 mg/kg", "every": "6 hours"}
SEEN = {"weight": "14.2 kg", "age": "3 years", "strength": "120 mg in 5 mL", "answer": "8.875 mL"}  # 15 x 14.2 / 24, by hand
FIRST, SECOND = {**ORDER, **SEEN, "initials": "AB"}, {**SEEN, "initials": "CD"}


def begin(ward: TestClient, **changes: Any) -> dict[str, str]:
    return ward.post("/api/second-check", json={**FIRST, **changes}).json()


def compared(ward: TestClient, first: dict[str, Any] | None = None, second: dict[str, Any] | None = None) -> dict[str, Any]:
    code = begin(ward, **(first or {}))["code"]
    return ward.post(f"/api/second-check/{code}", json={**SECOND, **(second or {})}).json()["comparison"]


def test_alike(ward: TestClient) -> None:
    told = compared(ward)
    assert told["agree"] and told["outcome_of_the_order"] == "within" and "Both saw the same" in told["headline"]
    assert [each["agrees"] for each in told["answers"]] == ["exactly", "exactly"]


@pytest.mark.parametrize(
    ("answer", "agrees"),
    [
        ("8.9 mL", "as rounded"),
        ("8.8 mL", "as rounded"),
        ("9 mL", "as rounded"),
        ("8.7 mL", ""),
        ("8.50 mL", ""),
        ("8 mL", ""),
        ("213 mg", "exactly"),
        ("0.213 g", "exactly"),
    ],
)
def test_as_rounded(ward: TestClient, answer: str, agrees: str) -> None:
    """Less than one in the last place that was written, and at most 1 in 20 off; 8 mL is 10 % off."""
    assert compared(ward, {"answer": answer}, {"answer": answer})["answers"][0]["agrees"] == agrees


@pytest.mark.parametrize(
    ("second", "parts", "hint"),
    [
        ({"weight": "31.3 kg"}, "weight", "pounds and kilograms"),
        ({"weight": "142 kg"}, "weight", "a decimal point"),
        ({"weight": "12.4 kg"}, "weight", "the same digits in another order"),
        ({"weight": "14.1 kg"}, "weight", ""),
        ({"age": "4 years"}, "age", ""),
        ({"strength": "250 mg in 5 mL"}, "strength on the label", ""),
    ],
)
def test_inputs_are_compared_first(ward: TestClient, second: dict[str, str], parts: str, hint: str) -> None:
    """H02, H03, H05: whatever the answers, different inputs are said first, with a known slip where there is one."""
    told = compared(ward, second=second)
    assert not told["agree"] and told["headline"].startswith(f"You saw different things: {parts}.")
    line = next(line for line in told["inputs"] if line["what"] == parts)
    assert not line["same"] and hint in line["hint"]


def test_an_order_of_a_range_is_held_against_no_one_dose(ward: TestClient) -> None:
    """The engine chooses no dose within a range: alike, and said that nothing was compared; never "alike" as a whole."""
    told = compared(ward, {"dose": "10 to 15 mg/kg", "answer": "7 mL"}, {"answer": "7 mL"})
    assert not told["agree"] and [each["agrees"] for each in told["answers"]] == [None, None] and "a range" in told["answers"][0]["engine"]


def test_figures_have_their_source_and_caution(app: Any) -> None:
    """The comparison's page says where the figures are from, and of which reading they are."""
    first = client(app=app)
    sent = post(first, "/second-check/first", {**FIRST}, "/second-check/first")
    code = sent.url.path.split("/")[2]
    page = text(post(first, f"/second-check/{code}", {**SECOND}, f"/second-check/{code}").text)
    verdict = first.post("/api/order", json={**ORDER, "weight": "14.2 kg", "age": "3 years"}).json()
    assert all(source in page for source in {each["source"] for each in verdict["limits"]})
    assert verdict["formulary"]["fingerprint"] in page and verdict["caution"] in page


def test_an_age_told_more_exactly_is_the_same(ward: TestClient) -> None:
    assert compared(ward, second={"age": "3 years 2 months"})["agree"]


@pytest.mark.parametrize(
    ("answer", "slip"),
    [
        ("88.75 mL", "ten times"),
        ("0.8875 mL", "ten times"),
        ("19.6 mL", ""),  # the order is per kg: pounds are no slip of the order itself
        ("213 mL", "millilitres and milligrams"),
    ],
)
def test_h04_which_slip_would_explain_it(ward: TestClient, answer: str, slip: str) -> None:
    """H04, H05: how far the answer is from the engine's, and the slip that would explain it; the other's answer stands beside it."""
    told = compared(ward, second={"answer": answer})
    why = told["answers"][1]["why"]
    assert (
        not told["agree"] and "The two answers differ" in told["headline"] and "of the engine's" in why[0]
    ) or "times the engine's" in why[0]
    assert any(slip in line for line in why) if slip else len(why) == 1


def test_alike_and_both_wrong(ward: TestClient) -> None:
    """Two people can make one mistake: alike, and the engine's is not."""
    told = compared(ward, {"answer": "88.8 mL"}, {"answer": "88.8 mL"})
    assert not told["agree"] and "alike, and the engine's is not" in told["headline"]


def test_h09_alike_and_the_order_is_too_much(ward: TestClient) -> None:
    """Both may agree on an order that is not to be given: the check of the order itself stands beside the comparison."""
    wrong = {"dose": "30 mg/kg", "answer": "17.75 mL"}
    code = begin(ward, **wrong)["code"]
    told = ward.post(f"/api/second-check/{code}", json={**SECOND, "answer": "17.75 mL"}).json()
    assert told["comparison"]["agree"] and told["comparison"]["outcome_of_the_order"] == "stop"
    assert told["check_of_the_order"]["headline"].startswith("STOP")


def test_no_strength_told(ward: TestClient) -> None:
    """Without a strength a volume cannot be held against the engine: said, and never alike."""
    told = compared(ward, {"strength": None}, {"strength": None})
    assert not told["agree"] and told["answers"][0]["agrees"] is None and "could not be held against the engine" in told["headline"]


def test_the_second_sees_nothing_of_the_first(app: Any) -> None:
    """Independence: on neither device does a figure of the first, or any answer, stand before the second has committed."""
    first, second = client(app=app), client(app=app)
    form = {**ORDER, **SEEN, "weight": "14.37 kg", "answer": "8.98 mL", "strength": "120 mg in 5 mL", "initials": "AB"}
    sent = post(first, "/second-check/first", form, "/second-check/first")
    code = sent.url.path.split("/")[2]
    shown = [sent.text, first.get(f"/second-check/{code}").text]
    shown.append(post(second, "/second-check/find", {"code": f"{code[:3].lower()} {code[3:]}"}, "/second-check").text)
    shown.append(post(second, f"/second-check/{code}", {"weight": "14,2", "initials": "CD"}, f"/second-check/{code}").text)
    for page in shown:
        assert all(figure not in page for figure in ("14.37", "8.98", "120 mg in 5 mL</", "8.875", "WITHIN", "ALIKE")), page
    assert "15\u00a0mg/kg" in shown[2] and "every" in shown[2]
    assert second.get(f"/second-check/{code}/result").status_code == 403
    answer = post(second, f"/second-check/{code}", {**SEEN, "initials": "CD"}, f"/second-check/{code}")
    page = text(answer.text)
    assert "NOT ALIKE" in page and "14.37 kg" in page and "weight" in page
    assert "NOT ALIKE" in first.get(f"/second-check/{code}/result").text
    assert client(app=app).get(f"/second-check/{code}/result").status_code == 403


def test_the_first_ones_ticket(ward: TestClient) -> None:
    held = begin(ward)
    waiting = ward.post(f"/api/second-check/{held['code']}/result", json={"ticket": held["ticket"]}).json()
    assert waiting["comparison"] is None and waiting["check_of_the_order"] is None
    assert ward.post(f"/api/second-check/{held['code']}/result", json={"ticket": "guess"}).status_code == 403
    ward.post(f"/api/second-check/{held['code']}", json=SECOND)
    told = ward.post(f"/api/second-check/{held['code']}/result", json={"ticket": held["ticket"]}).json()
    assert told["comparison"]["agree"] and datetime.fromisoformat(told["when"])


def test_another_person_and_only_once(ward: TestClient) -> None:
    code = begin(ward)["code"]
    assert "first person's" in ward.post(f"/api/second-check/{code}", json={**SECOND, "initials": "ab"}).json()["errors"][0]["why"]
    assert ward.post(f"/api/second-check/{code}", json=SECOND).status_code == 200
    assert ward.post(f"/api/second-check/{code}", json={**SECOND, "initials": "EF"}).status_code == 409


@pytest.mark.parametrize(
    "changes",
    [
        {"weight": None},
        {"age": None},
        {"dose": None},
        {"medicine": None},
        {"answer": None},
        {"answer": "0 mL"},
        {"answer": "8.5"},
        {"initials": None},
        {"initials": "A1"},
        {"strength": "120"},
        {"answer": "15 mg/kg"},
    ],
)
def test_what_is_needed(ward: TestClient, changes: dict[str, Any]) -> None:
    """A second check without weight, age, dose, answer or initials is none; all faults at once."""
    answer = ward.post("/api/second-check", json={**FIRST, **changes})
    assert answer.status_code == 422 and answer.json()["errors"][0]["field"] == next(iter(changes))


def test_codes_are_hard_to_guess_and_end() -> None:
    """After so many wrong codes in a minute nothing is looked up; after half an hour a check is gone."""
    time = [0.0]
    checks = SecondChecks(clock=lambda: time[0])
    told = type("Told", (), {"initials": "AB"})()
    held = checks.begin({}, told, "a")
    assert len(held.code) == 6 and not set(held.code) & set("0O1IL5S2Z8BGQU")
    for _ in range(20):
        with pytest.raises(Refused) as wrong:
            checks.find("AAAAAA" if held.code != "AAAAAA" else "CCCCCC")
        assert wrong.value.status == 404
    with pytest.raises(Refused) as shut:
        checks.find(held.code)
    assert shut.value.status == 429
    time[0] = 61
    assert checks.find(f" {held.code[:3]} {held.code[3:].lower()}") is held
    with pytest.raises(InputError):
        checks.commit(held, told, "b")
    time[0] = LASTS
    with pytest.raises(Refused):
        checks.find(held.code)


def test_who_when_and_what_is_in_the_journal(tmp_path: Path) -> None:
    """H33: with the journal on, both people's initials, inputs and answers, and where they part, are one entry."""
    made = client(Settings(formulary=FOLDER, journal=tmp_path / "journal.db"))
    compared(made, second={"weight": "31.3 kg"})
    entry = list(Journal(tmp_path / "journal.db", new=False).entries())[-1]
    assert (entry.kind, entry.by) == ("second-check", "AB CD") and "31.3 kg" in entry.asked and "different things" in entry.answer
    assert abs((datetime.now(UTC) - datetime.fromisoformat(entry.at)).total_seconds()) < 60


def test_an_attacker_shuts_out_only_the_attacker() -> None:
    """Wrong codes, and checks begun, count for the machine that sends them; the ward's own second checks go on."""
    checks, told = SecondChecks(clock=lambda: 0.0), type("Told", (), {"initials": "AB"})()
    held = checks.begin({}, told, "a", "ward")
    for _ in range(20):
        with pytest.raises(Refused):
            checks.find("nosuch", "attacker")
    with pytest.raises(Refused) as shut:
        checks.find(held.code, "attacker")
    assert shut.value.status == 429 and checks.find(held.code, "ward") is held
    with pytest.raises(Refused) as full:
        for _ in range(100):
            checks.begin({}, told, "x", "attacker")
    assert full.value.status == 503 and checks.begin({}, told, "b", "ward")


def test_the_whole_order_is_the_second_ones_too(ward: TestClient) -> None:
    """Whatever of the order the first was checked with, the second sees and is checked with; a product is each one's own to read."""
    code = begin(ward, every=None, times_a_day="4", course="3 days")["code"]
    page = text(ward.get(f"/second-check/{code}").text)
    assert "times a day 4" in page and "course 3 days" in page
    told = ward.post(f"/api/second-check/{code}", json=SECOND).json()
    assert told["check_of_the_order"]["understood"]["how_often"].startswith("4 times a day") and told["comparison"]["agree"]
    assert "product" in ward.post("/api/second-check", json={**FIRST, "product": "oral-liquid-120-in-5"}).json()["errors"][0]["field"]
    assert "Product in hand" not in post(ward, "/second-check/first", {**ORDER, "pressed": "medicine"}, "/second-check/first").text


def test_both_are_checked_by_the_same_figures(app: Any, ward: TestClient, monkeypatch: pytest.MonkeyPatch) -> None:
    """H27: an edit of the figures between the two: both checks are by the later ones."""
    code = begin(ward, dose="16 mg/kg", answer="9.46 mL")["code"]
    site = app.app.state.site
    monkeypatch.setattr(site.figures, "now", Formulary(FOLDER))
    ward.post(f"/api/second-check/{code}", json={**SECOND, "answer": "9.46 mL"})
    check = site.second_checks.find(code, "ward")
    assert check.first.formulary is check.second.formulary is site.formulary


def test_a_form_sent_again_shows_nothing_and_begins_nothing(app: Any, ward: TestClient) -> None:
    """Independence on one device: the browser's way back sends a faulty form again, and it leads to the code, not to the figures.

    The same for a second touch of the button; another browser cannot find a check by that form.
    """
    page = ward.get("/second-check/first").text
    mark = re.search(r'name="form" value="([^"]+)"', page)[1]
    form = {**ORDER, **SEEN, "weight": "14.37 kg", "initials": "AB", "form": mark}
    faulty = post(ward, "/second-check/first", {**form, "answer": "8.98"}, "/second-check/first")
    assert faulty.status_code == 422 and f'value="{mark}"' in faulty.text and "14.37" in faulty.text
    code = post(ward, "/second-check/first", form, "/second-check/first").url.path.split("/")[2]
    for again in ({**form, "answer": "8.98"}, form, {**form, "pressed": "medicine"}):
        answer = post(ward, "/second-check/first", again, "/second-check/first")
        assert answer.url.path == f"/second-check/{code}/result" and "14.37" not in answer.text
    other = client(app=app)
    assert post(other, "/second-check/first", form, "/second-check/first").url.path.split("/")[2] != code
    second = {**SEEN, "initials": "CD"}
    for _ in range(2):
        assert "ALIKE" in post(other, f"/second-check/{code}", second, "/second-check").text
    assert post(client(app=app), f"/second-check/{code}", second, "/second-check").status_code == 409


def test_the_label_as_it_was_read_who_and_when(app: Any, ward: TestClient) -> None:
    """What is held against the label in hand is what stands on it; who and when stand on the page; a stop comes before "alike"."""
    form = {**ORDER, **SEEN, "dose": "30 mg/kg", "answer": "17.75 mL", "initials": "AB"}
    code = post(ward, "/second-check/first", form, "/second-check/first").url.path.split("/")[2]
    answer = post(client(app=app), f"/second-check/{code}", {**SEEN, "answer": "17.75 mL", "initials": "CD"}, f"/second-check/{code}")
    page = text(answer.text)
    assert "120 mg in 5 mL" in page.replace("\u00a0", " ") and "AB and CD" in page and date.today().isoformat() in page
    assert page.index("STOP") < page.index("ALIKE")
    assert 'data-clear-to="/second-check"' in answer.text, "left alone, the figures of the two do not stay"
