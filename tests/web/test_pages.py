"""Chart, sums, sheet, formulary, practice: each page, its JSON and the command line say the same."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest
from cli.door import dosecheck
from starlette.testclient import TestClient
from web.test_order_page import text
from web.ward import FOLDER, FORM, post

from dosecheck.drill.kinds import KINDS
from dosecheck.formulary.load import Formulary
from dosecheck.sums.listing import SUMS, find

CHILD = {"weight": "14.2 kg", "weight_is": "measured", "weighed": "2026-05-04", "age": "3 years 2 months"}
CHART = {
    "now": "2026-05-04 14:30",
    "zone": "Europe/London",
    "child": {"weight": "14.2 kg", "age": "3 years 2 months"},
    "order": [{"medicine": "paracetamol", "route": "oral", "for": "pain", "dose": "210 mg", "every": "6 hours"}],
    "given": [
        {"medicine": "paracetamol", "dose": "210 mg", "ago": "2 hours"},
        {"medicine": "paracetamol", "dose": "210 mg", "at": "2026-05-04 08:10"},
    ],
}
CHART_FORM = {
    **{"now": "2026-05-04T14:30", "zone": "Europe/London", "weight": "14.2", "weight_unit": "kg", "age": "3 years 2 months"},
    **{f"order-1-{name}": value for name, value in CHART["order"][0].items()},
    **{"given-1-medicine": "paracetamol", "given-1-dose": "210 mg", "given-1-ago": "2 hours"},
    **{"given-3-medicine": "paracetamol", "given-3-dose": "210 mg", "given-3-at": "2026-05-04T08:10"},
}


def said(*words: str) -> Any:
    return json.loads(dosecheck(*words, "--json").out)


def test_the_chart(ward: TestClient, tmp_path: Path) -> None:
    """H12, H13, H23: one chart through page, JSON and command line."""
    (tmp_path / "chart.json").write_text(json.dumps(CHART), "utf-8")
    told = ward.post("/api/chart", json=CHART).json()
    assert told == said("chart", str(tmp_path / "chart.json"), "--formulary", str(FOLDER)) and told["outcome"] == "stop"
    page = post(ward, "/chart", CHART_FORM, "/chart").text
    shown = text(page)
    assert " STOP " in shown and all(f["message"] in shown for f in told["orders"][0]["findings"] if f["outcome"] != "note")
    sources = {each["source"] for each in told["orders"][0]["limits"]}
    assert sources and all(source in shown for source in sources) and told["formulary"]["fingerprint"] in shown and told["caution"] in shown
    assert told["orders"][0]["next_dose"]["earliest"] in shown and "<svg" in page and 'name="order-1-medicine"' in page


def test_a_chart_that_does_not_tell_the_doses_given(ward: TestClient) -> None:
    """H12: untold is not none: not-checked, unless none is told."""
    short = {key: value for key, value in CHART_FORM.items() if not key.startswith("given")}
    assert " NOT CHECKED " in text(post(ward, "/chart", short, "/chart").text)
    assert " WITHIN " in text(post(ward, "/chart", {**short, "none_given": "yes"}, "/chart").text)
    answer = post(ward, "/chart", {**CHART_FORM, "none_given": "yes"}, "/chart")
    assert answer.status_code == 422 and "none was given" in text(answer.text)


def test_a_chart_with_faults_loses_nothing(ward: TestClient) -> None:
    answer = post(ward, "/chart", {**CHART_FORM, "order-1-dose": "2,5 mL", "given-1-ago": "soon", "zone": "Nowhere/Here"}, "/chart")
    page = text(answer.text)
    assert (
        answer.status_code == 422
        and all(words in page for words in ("order 1: dose", "given 1", "zone"))
        and 'value="2,5 mL"' in answer.text
    )
    again = post(ward, "/chart", {**CHART_FORM, "again": "yes"}, "/chart")
    assert again.status_code == 200 and 'value="210 mg"' in again.text


@pytest.mark.parametrize("name", SUMS)
def test_every_sum(ward: TestClient, name: str) -> None:
    """Each sum has a page with its fields, and an address in the JSON that answers as the command line does."""
    asked = find(name)
    page = ward.get(f"/sums/{name}").text
    assert all(f'name="{field.name}"' in page for field in asked.fields)
    example = {field.name: [field.example] if field.many else field.example for field in asked.fields if field.needed}
    answer = ward.post(f"/api/sums/{name}", json=example)
    words = [part for field in asked.fields if field.needed for part in (f"--{field.name.replace('_', '-')}", field.example)]
    more = ["--formulary", str(FOLDER)] if asked.by_formulary else []
    by_command = said("sum", name, *words, *more)
    if answer.status_code == 422:
        assert len(by_command["errors"]) == len(answer.json()["errors"])
    else:
        assert answer.json() == by_command
    shown = text(
        post(
            ward, f"/sums/{name}", {key: value[0] if isinstance(value, list) else value for key, value in example.items()}, f"/sums/{name}"
        ).text
    )
    assert answer.status_code == 422 or (
        all(r["value"].replace("\u00a0", " ") in shown for r in answer.json()["results"]) and answer.json()["caution"] in shown
    )


def test_a_sum_with_a_fault(ward: TestClient) -> None:
    answer = post(ward, "/sums/drops", {"rate": "100", "set": "20 drops/mL"}, "/sums/drops")
    assert answer.status_code == 422 and "no unit" in text(answer.text) and 'value="100"' in answer.text
    assert ward.get("/sums/nosuch").status_code == 404 and ward.post("/api/sums/nosuch", json={}).status_code == 404


def test_the_sheet(ward: TestClient) -> None:
    asked = {"child": "SM-014", **CHILD, "on": "2026-05-04"}
    told = ward.post("/api/sheet", json=asked).json()
    words = [part for name, value in asked.items() for part in (f"--{name.replace('_', '-')}", value)]
    by_command = said("sheet", *words, "--formulary", str(FOLDER))
    assert {**told, "written": ""} == by_command
    answer = post(ward, "/sheet", {**asked, "weight": "14.2", "weight_unit": "kg"}, "/sheet")
    assert (
        "SM-014" in answer.text and answer.headers["refresh"] == "300;url=/sheet" and "sha256-" in answer.headers["content-security-policy"]
    )
    assert post(ward, "/sheet", {"weight": "14,2"}, "/sheet").status_code == 422


def test_the_sheet_on_paper(ward: TestClient, pango: None) -> None:
    answer = post(ward, "/sheet", {"child": "SM-014", **CHILD, "on": "2026-05-04", "pressed": "pdf"}, "/sheet")
    assert answer.headers["content-type"] == "application/pdf" and answer.content.startswith(b"%PDF")


def test_the_formulary(ward: TestClient) -> None:
    """Any medicine: its regimens, its sources, its picture, its status and the review date."""
    formulary = Formulary(FOLDER)
    listing = text(ward.get("/formulary").text)
    assert all(f"{medicine.name}" in listing for medicine in formulary.medicines()) and "2027-12-31" in listing and "example" in listing
    page = ward.get("/formulary/ibuprofen").text
    assert "oral-pain-child" in page and "<svg" in page and 'href="/formulary"' in page and "Review due" in page
    assert ward.get("/formulary/acetaminophen").text.count("paracetamol") > 3 and ward.get("/formulary/nosuch").status_code == 404
    names = ward.get("/api/formulary").json()["names"]
    assert sorted(names) == formulary.names and names["acetaminophen"]["medicine"] == "paracetamol"
    told = ward.get("/api/formulary/ibuprofen").json()
    assert told["formulary"]["fingerprint"] == formulary.fingerprint and ward.get("/api/formulary/nosuch").status_code == 404


@pytest.mark.parametrize("kind", KINDS)
def test_practice(ward: TestClient, kind: str) -> None:
    """H29: a question at its own address, marked by the engine; the same as the command line."""
    asked = ward.get(f"/api/practice/{kind}/1/7").json()
    by_command = said("drill", "question", kind, "--seed", "7", "--formulary", str(FOLDER))
    assert asked == {key: value for key, value in by_command.items() if key != "hint"}
    page = text(ward.get(f"/practice/{asked['id']}").text)
    assert asked["text"] in page
    wrong = "213 kg"
    told = ward.post("/api/practice/mark", json={"id": asked["id"], "answer": wrong}).json()
    assert told == said("drill", "mark", asked["id"], "--answer", wrong, "--formulary", str(FOLDER))
    marked = text(post(ward, f"/practice/{asked['id']}", {"answer": wrong}, f"/practice/{asked['id']}").text)
    assert ("NOT RIGHT" in marked and told["lesson"]["answer"] in marked) if told["result"] != "unreadable" else "NOT MARKED" in marked
    assert ward.get(f"/practice/new/{kind}/1", follow_redirects=False).status_code == 303


def test_practice_that_is_not_there(ward: TestClient) -> None:
    for path in (
        "/practice/nosuch",
        "/practice/new/nosuch/1",
        "/practice/new/drops/4",
        "/api/practice/drops/1/x",
        "/practice/drops.1.7.00000000",
    ):
        assert ward.get(path).status_code in (404,), path


def test_the_json_pages_are_described(ward: TestClient) -> None:
    """Every JSON page stands in the OpenAPI document and on our own page of it, which asks no other host."""
    paths = ward.get("/openapi.json").json()["paths"]
    assert {"/api/order", "/api/chart", "/api/sheet", "/api/second-check", "/api/formulary", "/api/practice/mark"} <= set(paths)
    page = ward.get("/docs").text
    assert all(path in page.replace("&#34;", '"') for path in paths) and "https://" not in page


def test_every_fault_stands_at_its_field(ward: TestClient) -> None:
    """A date too; and the field, were it folded away, is in sight."""
    for name in ("born", "weighed", "on"):
        page = post(ward, "/order", {**FORM, name: "2026-13-45"}).text
        assert f'id="{name}-fault"' in page and f'href="#{name}"' in page
        assert name == "born" or '<details class="more" open>' in page


def test_products_are_offered_for_a_chart(ward: TestClient) -> None:
    """Nobody knows the ids of products by heart."""
    page = ward.get("/chart").text
    assert '<option value="oral-liquid-120-in-5">paracetamol: oral liquid 120 mg in 5 mL' in page and page.count('list="products"') == 12
    assert 'placeholder="210 mg"' not in page, "an example never looks like what was filled in"


def test_the_sheet_leads_back_to_an_empty_form(ward: TestClient) -> None:
    child = {"child": "SM-014", "weight": "14.2", "weight_unit": "kg", "age": "3", "age_unit": "years", "pressed": "page"}
    answer = post(ward, "/sheet", child, "/sheet")
    assert answer.status_code == 200 and '<a href="/sheet">Next child</a>' in answer.text
    assert "14.2" not in ward.get("/sheet").text
