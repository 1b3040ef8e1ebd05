"""`dosecheck sum`: statuses, both forms of the answer, bad input."""

from __future__ import annotations

import json

import pytest
from cli.door import FOLDER, dosecheck

from dosecheck.sums.listing import SUMS, find

RATE = {"dose": "5 micrograms/kg/min", "strength": "200 mg in 50 mL", "weight": "14.2 kg"}


def test_a_doubt_is_a_query_at_the_door() -> None:
    said = dosecheck("sum", "infusion-rate", "--dose", "5 mg/kg/min", "--strength", "1 mg in 50 mL", "--weight", "14 kg")
    assert said.status == 1
    assert "QUERY" in said.out


def test_text_and_json_say_the_same() -> None:
    options = [part for name, text in RATE.items() for part in (f"--{name}", text)]
    plain, data = dosecheck("sum", "infusion-rate", *options), json.loads(dosecheck("sum", "infusion-rate", *options, "--json").out)
    assert plain.status == 0
    assert data["results"][1] == {"name": "to set", "value": "1.1 mL/h", "note": "rounded to 0.1 mL/h"}
    for line in (*data["working"], *(result["value"] for result in data["results"])):
        assert line in " ".join(plain.out.split())


def test_bad_input_is_told_in_full() -> None:
    said = dosecheck("sum", "infusion-rate", "--dose", "5", "--strength", "0.9", "--weight", "14.2 kg")
    assert said.status == 2
    assert said.err.count("  - ") == 2
    assert dosecheck("sum", "infusion-rate", "--dose", "5 mg/h", "--dose", "6 mg/h").status == 2
    assert dosecheck("sum", "no-such-sum").status == 2


@pytest.mark.parametrize("name", SUMS)
def test_each_sum_at_the_door_is_plain_text_of_80_columns(name: str) -> None:
    """With the examples of its own fields; where two of them bar each other it is bad input, told without a traceback."""
    texts = [part for field in find(name).fields for part in (f"--{field.name.replace('_', '-')}", field.example)]
    said = dosecheck("sum", name, *texts)
    assert said.status in (0, 1, 2, 4) and "Traceback" not in said.out + said.err
    assert all(len(line) < 80 for line in (said.out + said.err).splitlines())
    assert (said.status == 2) == (not said.out)


def test_a_sum_by_the_formulary_names_it() -> None:
    options = ("--weight", "14.2 kg", "--age", "3 years", "--medicine", "lidocaine", "--strength", "1 %", "--formulary", FOLDER)
    plain, data = dosecheck("sum", "local-anaesthetic", *options), json.loads(dosecheck("sum", "local-anaesthetic", *options, "--json").out)
    assert plain.status == 0 and data["formulary"]["fingerprint"] in plain.out
    assert data["results"][0] == {"name": "at most", "value": "6.3 mL", "note": "of 10 mg/mL, rounded down to 0.1 mL"}
    assert dosecheck("sum", "local-anaesthetic", *options[:-1], "no-such-folder").status == 2
