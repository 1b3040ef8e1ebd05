"""The JSON Schemas, held against a library of JSON Schema, the shipped and the broken files, the models and the README."""

from __future__ import annotations

import json
import re
import tomllib
from datetime import date
from pathlib import Path
from typing import Any

import pytest
from cli.door import FOLDER, dosecheck
from formulary.lint_folder import POLICY, SOURCES, medicine
from hypothesis import given
from hypothesis import strategies as st
from jsonschema import Draft7Validator, FormatChecker

from dosecheck.formulary import fields, models, parts, sheet_lint
from dosecheck.formulary.folder import parse
from dosecheck.formulary.plainly import problems
from dosecheck.workshop.key_words import COMMON, TABLES, about
from dosecheck.workshop.schema import FILES, schema

HERE = Path(__file__).parent
BROKEN = sorted((HERE.parent / "formulary_broken").glob("*.toml"))
README = (FOLDER / "README.md").read_text("utf-8")
SCHEMAS = {kind: schema(kind) for kind in FILES}
MODELS = {
    name: m
    for module in (models, parts, sheet_lint)
    for name, m in vars(module).items()
    if isinstance(m, type) and issubclass(m, parts.Table)
}
FIELDS = {name: {field.alias or key: field for key, field in model.model_fields.items()} for name, model in MODELS.items()}


def as_json(node: Any) -> Any:
    """What editors hand to a validator: a date as its text."""
    if isinstance(node, dict):
        return {key: as_json(value) for key, value in node.items()}
    return [as_json(one) for one in node] if isinstance(node, list) else node.isoformat() if isinstance(node, date) else node


def refused(kind: str, raw: dict[str, Any]) -> list[str]:
    checker = Draft7Validator(SCHEMAS[kind], format_checker=FormatChecker())
    return [error.message for error in checker.iter_errors(as_json(raw))]


def kind_of(path: Path) -> str:
    return {"medicines": "medicine", "local": "local"}.get(path.parent.name) or path.stem


@pytest.mark.parametrize("kind", FILES)
def test_it_is_a_schema(kind: str) -> None:
    Draft7Validator.check_schema(SCHEMAS[kind])
    assert json.loads(dosecheck("formulary", "schema", kind).out) == SCHEMAS[kind]
    assert SCHEMAS[kind]["title"] == FILES[kind]


def test_of_a_medicine_when_nothing_is_named_and_of_nothing_else() -> None:
    assert json.loads(dosecheck("formulary", "schema").out) == SCHEMAS["medicine"]
    assert dosecheck("formulary", "schema", "nosuch").status == 2


@pytest.mark.parametrize("path", sorted(FOLDER.rglob("*.toml")), ids=lambda path: path.stem)
def test_every_shipped_file_is_valid(path: Path) -> None:
    assert refused(kind_of(path), parse(path.name, path.read_bytes())) == []


def test_small_files_and_a_site_s_own_are_valid() -> None:
    assert refused("medicine", tomllib.loads(medicine())) == []
    assert refused("policy", tomllib.loads(POLICY)) == [] == refused("sources", tomllib.loads(SOURCES))
    local = (
        'medicine = "exampol"\nreason = "Ours."\nwithdraw = ["oral-child"]\n'
        + medicine().partition("[[ingredient]]")[2].partition("\n\n")[2]
    )
    assert refused("local", tomllib.loads(local)) == []


# What a schema cannot say: it sees neither what an amount means nor what keys say of each other.
BEYOND = set(
    [
        "amount-a-day-in-a-maximum",
        "amount-a-day",
        "amount-a-range",
        "amount-a-rate-as-maximum",
        "amount-a-volume",
        "amount-no-concentration",
        "amount-no-rate",
        "amount-no-strength",
        "amount-no-time",
        "amount-no-weight",
        "amount-of-an-ingredient",
        "amount-per-kg-and-m2",
        "amount-per-kg-as-floor",
        "amount-run-together",
        "amount-short-unit",
        "amount-too-fine",
        "amount-unknown-unit",
        "amount-upside-down",
        "amount-zero",
        "approved-but-not-checked",
        "band-edge-too-old",
        "band-gestation",
        "band-kidneys-upside-down",
        "band-kidneys",
        "band-upside-down",
        "bands-missing-daily",
        "bands-outside-their-regimen",
        "bands-overlap",
        "counts-above-most-doses",
        "covers-itself",
        "covers-unknown",
        "covers-without-products",
        "daily-band-a-day",
        "daily-band-gap",
        "daily-band-overlap",
        "daily-band-rows-overlap",
        "daily-band-shared-end",
        "daily-band-twice",
        "daily-band-two-lower-ends",
        "daily-band-unlike-kinds",
        "daily-band-upside-down",
        "daily-band-without-upper-end",
        "daily-below-dose",
        "daily-below-single",
        "divides-a-liquid",
        "dose-low-above-high",
        "dose-of-unlike-ends",
        "dose-without-any-maximum",
        "equals-of-one-kind",
        "equals-per-kg",
        "example-inside-a-text",
        "example-not-last",
        "example-of-two-kinds",
        "example-source-unknown",
        "example-volume-of-no-product",
        "example-without-expected-size",
        "example-written-inline",
        "floor-above-single",
        "id-not-the-file-name",
        "id-twice-age-limit",
        "id-twice-example",
        "id-twice-ingredient",
        "id-twice-product",
        "id-twice-regimen",
        "infusion-with-concentration",
        "infusion-with-count",
        "infusion-with-gap",
        "infusion-with-shortest-time",
        "infusion-with-single-maximum",
        "infusion-with-total",
        "ingredient-not-said",
        "ingredient-unknown",
        "maximum-of-unlike-kind",
        "measure-falls",
        "measure-never-ends",
        "measure-of-a-tablet",
        "per-day-without-counts",
        "product-by-another-route",
        "product-of-other-release",
        "product-output-of-a-tablet",
        "product-puffs-of-a-liquid",
        "product-strength-of-one-of-two",
        "product-strengths-in-unlike-things",
        "product-strengths-of-another",
        "product-unknown",
        "regimens-overlap-after-a-date",
        "regimens-overlap-by-a-missing-step",
        "regimens-overlap-days-and-months",
        "regimens-overlap",
        "single-below-dose",
        "source-unknown",
        "source-unlike-any",
        "total-of-what",
        "type-date-as-text",
        "word-hidden-character",
        "word-steers-the-screen",
        "word-two-alphabets",
    ]
)


@pytest.mark.parametrize("path", [p for p in BROKEN if not p.stem.startswith("toml-")], ids=lambda path: path.stem)
def test_every_broken_file_is_refused_or_known_to_be_beyond_a_schema(path: Path) -> None:
    assert (refused("medicine", parse(path.name, path.read_bytes())) == []) == (path.stem in BEYOND)


def test_what_is_beyond_a_schema_is_there() -> None:
    assert {path.stem for path in BROKEN} >= BEYOND


# ---- the words ----


@pytest.mark.parametrize("kind", FILES)
def test_every_key_is_described_and_no_other_key_is_let_in(kind: str) -> None:
    for name, table in {"": SCHEMAS[kind], **SCHEMAS[kind]["definitions"]}.items():
        if "properties" not in table:
            assert kind == "sources"
            continue
        assert table["additionalProperties"] is False, name
        for key, value in table["properties"].items():
            assert len(value["description"]) > 8 and value["description"].endswith("."), (name, key)
            assert "$ref" not in value  # beside which draft 7 would not read the description
    assert not re.search(r'"(?:null|\$defs|default)"', json.dumps(SCHEMAS[kind]))


def test_no_word_is_about_a_key_that_is_gone() -> None:
    for name, keys in TABLES.items():
        assert set(keys) <= set(FIELDS[name]), name
    assert set(COMMON) <= {key for table in FIELDS.values() for key in table}
    shadowed = [key for key in COMMON if not any(key in table and key not in TABLES.get(name, {}) for name, table in FIELDS.items())]
    assert shadowed == []


HEADINGS = {"The medicine": "MedicineFile", "`[[ingredient]]`": "Ingredient", "`[[product]]`": "Product", "`[[regimen]]`": "Regimen"}
HEADINGS |= {"`[[age_limit]]`": "AgeLimit", "`[[daily_band]]`": "DailyBand", "`[[example]]`": "Example"}


@pytest.mark.parametrize("heading", HEADINGS)
def test_the_readme_lists_the_same_keys_in_the_same_order(heading: str) -> None:
    """The order is that in which fmt puts them."""
    section = README.split(f"### {heading}\n")[1].split("\n##")[0]
    rows = re.findall(r"^\| (`.*?) \|", section, re.M)
    listed = [key for row in rows for key in re.findall(r"`\[*(?:regimen\.)?([a-z_]+)\]*`", row)]
    table = list(FIELDS[HEADINGS[heading]])
    entries = ("ingredient", "product", "regimen", "age_limit", "daily_band", "example") if heading == "The medicine" else ()
    assert listed == [key for key in table if key not in entries]


def test_hover_help_says_what_to_write() -> None:
    told = SCHEMAS["medicine"]["definitions"]["Regimen"]["properties"]["min_gap"]["description"]
    assert told == 'The shortest time between doses. For example: min_gap = "4 hours".'
    assert about("Product", "source") != about("Regimen", "source")


# ---- the look of amounts ----

TYPES = {name: one for name, one in vars(fields).items() if hasattr(one, "__metadata__") and name[0].isupper() and name != "Count"}
PARTS = [
    "0",
    "1",
    "15",
    "0.5",
    "1000",
    " ",
    "  ",
    "mg",
    "g",
    "kg",
    "mL",
    "micrograms",
    "units",
    "/",
    "/kg",
    " in ",
    "%",
    "m2",
    "µg",
    "hours",
    "years",
    "day",
]
PARTS += [
    "-",
    ",",
    ".",
    "lb",
    "st",
    "oz",
    "weeks",
    "min",
    "1.73",
    "per tablet",
    "http://",
    "a",
    "É",
    "ä",
    "A",
    ";",
    "\n",
    "course",
    "x.example",
    "3f2a9c1b77d0",
]


@pytest.mark.parametrize("name", TYPES)
@given(text=st.lists(st.sampled_from(PARTS), max_size=6).map("".join))
def test_whatever_lint_reads_has_the_look_that_the_schema_asks_for(name: str, text: str) -> None:
    model = type("Any", (parts.Table,), {"__annotations__": {"key": TYPES[name]}})
    found = Draft7Validator(model.model_json_schema()).is_valid({"key": text})
    assert found or problems(model, {"key": text})


EXAMPLES = [
    "2 st 3 lb",
    "1 in 1000",
    "0.9 %",
    "30 mL/min/1.73 m2",
    "120 mg in 5 mL",
    "5 micrograms/kg/min",
    "100 micrograms per puff",
    " 10  mg ",
    "10mg",
]


@pytest.mark.parametrize("text", EXAMPLES)
def test_amounts_by_hand(text: str) -> None:
    assert re.search(fields._AMOUNT, text)


@pytest.mark.parametrize("text", ["4", "1,000 mg", "mg 5", ".5 mg", "05 mg", "10-15 mg", "-1 mg", ""])
def test_what_does_not_look_like_an_amount(text: str) -> None:
    assert not re.search(fields._AMOUNT, text)
