"""What a request gets that goes no further: one plain page, or JSON where JSON was asked for."""

from __future__ import annotations

import json
from collections.abc import MutableMapping
from html import escape
from typing import Any

_PAGE = """<!doctype html><html lang="en-GB"><head><meta charset="utf-8"><meta name="viewport" content="width=device-width">
<title>{title} - dosecheck</title><link rel="icon" href="/static/mark.svg"><link rel="stylesheet" href="/static/page.css"></head>
<body><main><h1>{title}</h1><p>{why} {write}</p><p>Nothing was checked. This is not an all-clear.</p><p><a href="/">Start again</a></p></main></body></html>"""
_FAULT = "An unexpected fault stopped the check (reference {reference}). Do the check another way, and report the reference."


def wants_json(scope: MutableMapping[str, Any]) -> bool:
    """Whether a program asks, not a person's browser."""
    return scope["path"].startswith("/api/") or scope["path"] == "/openapi.json"


def refusal_body(scope: MutableMapping[str, Any], status: int, why: str, write: str) -> tuple[bytes, bytes]:
    """(content type, body)."""
    if wants_json(scope):
        return b"application/json", json.dumps({"errors": [{"field": "request", "given": "", "why": why, "write": write}]}).encode()
    title = "Not found" if status == 404 else "Nothing was checked"
    return b"text/html; charset=utf-8", _PAGE.format(title=title, why=escape(why), write=escape(write)).encode()


def fault_body(scope: MutableMapping[str, Any]) -> tuple[bytes, bytes]:
    """An unexpected fault, said as "not checked", with the reference that stands in the log."""
    reference = scope["reference"]
    why = _FAULT.format(reference=reference)
    if wants_json(scope):
        told = {"outcome": "not-checked", "headline": f"NOT CHECKED. {why}", "reference": reference}
        return b"application/json", json.dumps(told).encode()
    return b"text/html; charset=utf-8", _PAGE.format(title="NOT CHECKED", why=why, write="").encode()
