"""Upkeep: checks that have grown old, approvals that lapsed, sources and groups that nothing uses."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date, timedelta
from typing import Any

from dosecheck.formulary.approvals import KINDS, status_of
from dosecheck.formulary.folder import parse
from dosecheck.formulary.load import Formulary
from dosecheck.workshop.advice.line import Advice

OLD = timedelta(days=3 * 365)  # common practice, no source: figures are looked at again every two to three years
Raw = dict[str, Any]


def upkeep_advice(formulary: Formulary, on: date) -> Iterator[Advice]:
    raws = {name: parse(name, content) for name, content in formulary.files.items()}
    overdue = formulary.review_overdue(on)
    if overdue:
        yield Advice("review-overdue", "policy.toml", "policy.toml", "review_by", f"The figures were due for review on {overdue}.")
    if not any(name.startswith("medicines/") for name in raws):
        yield Advice("no-medicine", "medicines", "medicines", "", "There is no medicine, so every order is not checked.")
    yield from _unused_sources(raws)
    yield from _unmet_groups(raws)
    high_risk = {raw["id"]: raw.get("high_risk", False) for name, raw in raws.items() if name.startswith("medicines/")}
    for name, raw in raws.items():
        if name.startswith(("medicines/", "local/")):
            medicine = raw.get("medicine", raw.get("id"))
            yield from _old_checks(name, medicine, raw, on)
            if raw.get("status") == "approved" and status_of(raw, high_risk[medicine]) != "approved":
                why = 'It says "approved", but not all of its figures are checked as they stand now: it counts as a draft.'
                yield Advice("approval-lapsed", medicine, name, "", why)


def _unused_sources(raws: dict[str, Raw]) -> Iterator[Advice]:
    used = {id_ for raw in raws.values() for id_ in _source_ids(raw)}
    line = raws["policy.toml"].get("inhaled_table", {})
    for id_ in raws["sources.toml"]:
        if id_ not in used and id_ != line.get("value"):
            yield Advice("source-unused", id_, "sources.toml", f'source "{id_}"', "No figure names it.")


def _source_ids(node: Any) -> Iterator[str]:
    """Every id under a key "source", however deep."""
    if isinstance(node, list):
        for one in node:
            yield from _source_ids(one)
    elif isinstance(node, dict):
        if isinstance(node.get("source"), dict):
            yield node["source"]["id"]
        for one in node.values():
            yield from _source_ids(one)


def _unmet_groups(raws: dict[str, Raw]) -> Iterator[Advice]:
    """A group of the policy that no ingredient is in: a misspelt one would watch over nothing."""
    ingredients = [entry for name, raw in raws.items() if name.startswith("medicines/") for entry in raw["ingredient"]]
    met = {group for entry in ingredients for group in entry.get("groups", [])}
    for group in raws["policy.toml"].get("one_at_a_time", {}).get("value", []):
        if group not in met:
            yield Advice("group-without-medicine", group, "policy.toml", f'one_at_a_time "{group}"', "No ingredient is in this group.")


def _old_checks(name: str, medicine: str, raw: Raw, on: date) -> Iterator[Advice]:
    for kind in KINDS:
        for entry in raw.get(kind, []):
            last = max((check["on"] for check in entry.get("checked", [])), default=None)
            if last and last + OLD < on:
                why = f"It was last checked on {last}, more than three years ago."
                yield Advice("check-old", f"{medicine}/{entry['id']}", name, f'{kind.replace("_", " ")} "{entry["id"]}"', why)
