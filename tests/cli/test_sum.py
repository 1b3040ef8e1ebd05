"""`dosecheck sum`: statuses, both forms of the answer, bad input."""

from __future__ import annotations

import json

from door import dosecheck

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
