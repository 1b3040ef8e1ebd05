"""The JSON pages tried from their own description: whatever is sent, no unexpected fault, and only answers that are described."""

from __future__ import annotations

from typing import Any

import pytest
from hypothesis import HealthCheck, settings
from web.ward import FOLDER

from dosecheck.web.app import make_app
from dosecheck.web.settings import Settings

schemathesis = pytest.importorskip("schemathesis")
from schemathesis.specs.openapi.checks import positive_data_acceptance  # noqa: E402

APP = make_app(Settings(formulary=FOLDER, names=("testserver", "localhost")))  # the names that the library asks by
SCHEMA = schemathesis.openapi.from_asgi("/openapi.json", APP)


@SCHEMA.parametrize()
@settings(max_examples=12, suppress_health_check=list(HealthCheck), deadline=None)
def test_no_request_whatever_makes_a_fault(case: Any) -> None:
    """Never a 5xx, never an outcome for what was refused; statuses and content as the description says."""
    answer = case.call_and_validate(excluded_checks=[positive_data_acceptance])  # a text may be any, and our readers are strict
    assert answer.status_code < 500, answer.text
    if answer.status_code >= 400:
        told = answer.json()
        assert told["errors"] and "outcome" not in told
