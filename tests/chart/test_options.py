"""`--given`, `--none-given` and `--now` on `order` and `dose`, through the command's own door."""

from __future__ import annotations

import json

import pytest
from cli.door import FOLDER, dosecheck, flat, options, order

ASK = {"medicine": "ibuprofen", "route": "oral", "for": "pain", "weight": "14.2 kg", "age": "3 years", "on": "2026-05-04"}


def ask(**changes: object) -> tuple[int, dict]:
    said = order("--json", **{"dose": "210 mg", "every": "6 hours", **changes})
    return said.status, json.loads(said.out)


def test_three_ways_of_telling() -> None:
    """H12: not told, none given, given."""
    assert ask()[1]["not_checked"][0] == "Earlier doses: not told, so not counted."
    assert ask(none_given=True)[1]["understood"]["earlier"] == "none given"
    status, answer = ask(given=["210 mg 6 hours ago", "5 mL of acetaminophen as oral-liquid-120-in-5, 12 hours ago"])
    assert status == 0 and "2 earlier doses" in answer["headline"]
    assert answer["next_dose"] == {"earliest": "now", "most": "213 mg", "measured": "", "regimen": "oral-pain-child"}


def test_a_time_of_day_needs_a_moment_of_the_check() -> None:
    """With --now its date is that of the order, unless --on says another: then both are named."""
    at = ["210 mg at 2026-05-04 08:00+01:00"]
    status, answer = ask(given=at, now="2026-05-04 14:00+01:00", on=None)
    assert status == 0 and answer["understood"]["on"] == "2026-05-04"
    assert ask(given=at, now="2026-05-04 11:59+01:00")[0] == 3
    assert [fault["field"] for fault in ask(given=at, now="2026-05-05 14:00+01:00")[1]["errors"]] == ["now"]
    assert [fault["field"] for fault in ask(given=at)[1]["errors"]] == ["given"]


def test_all_faults_come_at_once() -> None:
    """Those of the order, of the moment and of every dose; and both ways of telling at once."""
    status, answer = ask(weight="14.2", given=["210 mg", "1,5 mg 5 hours ago"], none_given=True, now="14:00")
    assert status == 2 and [fault["field"] for fault in answer["errors"]] == ["weight", "now", "given", "given", "none-given"]


@pytest.mark.parametrize("word", ["", "n/a", "none"])
def test_a_placeholder_is_no_dose_given(word: str) -> None:
    """MR26: "none" as a dose is refused; that none was given is said by its own option."""
    assert ask(given=[word])[0] == 2


def test_the_figures_after_doses_given() -> None:
    """Worked by hand: 30 mg/kg x 14.2 kg = 426 mg; 200 + 140 mg given leave 86 mg; 3 hours ago and a gap of 4 hours is 1 hour."""
    said = dosecheck("dose", "--formulary", str(FOLDER), *options({**ASK, "given": ["200 mg 3 hours ago", "140 mg 10 hours ago"]}))
    text = flat(said.out)
    assert said.status == 0 and "Next dose: in 1 hour, at the earliest; at most 86 mg then." in text
    assert "2 doses of ibuprofen in the last 24 hours, the last 3 hours ago" in text and "4.3 mL = 86 mg" in text
    none = flat(dosecheck("dose", "--formulary", str(FOLDER), *options({**ASK, "none_given": True})).out)
    assert "No dose of ibuprofen was given before, as told." in none and "142 mg" in none


def test_the_figures_when_nothing_is_left() -> None:
    said = dosecheck("dose", "--json", "--formulary", str(FOLDER), *options({**ASK, "given": ["5 units 3 hours ago"]}))
    figures = json.loads(said.out)["figures"][0]
    assert any("cannot be said" in line for line in figures["after_earlier_doses"])
    assert all(product["measured"] == "" for product in figures["products"])


def test_the_order_shows_the_doses_and_the_next_one() -> None:
    text = flat(order(given=["10 mL as oral-liquid-120-in-5, 3 to 5 hours ago"]).out)
    assert text.startswith("STOP") and "The earliest time: in 1 hour." in text and "10 mL x 24 mg/mL = 240 mg" in text
    assert "Before 10 mL of paracetamol as oral liquid 120 mg in 5 mL, 3 to 5 hours ago" in text
