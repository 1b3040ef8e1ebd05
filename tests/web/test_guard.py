"""Who may ask, how much, how long: as an attacker on the same network, or a foreign page in the same browser, would try it."""

from __future__ import annotations

import asyncio
import json
import logging
from typing import Any

import pytest
from starlette.testclient import TestClient
from web.ward import BASE, FOLDER, FORM, HOST, ORDER, client, post

from dosecheck.web import guard
from dosecheck.web.app import make_app
from dosecheck.web.guard import AT_ONCE, MOST_BYTES, SAME_TIME, Guard, whose
from dosecheck.web.pages import order
from dosecheck.web.settings import Settings


def scope(
    path: str = "/", method: str = "GET", headers: dict[str, str] | None = None, client: str = "127.0.0.1", server: str = "127.0.0.1"
) -> dict[str, Any]:
    told = {"host": f"{server}:8000", **(headers or {})}
    raw = [(name.encode(), value.encode("latin-1")) for name, value in told.items()]
    return {
        "type": "http",
        "method": method,
        "path": path,
        "query_string": b"",
        "headers": raw,
        "client": (client, 5000),
        "server": (server, 8000),
        "scheme": "http",
    }


async def inner(scope: Any, receive: Any, send: Any) -> None:
    await receive()
    await send({"type": "http.response.start", "status": 200, "headers": []})
    await send({"type": "http.response.body", "body": b"answered"})


def ask(guarded: Guard, asked: dict[str, Any], *messages: dict[str, Any]) -> tuple[int, bytes]:
    """Status and body of one request, straight through the guard."""
    sent: list[dict[str, Any]] = []
    coming = list(messages) or [{"type": "http.request", "body": b"", "more_body": False}]

    async def receive() -> dict[str, Any]:
        if coming:
            return coming.pop(0)
        await asyncio.sleep(3600)
        raise AssertionError

    async def send(message: dict[str, Any]) -> None:
        sent.append(message)

    asyncio.run(guarded(asked, receive, send))
    return sent[0]["status"], b"".join(message.get("body", b"") for message in sent[1:])


@pytest.mark.parametrize(
    "host",
    [
        "evil.example",
        "evil.example:8000",
        "127.0.0.1.evil.example",
        "127.0.0.1:9999",
        "10.0.0.7",
        "",
        "127.0.0.1:8000@evil.example",
        "[::2]",
        "localhost:8000/x",
    ],
)
def test_another_name_for_this_machine_is_refused(ward: TestClient, host: str) -> None:
    """H33: a foreign page that makes its own name point here reads nothing."""
    assert ward.get("/", headers={"host": host}).status_code == 421


@pytest.mark.parametrize("host", [HOST, "127.0.0.1", "localhost:8000", "LOCALHOST", "[::1]:8000"])
def test_our_own_names(ward: TestClient, host: str) -> None:
    assert ward.get("/", headers={"host": host}).status_code == 200


def test_named_and_wide_open_hosts() -> None:
    """A wide-open page is asked by the address that the request came to, or by a name that it was given; never by another."""
    made = Guard(inner, frozenset({"0.0.0.0", "ward-pc.local"}))
    told = scope(server="192.0.2.7")
    assert ask(made, told)[0] == 200
    for host, status in (("ward-pc.local:8000", 200), ("192.0.2.8:8000", 421), ("evil.example:8000", 421)):
        assert ask(made, {**told, "headers": [(b"host", host.encode())]})[0] == status


def test_two_hosts_in_one_request() -> None:
    asked = scope()
    assert ask(Guard(inner, frozenset({"127.0.0.1"})), {**asked, "headers": [*asked["headers"], (b"host", b"127.0.0.1")]})[0] == 421


@pytest.mark.parametrize(
    "head",
    [
        {"origin": "https://evil.example"},
        {"origin": "null"},
        {"origin": "http://127.0.0.1:9999"},
        {"origin": "https://127.0.0.1:8000"},
        {"sec-fetch-site": "cross-site"},
        {"sec-fetch-site": "same-site"},
    ],
)
@pytest.mark.parametrize("path", ["/order", "/api/order", "/second-check/first", "/chart", "/sheet", "/sums/drops"])
def test_another_sites_page_cannot_ask(ward: TestClient, path: str, head: dict[str, str]) -> None:
    """H33: a request from another site is refused, whatever it asks."""
    assert ward.post(path, content=b"{}", headers={"content-type": "application/json", **head}).status_code == 403


def test_a_form_without_its_token(ward: TestClient) -> None:
    """H33: neither a foreign form without Origin nor one with somebody else's token is read."""
    assert ward.post("/order", data=FORM).status_code == 403
    other = client(app=ward.app)
    stolen = other.get("/").text.partition('name="token" value="')[2][:64]
    ward.get("/")
    for told in (stolen, "", "0" * 64, "é"):
        answer = ward.post("/order", data={**FORM, "token": told})
        assert answer.status_code == 403 and "WITHIN" not in answer.text
    assert post(ward, "/order", FORM).status_code == 200


def test_every_answer_has_the_heads(ward: TestClient) -> None:
    answers = [
        ward.get("/"),
        ward.get("/nosuch"),
        ward.get("/static/page.css"),
        ward.get("/openapi.json"),
        ward.post("/order"),
        ward.get("/formulary/ibuprofen"),
    ]
    for answer in answers:
        policy = answer.headers["content-security-policy"]
        assert "default-src 'none'" in policy and "unsafe" not in policy and "frame-ancestors 'none'" in policy
        assert answer.headers["x-content-type-options"] == "nosniff" and answer.headers["referrer-policy"] == "same-origin"
        assert answer.url.path.startswith("/static/") or answer.headers["cache-control"] == "no-store"


def test_no_page_holds_an_inline_script_or_another_host(ward: TestClient) -> None:
    for path in ("/", "/second-check", "/chart", "/sums", "/sheet", "/formulary", "/practice", "/docs"):
        html = ward.get(path).text
        assert html.count("<script") == 1 and '<script src="/static/page.js" defer></script>' in html
        assert " style=" not in html and " on" not in html.partition("<body")[2].partition(">")[0]
        assert "http://" not in html and "https://" not in html, path


def test_the_cookie_is_the_sessions_alone(ward: TestClient) -> None:
    told = ward.get("/").headers["set-cookie"]
    assert "HttpOnly" in told and "SameSite=strict" in told and "Max-Age" not in told and "expires" not in told.lower()
    assert "set-cookie" not in ward.get("/").headers
    assert "Secure" in client(Settings(formulary=FOLDER, secure=True)).get("/").headers["set-cookie"]


def test_b086_too_large(ward: TestClient) -> None:
    """B086: a large body is refused with the limit, told or not told beforehand."""
    answer = ward.post("/api/order", content=b" " * (MOST_BYTES + 1), headers={"content-type": "application/json"})
    assert answer.status_code == 413 and f"{MOST_BYTES:,}" in answer.text
    part = {"type": "http.request", "body": b"x" * 40_000, "more_body": True}
    status, body = ask(Guard(inner, frozenset({"127.0.0.1"})), scope("/api/order", "POST"), part, part)
    assert status == 413 and "errors" in json.loads(body)


@pytest.mark.parametrize("length", ["-1", "x", "9" * 5000])
def test_b087_odd_lengths_do_not_harm(length: str) -> None:
    """B087: what the server lets through of a bad Content-Length is judged by what really comes."""
    status, _ = ask(Guard(inner, frozenset({"127.0.0.1"})), scope("/order", "POST", {"content-length": length}))
    assert status == (413 if length.startswith("9") else 200)


def test_b085_compressed_bodies(ward: TestClient) -> None:
    """B085: nothing is inflated."""
    head = {"content-type": "application/json", "content-encoding": "gzip"}
    assert ward.post("/api/order", content=b"\x1f\x8b", headers=head).status_code == 415


def test_a_body_that_never_ends(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(guard, "BODY_SECONDS", 0.05)
    part = {"type": "http.request", "body": b"x", "more_body": True}
    status, body = ask(Guard(inner, frozenset({"127.0.0.1"})), scope("/order", "POST"), part)
    assert status == 408 and b"answered" not in body


def test_a_browser_that_goes_away() -> None:
    status, _ = ask(Guard(inner, frozenset({"127.0.0.1"})), scope("/order", "POST"), {"type": "http.disconnect"})
    assert status == 400


def test_a_slow_answer_is_no_all_clear(monkeypatch: pytest.MonkeyPatch) -> None:
    """An answer that takes too long ends as "not checked"."""
    monkeypatch.setattr(guard, "ANSWER_SECONDS", 0.05)

    async def slow(scope: Any, receive: Any, send: Any) -> None:
        await asyncio.sleep(60)

    status, body = ask(Guard(slow, frozenset({"127.0.0.1"})), scope("/order", "POST"))
    assert status == 500 and b"NOT CHECKED" in body


def test_so_many_at_once_and_no_more() -> None:
    """A flood from one address is refused; another address is not kept waiting, and after a while the first may ask again."""
    time = [0.0]
    made = Guard(inner, frozenset({"127.0.0.1"}), clock=lambda: time[0])
    statuses = [ask(made, scope())[0] for _ in range(AT_ONCE + 3)]
    assert statuses == [200] * AT_ONCE + [429] * 3
    assert ask(made, scope(client="127.0.0.2"))[0] == 200
    time[0] += 1
    assert ask(made, scope())[0] == 200


def test_h27_an_unexpected_fault_is_not_checked(
    ward: TestClient, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    """H22, H33: a fault answers "not checked" with a reference that stands in the log, where no patient's text does."""

    def broken(*_: object) -> None:
        raise RuntimeError("SM-secret 14.2 kg")

    monkeypatch.setattr(order, "check_order", broken)
    with caplog.at_level(logging.INFO, "dosecheck.web"):
        page, told = post(ward, "/order", FORM), ward.post("/api/order", json=ORDER)
    assert page.status_code == told.status_code == 500
    assert "NOT CHECKED" in page.text and "WITHIN" not in page.text and "SM-secret" not in page.text + told.text
    assert told.json()["outcome"] == "not-checked" and told.json()["reference"] in caplog.text
    assert "SM-secret" not in caplog.text and "14.2" not in caplog.text and "RuntimeError" in caplog.text


def test_no_patient_text_in_the_log(ward: TestClient, caplog: pytest.LogCaptureFixture) -> None:
    """H33: what was typed stands in no line of the log; neither does an address that was made up."""
    with caplog.at_level(logging.DEBUG, "dosecheck.web"):
        post(ward, "/order", {**FORM, "medicine": "Xyzzymol"})
        ward.post("/api/order", json={**ORDER, "condition": ["Xyzzy trouble"]})
        ward.get("/formulary/Xyzzy%0d%0aforged: line")
        ward.get("/choices?medicine=Xyzzymol")
    assert "xyzzy" not in caplog.text.lower().replace("/formulary/xyzzy", "") and "forged" not in caplog.text
    assert all("\r" not in record.getMessage() and "\n" not in record.getMessage() for record in caplog.records)


@pytest.mark.parametrize(
    "path",
    [
        "/../../etc/passwd",
        "/%2e%2e/%2e%2e/etc/passwd",
        "/.//etc/passwd",
        "/static/../app.py",
        "/static/%2e%2e/app.py",
        "/static/..%2fapp.py",
        "/formulary/../policy",
        "/formulary/%2e%2e%2fpolicy.toml",
        "/static/",
    ],
)
def test_b089_nothing_outside(ward: TestClient, path: str) -> None:
    """B089: no file but our own style, script and mark is ever read."""
    answer = ward.get(path)
    assert answer.status_code in (404, 405, 421) and "root:" not in answer.text and "import" not in answer.text


@pytest.mark.parametrize(
    ("method", "path"), [("DELETE", "/order"), ("PUT", "/api/order"), ("GET", "/api/order"), ("PATCH", "/sheet"), ("POST", "/formulary")]
)
def test_b090_other_methods(ward: TestClient, method: str, path: str) -> None:
    """B090: 405, and which are allowed."""
    answer = ward.request(method, path)
    assert answer.status_code == 405 and answer.headers["allow"]


def test_b091_line_feeds_in_a_parameter(ward: TestClient) -> None:
    """B091: no answer is split."""
    answer = ward.get("/choices?medicine=x%0d%0aset-cookie:%20a=b")
    assert answer.status_code == 200 and "set-cookie" not in answer.headers


def test_a_socket_is_refused() -> None:
    sent: list[dict[str, Any]] = []

    async def send(message: dict[str, Any]) -> None:
        sent.append(message)

    asyncio.run(Guard(inner, frozenset())({"type": "websocket"}, None, send))
    assert sent[0]["type"] == "websocket.close"


def test_the_page_is_on_this_machine_alone_unless_told() -> None:
    assert Settings().host == "127.0.0.1" and make_app(Settings(formulary=FOLDER)).names == {"127.0.0.1", "::1", "localhost"}
    assert BASE.endswith(HOST)


@pytest.mark.parametrize(
    ("address", "machine"),
    [
        ("192.0.2.7", "192.0.2.7"),
        ("::ffff:192.0.2.7", "192.0.2.7"),
        ("2001:db8:1:2:aaaa::1", "2001:db8:1:2::/64"),
        ("2001:db8:1:2:bbbb::2", "2001:db8:1:2::/64"),
        ("made up" * 5000, ""),
        ("", ""),
    ],
)
def test_whose_an_address_is(address: str, machine: str) -> None:
    """One machine has a whole IPv6 network to ask from; what a proxy passes on that is no address is not kept."""
    assert whose(address) == machine


def test_a_flood_that_goes_on_is_answered_in_part() -> None:
    """Requests that are refused do not lengthen the wait: behind one proxy the others would never be answered."""
    time = [0.0]
    made = Guard(inner, frozenset({"127.0.0.1"}), clock=lambda: time[0])
    statuses = []
    for _ in range(3 * AT_ONCE):
        statuses.append(ask(made, scope())[0])
        time[0] += 1 / 400  # twice as many as may be
    assert 190 <= statuses[-400:].count(200) <= 210


def test_what_takes_long_counts_for_more() -> None:
    time = [0.0]

    async def slow(scope: Any, receive: Any, send: Any) -> None:
        time[0] += 0.1
        await inner(scope, receive, send)

    made = Guard(slow, frozenset({"127.0.0.1"}), clock=lambda: time[0])
    statuses = [ask(made, scope())[0] for _ in range(40)]
    assert statuses.count(200) < 25 and statuses[-1] == 429
    assert ask(made, scope(client="127.0.0.2"))[0] == 200


def test_so_many_of_one_machine_under_way(monkeypatch: pytest.MonkeyPatch) -> None:
    """However fast they come: at one time only so many wait for an answer, and another machine is not behind them."""

    async def flood() -> list[int]:
        free = asyncio.Event()

        async def held(scope: Any, receive: Any, send: Any) -> None:
            await free.wait()
            await inner(scope, receive, send)

        made, statuses = Guard(held, frozenset({"127.0.0.1"})), []

        async def one(client: str) -> None:
            async def receive() -> dict[str, Any]:
                return {"type": "http.request", "body": b"", "more_body": False}

            async def send(message: dict[str, Any]) -> None:
                if message["type"] == "http.response.start":
                    statuses.append(message["status"])

            await made(scope(client=client), receive, send)

        asked = [asyncio.create_task(one("127.0.0.1")) for _ in range(SAME_TIME + 4)] + [asyncio.create_task(one("127.0.0.2"))]
        await asyncio.sleep(0.05)
        refused = list(statuses)
        free.set()
        await asyncio.gather(*asked)
        assert not made._under_way
        return [len(refused), statuses.count(200)]

    assert asyncio.run(flood()) == [4, SAME_TIME + 1]


def test_head_is_get_without_a_body(ward: TestClient) -> None:
    for path in ("/", "/formulary", "/nosuch"):
        asked, told = ward.head(path), ward.get(path)
        assert (asked.status_code, asked.content) == (told.status_code, b"")


def test_an_odd_cookie_is_replaced(ward: TestClient) -> None:
    """A cookie of our name that another program of this machine has set, empty or chosen: a new session, and forms that work."""
    for odd in ("", "chosen", "x" * 4000):
        other = client(app=ward.app)
        answer = other.get("/", headers={"cookie": f"dosecheck={odd}"})
        assert len(answer.cookies["dosecheck"]) == 22
        token = answer.text.partition('name="token" value="')[2][:64]
        head = {"origin": BASE, "cookie": f"dosecheck={odd}"}
        assert client(app=ward.app).post("/order", data={**FORM, "token": token}, headers=head).status_code == 403
        assert post(other, "/order", FORM).status_code == 200


def test_large_input_is_refused_before_it_costs(ward: TestClient) -> None:
    """What fits the size limit and would still take long, or be answered with megabytes."""
    strange = ward.post("/api/order", json={**ORDER, **{f"wei{n}": "x" for n in range(4000)}})
    assert strange.status_code == 400 and len(strange.content) < 1000
    listed = ward.post("/api/order", json={**ORDER, "condition": [f"a{n}" for n in range(6000)]})
    assert listed.status_code == 422 and "more than 100" in listed.text and len(listed.content) < 1000
    dose = {"medicine": "paracetamol", "route": "oral", "dose": "210 mg"}
    chart = {
        "now": "2026-05-04 14:30+01:00",
        "child": {"weight": "14.2 kg", "age": "3 years"},
        "order": [{**dose, "for": "pain", "every": "6 hours"}] * 31,
        "given": [{**dose, "ago": f"{n + 1} minutes"} for n in range(101)],
    }
    told = ward.post("/api/chart", json=chart)
    assert told.status_code == 422 and [each["field"] for each in told.json()["errors"]] == ["order", "given"]
    assert "dosecheck chart" in told.text
