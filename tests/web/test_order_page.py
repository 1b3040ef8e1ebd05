"""The order's page: what it asks, what it answers, and that page, JSON and command line say the same."""

from __future__ import annotations

import json
import re
from html import unescape
from typing import Any

import pytest
from cli.door import dosecheck
from hypothesis import given, settings
from hypothesis import strategies as st
from starlette.testclient import TestClient
from web.ward import FOLDER, FORM, ORDER, client, post, token

from dosecheck.formulary.load import Formulary
from dosecheck.records import read_field
from dosecheck.web.choices import choices_of, names_of
from dosecheck.web.units import CHILD_PRESSED, PRESSED

LIVE = {"x-dosecheck-part": "answer"}
CASES = [
    ({}, "within"),
    ({"dose": "320 mg"}, "stop"),
    ({"dose": "180 mg"}, "query"),
    ({"dose": "15 mg/kg"}, "within"),
    ({"dose": "2100 mg", "product": "oral-liquid-120-in-5"}, "stop"),
    ({"weight": None}, "not-checked"),
    ({"medicine": "paracetamole"}, "not-checked"),
    ({"route": None}, "not-checked"),
    ({"weight": "31.3 kg"}, "query"),
    ({"given": ["210 mg 5 hours ago"]}, "query"),
    ({"given": ["210 mg 2 hours ago"]}, "stop"),
    ({"none_given": True}, "within"),
    ({"medicine": "ibuprofen", "dose": "142 mg", "every": "8 hours"}, "within"),
    ({"medicine": "gentamicin", "route": "intravenous", "for": None, "dose": "100 mg", "every": "24 hours"}, "within"),
]


def command_line(asked: dict[str, Any]) -> dict[str, Any]:
    """The same order through `dosecheck order --json`."""
    words: list[str] = []
    for name, value in asked.items():
        flag = f"--{name.replace('_', '-')}"
        words += [flag] if value is True else [part for each in (value if isinstance(value, list) else [value]) for part in (flag, each)]
    return json.loads(dosecheck("order", *words, "--formulary", str(FOLDER), "--json").out)


def text(html: str) -> str:
    return unescape(re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", html))).replace("\u00a0", " ")


@pytest.mark.parametrize(("changes", "outcome"), CASES)
def test_h23_page_json_and_command_line_agree(ward: TestClient, changes: dict[str, Any], outcome: str) -> None:
    """H23: the same order through every door: the same data, and the page shows its outcome and its first reason."""
    asked = {name: value for name, value in {**ORDER, **changes}.items() if value is not None}
    told = ward.post("/api/order", json=asked).json()
    assert told == command_line(asked)
    form = {**asked, **({"earlier": "none"} if asked.pop("none_given", None) else {})}
    page = text(post(ward, "/order", form).text)
    word = outcome.upper().replace("-", " ")
    assert told["outcome"] == outcome and f" {word} " in page and told["headline"] in page
    for line in (*(f["message"] for f in told["findings"]), *told["working"], *told["not_checked"], told["caution"]):
        assert " ".join(line.split()) in page, line


def test_numbers_and_pressed_units_are_put_together(ward: TestClient) -> None:
    page = post(ward, "/order", FORM).text
    assert "WITHIN" in page and "14.2\u00a0kg" in page and 'class="picture"' in page


@pytest.mark.parametrize(
    ("changes", "why"),
    [
        ({"dose": "210 mg", "dose_unit": "micrograms"}, "A unit is typed, and"),
        ({"every_typed": "8 hours"}, "It is typed, and"),
        ({"weight": "14,2"}, "comma"),
        ({"weight": "14.2", "weight_unit": ""}, "has no unit"),
        ({"dose": "1_0"}, "1_0"),
        ({"age": "3", "age_unit": ""}, "unit"),
        ({"weight": "-12"}, "-12"),
        ({"weight": "nan"}, "nan"),
    ],
)
def test_bad_fields_are_told_at_the_field_and_nothing_is_lost(ward: TestClient, changes: dict[str, str], why: str) -> None:
    """What was typed stands in the form again; nothing was checked."""
    answer = post(ward, "/order", {**FORM, **changes})
    assert answer.status_code == 422 and why in text(answer.text) and "Nothing was checked" in answer.text
    assert all(word not in answer.text for word in ("WITHIN", "<h2>QUERY", "<h2>STOP"))
    assert 'value="paracetamol"' in answer.text and 'aria-invalid="true"' in answer.text


def test_all_faults_at_once(ward: TestClient) -> None:
    page = text(post(ward, "/order", {**FORM, "weight": "14,2", "dose": "1 5", "gestation": "soon"}).text)
    assert all(name in page for name in ("weight", "dose", "gestation"))


def test_an_outcome_only_when_nothing_is_missing(ward: TestClient) -> None:
    """While a field is missing the live page names it and shows no outcome; pressing Check shows "not checked" in full."""
    for name in ("weight", "dose", "age", "medicine", "route"):
        short = {key: value for key, value in FORM.items() if key not in (name, f"{name}_unit")}
        live = post(ward, "/order", short, headers=LIVE).text
        assert "Not checked yet" in live and not re.search(r"\b(WITHIN|QUERY|STOP|NOT CHECKED)\b", live), name
        pressed = post(ward, "/order", {**short, "pressed": "check"}, headers=LIVE).text
        assert "NOT CHECKED" in pressed and "WITHIN the" not in pressed


def test_the_answer_and_the_form_never_stand_on_one_page_without_a_script(ward: TestClient) -> None:
    """H31: an edited form could disagree with an answer beside it."""
    page = post(ward, "/order", FORM).text
    assert 'id="outcome"' in page and 'id="order"' not in page
    again = post(ward, "/order", {**FORM, "again": "yes"}).text
    assert 'id="order"' in again and 'id="outcome"' not in again and 'value="14.2"' in again


def test_h31_the_next_child_starts_from_nothing(ward: TestClient) -> None:
    """H31: two children in turn: nothing of the first is on the page, in its form or in an answer of the second."""
    post(ward, "/order", FORM)
    page = ward.get("/").text
    assert "14.2" not in page and 'value="paracetamol"' not in page.replace('<option value="paracetamol"', "")
    second = text(post(ward, "/order", {**FORM, "weight": "20", "age": "6", "dose": "300"}).text)
    assert "20 kg" in second and "14.2" not in second and "6 years" in second


def test_medicine_first_without_a_script(ward: TestClient) -> None:
    """Only the routes, uses and products that the formulary has; none is chosen beforehand."""
    page = post(ward, "/order", {"medicine": "Paracetamol", "pressed": "medicine"}).text
    routes = re.search(r'<fieldset class="field" id="route".*?</fieldset>', page, re.DOTALL)[0]
    assert re.findall(r'value="([^"]*)"', routes) == ["intravenous", "oral", "rectal"] and "checked" not in routes
    uses = re.search(r'<fieldset class="field" id="for".*?</fieldset>', page, re.DOTALL)[0]
    assert re.findall(r'value="([^"]*)" checked', uses) == [""], "what for is not told until it is pressed"
    assert "oral-liquid-120-in-5" in page and "no-such" not in page
    assert (
        "asked once the medicine is one of this formulary" in post(ward, "/order", {"medicine": "paracetamo", "pressed": "medicine"}).text
    )


def test_h19_a_near_name_is_asked_about_and_never_used(ward: TestClient) -> None:
    page = text(post(ward, "/order", {**FORM, "medicine": "paracetamole"}).text)
    assert "NOT CHECKED" in page and "Did you mean" in page and "213 mg" not in page
    assert (
        "<select" not in ward.get("/choices?medicine=paracetamole").text and "<input" not in ward.get("/choices?medicine=paracetamole").text
    )


def test_what_a_user_typed_is_escaped(ward: TestClient) -> None:
    for name in ("medicine", "weight", "dose", "every_typed", "route"):
        answer = post(ward, "/order", {**FORM, name: '"><script>alert(1)</script>'})
        assert "<script>alert" not in answer.text and answer.status_code in (200, 422)


def test_each_pressed_unit_is_one_that_the_reader_reads() -> None:
    for unit in (*PRESSED["dose"], *PRESSED["dose_more"]):
        assert read_field("dose", f"2 {unit}")
    for unit in CHILD_PRESSED["weight"]:
        assert read_field("weight", f"20 {unit}")
    for unit in CHILD_PRESSED["age"]:
        assert read_field("age", f"2 {unit}")
    for words in PRESSED["every"]:
        assert read_field("every", words)


def test_every_name_and_choice_is_of_the_formulary() -> None:
    formulary = Formulary(FOLDER)
    assert [name for name, _ in names_of(formulary)] == formulary.names
    for medicine in formulary.medicines():
        made = choices_of(formulary, medicine.id)
        assert {value for value, _ in made.routes} == {r.route for r in medicine.regimens}
        assert all(medicine.product(value) for value, _ in made.products)


@pytest.mark.parametrize(
    ("body", "status"),
    [
        (b'{"weight": NaN}', 400),
        (b'{"weight": Infinity}', 400),
        (b'{"weight": "10 kg", "weight": "100 kg"}', 400),
        (b'{"weight": true}', 422),
        (b'{"weight": 10}', 422),
        (b'{"weight": 0.1000000000000000055}', 422),
        (b'{"wieght": "12 kg"}', 422),
        (b'{"weight": ' + b"9" * 5000 + b"}", 422),
        (b'{"medicine": "\\ud800"}', 400),
        (b"{}{}", 400),
        (b"", 400),
        (b"null", 400),
        (b"[]", 400),
        (b"{'weight': '12 kg'}", 400),
        (b'{"weight": "12 kg",}', 400),
        (b'{"weight": "\xb5g"}', 400),
        (b"[" * 20_000, 400),
        (b'{"given": "210 mg"}', 422),
        (b'{"given": [1]}', 422),
        (b'{"once": "yes"}', 422),
    ],
)
def test_b077_to_b084_json_that_other_readers_let_pass(ward: TestClient, body: bytes, status: int) -> None:
    """B077 to B084: each is refused with a sentence; none is an answer."""
    answer = ward.post("/api/order", content=body, headers={"content-type": "application/json"})
    assert answer.status_code == status and answer.json()["errors"][0]["why"] and "outcome" not in answer.json()


def test_b080_an_unknown_field_is_named_with_the_nearest(ward: TestClient) -> None:
    told = ward.post("/api/order", json={**ORDER, "wieght": "12 kg"}).json()
    assert told["errors"][0]["field"] == "wieght" and "weight" in told["errors"][0]["write"]


@pytest.mark.parametrize(
    "body", ["weight=%zz", "weight=1&weight=2", "a=%ff", "x" * 10, "&&", "weight=\u00b5", "&".join(f"f{n}=1" for n in range(300))]
)
def test_b088_badly_encoded_forms(ward: TestClient, body: str) -> None:
    """B088: bad escapes, fields twice and too many fields are refused, never read half."""
    told = f"token={token(ward.get('/').text)}&{body}"
    answer = ward.post("/order", content=told.encode(), headers={"content-type": "application/x-www-form-urlencoded"})
    assert answer.status_code == 400 and "Nothing was checked" in answer.text


def test_b088_a_plus_is_a_space(ward: TestClient) -> None:
    """B088: "1+2" is "1 2", which no number is."""
    answer = ward.post(
        "/order",
        content=f"token={token(ward.get('/').text)}&weight=1+2&weight_unit=kg".encode(),
        headers={"content-type": "application/x-www-form-urlencoded"},
    )
    assert answer.status_code == 422 and "1 2 kg" in text(answer.text)


def test_other_bodies(ward: TestClient) -> None:
    ward.get("/")
    assert ward.post("/order", content=b"{}", headers={"content-type": "application/json"}).status_code == 415
    assert ward.post("/api/order", data=FORM).status_code == 415


def test_b094_forms_of_one_number(ward: TestClient) -> None:
    """B094: 10.00 is 10; an exponent and a negative zero are refused by the one strict reader."""
    same = [ward.post("/api/order", json={**ORDER, "weight": text}).json()["working"] for text in ("10 kg", "10.00 kg")]
    assert same[0] == same[1]
    assert all(ward.post("/api/order", json={**ORDER, "weight": text}).status_code == 422 for text in ("-0.0 kg", "1E1 kg"))


@settings(max_examples=60)
@given(st.dictionaries(st.sampled_from([*FORM, "product", "every_typed", "gestation", "zzz"]), st.text(max_size=20)))
def test_no_form_whatever_makes_a_fault(told: dict[str, str]) -> None:
    """Any text in any field: a page, never a fault, and "within" only for the order itself."""
    answer = post(_WARD, "/order", {**FORM, **told})
    assert answer.status_code in (200, 400, 422)


_WARD = client()


def test_the_volume_is_drawn_on_the_scale(ward: TestClient) -> None:
    """8.5 mL of 120 mg in 5 mL is 204 mg: in words and as a picture; a dose that is stopped is not drawn."""
    form = {**FORM, "dose": "204", "product": "oral-liquid-120-in-5"}
    page = text(post(ward, "/order", form).text)
    assert "8.5 mL of oral liquid 120 mg in 5 mL is 204 mg." in page and "Fill to 8.5 mL" in page
    assert "Fill to" not in post(ward, "/order", {**form, "dose": "408"}).text
    assert "Fill to" not in post(ward, "/order", {**form, "weight": "31.3"}).text  # hard to believe


def test_first_page_is_light(ward: TestClient) -> None:
    """The first page, its style, script and mark: under 100 kB in all."""
    assert sum(len(ward.get(path).content) for path in ("/", "/static/page.css", "/static/page.js", "/static/mark.svg")) < 100_000
