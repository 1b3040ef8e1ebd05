"""What the OpenAPI document says of a JSON request whose fields are texts."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

_KINDS: dict[type, dict[str, Any]] = {
    str: {"type": "string"},
    bool: {"type": "boolean"},
    list: {"type": "array", "items": {"type": "string"}},
}
_ERRORS = {
    "type": "object",
    "required": ["errors"],
    "properties": {
        "errors": {
            "type": "array",
            "items": {"type": "object", "properties": {name: {"type": "string"} for name in ("field", "given", "why", "write")}},
        }
    },
}


READ_REFUSED: dict[int | str, dict[str, Any]] = {404: {"description": "not there"}, 429: {"description": "too many requests"}}


def body_of_texts(fields: Mapping[str, type], example: Mapping[str, Any], required: tuple[str, ...] = ()) -> dict[str, Any]:
    """The request's body, and the refusals that every JSON page may answer."""
    schema: dict[str, Any] = {
        "type": "object",
        "additionalProperties": False,
        "properties": {name: {"anyOf": [_KINDS[kind], {"type": "null"}]} for name, kind in fields.items()},
    }
    if required:
        schema["required"] = list(required)
    return _with_refusals(schema, example)


def body_of_anything(example: Mapping[str, Any]) -> dict[str, Any]:
    """The same for a body that is a file of ours, whose own reader says what does not fit."""
    return _with_refusals({"type": "object"}, example)


def _with_refusals(schema: dict[str, Any], example: Mapping[str, Any]) -> dict[str, Any]:
    refusals = {
        400: "not JSON",
        403: "not yours to ask for",
        404: "not there",
        409: "done already",
        413: "too large",
        415: "not JSON",
        422: "a field cannot be read",
        429: "too many requests",
        503: "too many at once",
    }
    return {
        "requestBody": {"required": True, "content": {"application/json": {"schema": schema, "example": dict(example)}}},
        "responses": {
            str(status): {"description": words, "content": {"application/json": {"schema": _ERRORS}}} for status, words in refusals.items()
        },
    }
