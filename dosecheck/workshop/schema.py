"""A JSON Schema of each file of a formulary, for the completion and hover help of editors; made from the models.

Draft 7, which editors of TOML read most widely.  It says less than lint: keys, types, words, the look of amounts.  What
keys must say of each other, only lint knows.
"""

from __future__ import annotations

from typing import Any

from pydantic import BaseModel, TypeAdapter

from dosecheck.formulary.agree import WHO
from dosecheck.formulary.lint import model_of
from dosecheck.formulary.plainly import EXAMPLES, POLICY_EXAMPLES
from dosecheck.workshop.key_words import about

FILES = {
    "medicine": "medicines/NAME.toml",
    "local": "local/NAME.toml",
    "policy": "policy.toml",
    "sources": "sources.toml",
    "sheet": "sheet.toml",
    "accepted": "accepted.toml",
}
Schema = dict[str, Any]
_NO_EXAMPLE = ("id", "checked")  # each table's ids look otherwise; checks are not written by hand
_EITHER = {"Regimen": ("dose", "band"), "Product": ("strength", "strengths")}  # one of the two, and not both
_SOME = {  # at least one of each row
    "Regimen": (WHO, ("max_daily", "band")),
    "BandRow": (("age", "weight"),),
    "AgeLimit": (("age_below", "weight_below", "corrected_below", "postmenstrual_below"),),
    "DailyBand": (("low", "medium", "high"),),
}
_BANDS = ("AgeBand", "WeightBand", "WeeksBand", "FiltrationBand", "DoseEnds", "DayEnds")  # no end at all says nothing


def schema(kind: str) -> Schema:
    """Args: kind: a key of `FILES`."""
    model = model_of(FILES[kind])
    adapter = model if isinstance(model, TypeAdapter) else TypeAdapter(model)
    made = adapter.json_schema(by_alias=True, ref_template="#/definitions/{model}")
    tables = made.pop("$defs", {})
    name = model.__name__ if isinstance(model, type) and issubclass(model, BaseModel) else ""
    examples = POLICY_EXAMPLES if kind == "policy" else EXAMPLES
    head = {"$schema": "http://json-schema.org/draft-07/schema#", "title": FILES[kind]}
    body = _table(name, made, examples)
    return {**head, **body, "definitions": {each: _table(each, table, examples) for each, table in tables.items()}}


def _table(name: str, table: Schema, examples: dict[str, str]) -> Schema:
    plain = _plain(table)
    plain.pop("description", None)  # the class's own words, which are for developers
    for key, value in plain.get("properties", {}).items():
        example = f" For example: {examples[key]}." if key in examples and key not in _NO_EXAMPLE else ""
        plain["properties"][key] = {"description": about(name, key) + example, **_beside(value)}
    if name in _EITHER:
        plain["oneOf"] = _required(_EITHER[name])
    if name in _SOME:
        plain["allOf"] = [{"anyOf": _required(keys)} for keys in _SOME[name]]
    if name in _BANDS:
        plain["minProperties"] = 1
    return plain


def _required(keys: tuple[str, ...]) -> list[Schema]:
    return [{"required": [key]} for key in keys]


def _plain(node: Any) -> Any:
    """Without what TOML does not have (null), what nobody reads (titles), and marks of other formats."""
    if isinstance(node, list):
        return [_plain(one) for one in node]
    if not isinstance(node, dict):
        return node
    if "anyOf" in node and {"type": "null"} in node["anyOf"]:
        rest = [one for one in node["anyOf"] if one != {"type": "null"}]
        return _plain(rest[0] if len(rest) == 1 else {"anyOf": rest})
    kept = {
        key: value
        for key, value in node.items()
        if key not in ("default", "discriminator") and not (key == "title" and isinstance(value, str))
    }
    return {key: _plain(value) for key, value in kept.items()}


def _beside(value: Schema) -> Schema:
    """Draft 7 reads nothing that stands beside a reference."""
    return {"allOf": [value]} if "$ref" in value else value
