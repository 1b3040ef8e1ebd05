"""What the tests of the page share: the page in this process, and the page on a real port for a real browser."""

from __future__ import annotations

import os
import re
import shutil
import socket
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any, NoReturn

import pytest
from cli.door import BASE as ORDER
from starlette.testclient import TestClient

from dosecheck.web.app import make_app
from dosecheck.web.lines import config_of
from dosecheck.web.settings import Settings

FOLDER = Path(__file__).parents[2] / "formulary"
HOST = "127.0.0.1:8000"
BASE = f"http://{HOST}"
FORM = {
    **{name: ORDER[name] for name in ("medicine", "route", "for", "every", "on")},
    **{"dose": "210", "dose_unit": "mg", "weight": "14.2", "weight_unit": "kg", "age": "3", "age_unit": "years"},
}


def client(settings: Settings | None = None, app: Any = None) -> TestClient:
    """The page in this process; it keeps its cookie as a browser does."""
    return TestClient(app or make_app(settings or Settings(formulary=FOLDER)), base_url=BASE, raise_server_exceptions=False)


def token(page: str) -> str:
    return re.search(r'name="token" value="([0-9a-f]+)"', page)[1]


def post(ward: TestClient, address: str, form: dict[str, Any], came_from: str = "/", **more: Any) -> Any:
    """A form of ours, sent as a browser sends it: with the token of its session, and with where it comes from."""
    told = {"token": token(ward.get(came_from).text), **form}
    return ward.post(address, data=told, headers={"origin": BASE, **more.pop("headers", {})}, **more)


def missing(what: str) -> NoReturn:
    """Skips, saying why; where everything is to be tested, fails."""
    words = f"{what} is missing, so that no page can be tried in a real browser."
    pytest.fail(words) if os.environ.get("DOSECHECK_TEST_ALL") else pytest.skip(words)


def free_port() -> int:
    with socket.socket() as found:
        found.bind(("127.0.0.1", 0))
        return found.getsockname()[1]


@contextmanager
def serving(settings: Settings) -> Iterator[str]:
    """The page on its port, in a thread; its address."""
    import uvicorn

    server = uvicorn.Server(config_of(make_app(settings), settings.host, settings.port, {}))
    thread = threading.Thread(target=server.run, daemon=True)
    thread.start()
    while not server.started:
        time.sleep(0.02)
    try:
        yield f"http://{settings.host}:{settings.port}"
    finally:
        server.should_exit = True
        thread.join(10)


@contextmanager
def browser() -> Iterator[Any]:
    """Debian's chromium, driven; it asks no other host for anything."""
    program = shutil.which("chromium") or shutil.which("chromium-browser")
    if program is None:
        missing("Chromium")
    from playwright.sync_api import sync_playwright

    quiet = (
        "no-sandbox",
        "disable-gpu",
        "disable-quic",
        "no-first-run",
        "disable-background-networking",
        "disable-component-update",
        "disable-sync",
    )
    with sync_playwright() as driver:
        found = driver.chromium.launch(executable_path=program, args=[f"--{each}" for each in quiet])
        yield found
        found.close()
