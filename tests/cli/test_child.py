"""`dosecheck child`: every sort of figure side by side, what is missing named, statuses, both forms of the answer."""

from __future__ import annotations

import json

import pytest
from cli.door import FOLDER, dosecheck, flat

from dosecheck import Child, Formulary
from dosecheck.rules.particulars import Particulars, particulars

FORMULARY = Formulary(FOLDER)
# An invented child, SM-031.
GIRL = {"weight": "14.2 kg", "weight_is": "measured", "weighed": "2026-05-01", "born": "2023-03-01", "on": "2026-05-04", "height": "96 cm", "sex": "female",
        "creatinine": "40 micromol/L"}  # fmt: skip


def of(**changes: str | None) -> Particulars:
    return particulars(Child(**{**GIRL, **changes}), FORMULARY)


def options(**changes: str) -> list[str]:
    return [part for name, text in {**GIRL, **changes}.items() for part in (f"--{name.replace('_', '-')}", text)]


def values(found: Particulars, title: str) -> dict[str, str]:
    section = next(section for section in found.sections if section.title.startswith(title))
    return {row.name: row.value or f"not: {row.note}" for row in section.rows}


def test_every_sort_of_figure_is_there() -> None:
    """By hand: 3 completed years; square root of 96 x 14.2 / 3600; 0.413 x 96 x 88.4 / 40; 0.4 of 14.2 kg less the ideal."""
    found = of()
    assert found.outcome == "reckoned"
    assert values(found, "Age") == {"since birth": "3 years 2 months"}
    assert values(found, "Growth")["weight for age"].endswith("(WHO, girls)")
    assert values(found, "Weight guessed")["3 x age + 7"] == "16 kg"
    assert values(found, "Body surface")["Mosteller"] == "0.6154 m2"
    assert values(found, "Ideal")["ideal, by body mass index"] == "14.2 kg"
    assert values(found, "Kidney") == {"eGFR": "87.6 mL/min/1.73 m2", "category": "G2"}


def test_every_figure_has_its_source_and_every_other_its_reason() -> None:
    for found in (of(), of(born=None, age="9 months"), of(height=None), of(sex=None), of(weight=None, weighed=None, weight_is=None)):
        for section in found.sections:
            for row in section.rows:
                assert row.value or row.note, row
                assert not row.value or row.source or row.name == "since birth", row


@pytest.mark.parametrize(
    ("changes", "title", "name", "why"),
    [
        ({"height": None}, "Body surface", "Haycock", "give the height"),
        ({"height": None}, "Growth", "height for age", "give the height"),
        ({"sex": None}, "Ideal", "ideal weight", "give the sex"),
        ({"born": None}, "Age", "since birth", "give the age"),
        ({"born": None}, "Weight guessed", "any formula", "give the age"),
        ({"creatinine": None}, "Kidney", "eGFR", "give the creatinine"),
        ({"born": None, "age": "9 months"}, "Kidney", "eGFR", "below 1 year"),
        ({"born": None, "age": "9 months"}, "Ideal", "ideal weight", "from 2 years on"),
        ({"born": None, "age": "3 years"}, "Ideal", "ideal weight", "the age in years and months"),
        ({}, "Ideal", "lean weight", "read at its source"),
    ],
)
def test_what_cannot_be_reckoned_says_why(changes: dict, title: str, name: str, why: str) -> None:
    said = values(of(**changes), title)[name]
    assert said.startswith("not: ") and why in said


def test_an_early_birth_is_corrected() -> None:
    """Born at 31 weeks 4 days, 59 days early: 100 days after birth it is 41 days past the due date (2026-03-24)."""
    found = of(born="2026-01-24", gestation="31 weeks 4 days", weight="4.1 kg", height="54 cm")
    assert values(found, "Age") == {"since birth": "3 months", "corrected for the early birth": "1 month"}
    assert "corrected" in values(found, "Growth")["height for age"]


def test_a_guess_is_never_the_childs_weight() -> None:
    found = of(weight=None, weighed=None, weight_is=None)
    assert "weight" not in found.understood
    assert values(found, "Body surface")["by weight alone"] == "not: give the weight"
    assert "weigh the child" in found.caution and any("--weight-is estimated" in note for s in found.sections for note in s.notes)


def test_statuses() -> None:
    assert dosecheck("child", *options()).status == 0
    heavy = dosecheck("child", *options(weight="31.3 kg"))
    assert heavy.status == 1 and heavy.out.startswith("QUERY")
    assert dosecheck("child", "--sex", "female").status == 4
    assert dosecheck("child").status == 2
    bad = dosecheck("child", *options(height="96", creatinine="62"))
    assert bad.status == 2 and "height" in bad.err and "creatinine" in bad.err


def test_text_and_json_say_the_same() -> None:
    plain, data = dosecheck("child", *options()), json.loads(dosecheck("child", *options(), "--json").out)
    said = flat(plain.out)
    for section in data["sections"]:
        for figure in section["figures"]:
            for text in (figure["value"], figure["note"], figure["source"], *figure["working"]):
                assert text in said
    assert data["caution"] in said and data["outcome"] == "reckoned"
    assert all(len(line) <= 80 for line in plain.out.splitlines())
