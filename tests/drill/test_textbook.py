"""Printed worked examples posed through the drill's question model: the printed answer is marked right, usual wrong ones are told."""

from __future__ import annotations

import tomllib
from pathlib import Path

import pytest
from drill.bank import POOL

from dosecheck.drill.chain import pose as pose_chain
from dosecheck.drill.kinds.conversion import pose as pose_conversion
from dosecheck.drill.kinds.displacement import pose_water
from dosecheck.drill.kinds.drops import pose_drip
from dosecheck.drill.kinds.infusion import pose_rate
from dosecheck.drill.kinds.maintenance import pose_fluid
from dosecheck.drill.kinds.strength import pose_strength
from dosecheck.drill.links import Figures
from dosecheck.drill.mark import mark
from dosecheck.drill.question import Question

ROWS = tomllib.loads((Path(__file__).parent / "textbook.toml").read_text("utf-8"))["question"]


def posed(row: dict) -> Question:
    given = row["given"]
    return {
        "chain": lambda: pose_chain(Figures(**given), "textbook", 1),
        "conversion": lambda: pose_conversion(**given),
        "drops": lambda: pose_drip(given, 1, POOL.formulary),
        "displacement": lambda: pose_water(given, POOL.formulary),
        "maintenance": lambda: pose_fluid(given["weight"], given["level"], "A child", POOL.formulary),
        "strength": lambda: pose_strength(given["strength"], given["volume"], POOL.formulary),
        "infusion": lambda: pose_rate(given, "Heparin by infusion", POOL.formulary),
    }[row["pose"]]()


@pytest.mark.parametrize("row", ROWS, ids=[row["id"] for row in ROWS])
def test_printed_answer_and_usual_wrong_ones(row: dict) -> None:
    assert row["source"] and row["address"].startswith("http")
    question = posed(row)
    marked = mark(question, row["answer"])
    assert marked.right, (question.shown_answer, marked.said)
    for wrong in row["wrong"]:
        marked = mark(question, wrong["answer"])
        names = {"+".join(sorted(slips)) for slips in marked.diagnosis.slips}
        assert wrong["slip"] in names, (wrong, marked.said, names)


def test_each_once_and_enough() -> None:
    assert len({row["id"] for row in ROWS}) == len(ROWS) >= 75
