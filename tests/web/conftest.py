"""One page for all tests of this folder, and one browser."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import pytest
from starlette.testclient import TestClient
from web.ward import FOLDER, browser, client, free_port, serving

from dosecheck.web.app import make_app
from dosecheck.web.settings import Settings


@pytest.fixture(scope="session")
def app() -> Any:
    return make_app(Settings(formulary=FOLDER))


@pytest.fixture
def ward(app: Any) -> TestClient:
    """A browser of its own for each test."""
    return client(app=app)


@pytest.fixture(scope="module")  # its driver has an event loop running: it ends with the module, else no later test can run its own
def chromium() -> Iterator[Any]:
    with browser() as found:
        yield found


@pytest.fixture(scope="module")
def address(chromium: Any) -> Iterator[str]:
    """The page on a port of this machine."""
    with serving(Settings(port=free_port(), formulary=FOLDER)) as found:
        yield found
