"""How much a formulary would catch: counts that add up, right orders that the oracle finds right, and blind ones told as blind."""

from __future__ import annotations

import json
import os
import shlex
import subprocess
import sys
from datetime import date
from fractions import Fraction
from pathlib import Path

import pytest
from cli.door import FOLDER, REPO, dosecheck, flat
from oracle import check
from workshop.test_diff import regimen, written

from dosecheck.batch.run import Batch
from dosecheck.formulary.load import Formulary
from dosecheck.records import WITHIN
from dosecheck.workshop.advice.children import in_force
from dosecheck.workshop.stress.evidence import read, shares
from dosecheck.workshop.stress.heat_map import heat_map
from dosecheck.workshop.stress.right import right_orders
from dosecheck.workshop.stress.run import answer, stress
from dosecheck.workshop.stress.seeds import SAYS, seeded
from dosecheck.workshop.stress.wilson import Z, wilson

DAY = date(2026, 11, 25)
WIDE = {"max_daily": '{ none = "made up" }', "max_single": None, "min_gap": None, "max_doses": None}
TIGHT = {"dose": '"15 mg/kg"', "doses_a_day": "[4]", "max_doses": "4", "min_gap": '"6 hours"', "max_daily": '["60 mg/kg"]'}


@pytest.fixture(scope="module")
def shipped() -> Formulary:
    return Formulary(FOLDER)


# ---- right orders ----


def test_right_orders_of_the_shipped_formulary_are_right_by_the_oracle(shipped: Formulary) -> None:
    """The oracle shares no code with dosecheck.  One order of every regimen; digoxin for the heart by the lean weight, which
    the check cannot reckon and therefore never answers, is the only one that is not within."""
    found = [next(right_orders(shipped, m, r, 3, 7), None) for m in shipped.medicines() for r in in_force(m, DAY)]
    assert None not in found and len(found) > 200
    wrong = {right.regimen.id: outcome for right in found if (outcome := check(FOLDER, right.fields)) != (WITHIN, ())}
    assert wrong == {"oral-heart-failure-5-to-9-years": ("not-checked", ("weight-kind",))}


def test_right_orders_are_written_in_every_way_and_over_the_whole_range(tmp_path: Path) -> None:
    formulary = written(tmp_path)
    medicine = formulary.medicine("exampol")
    found = list(right_orders(formulary, medicine, medicine.regimens[0], 300, 1))
    assert {right.written.unit for right in found} >= {"mg", "mg/kg", "mL"} and len(found) == 300
    per_kg = [right.written.number * right.written.each / (right.drawn.weight_kg * 10**12) for right in found]
    milligram = Fraction(10**6, 10**12)
    assert 10 * milligram <= min(per_kg) < 11 * milligram and 14 * milligram < max(per_kg) <= 15 * milligram
    assert {right.drawn.age_years for right in found} == set(range(1, 12))


# ---- what is caught ----


def test_a_formulary_without_a_low_end_and_with_a_huge_cap_is_blind(tmp_path: Path) -> None:
    """Ten times less passes because nothing looks there; pounds for kilograms because the range is huge."""
    none_low = written(tmp_path / "a", regimen(**WIDE, dose='{ high = "1000 mg/kg" }'))
    spots = {(row.slip, row.way): row for row in stress(none_low, DAY, 30).blind}
    assert spots["tenfold", "under"].caught == 0 and spots["tenfold", "under"].why == "no limit looks there"
    huge = written(tmp_path / "b", regimen(**WIDE, dose='{ low = "1 mg/kg", high = "1000 mg/kg" }'))
    spots = {(row.slip, row.way): row for row in stress(huge, DAY, 30).blind}
    assert spots["pounds", "over"].caught < spots["pounds", "over"].orders * 0.7
    assert spots["pounds", "over"].why == "the wrong dose is still within the range"


def test_a_tight_formulary_catches_every_wrong_dose(tmp_path: Path) -> None:
    found = stress(written(tmp_path, regimen(**TIGHT)), DAY, 40)
    slips = {key: count.share for key, count in found.by_slip.items() if key[0] != "weight-pounds"}
    assert len(slips) >= 8 and set(slips.values()) == {1}


def test_the_counts_add_up(shipped: Formulary) -> None:
    found = stress(shipped, DAY, 5, 3, shipped.medicine("paracetamol"))
    rights = [
        r for g in in_force(shipped.medicine("paracetamol"), DAY) for r in right_orders(shipped, shipped.medicine("paracetamol"), g, 5, 3)
    ]
    assert found.rights.whole == len(rights) == found.rights.within
    wrong = sum(len(list(seeded(right))) for right in rights)
    assert sum(c.whole for c in found.cells.values()) == sum(c.whole for c in found.by_slip.values()) == wrong > 500
    assert sum(c.whole for c in found.by_medicine.values()) == wrong
    missed = {(row.slip, row.way) for row in found.blind}
    assert {key for key, count in found.by_slip.items() if count.within} == missed
    assert sum(row.orders - row.caught for row in found.blind) == sum(c.within for c in found.cells.values())


TIGHTER = [
    {"dose": '{ low = "10 mg/kg", high = "12 mg/kg" }'},
    {"dose": '{ low = "13 mg/kg", high = "15 mg/kg" }'},
    {"max_single": '["300 mg"]'},
    {"max_daily": '["40 mg/kg"]'},
    {"min_gap": '"6 hours"', "max_doses": "3"},
]


@pytest.mark.parametrize("change", TIGHTER, ids=str)
def test_a_tighter_limit_never_catches_less(tmp_path: Path, change: dict[str, str]) -> None:
    """Order by order, the same orders under both; and as shares of a run each, at the same seed."""
    loose, tight = written(tmp_path / "a"), written(tmp_path / "b", regimen(**change))
    medicine = loose.medicine("exampol")
    rights = [r for r in right_orders(loose, medicine, medicine.regimens[0], 60, 5)]
    orders = [(right, slip) for right in rights for slip in [None, *seeded(right)]]
    before = {id(a.slip): a.outcome for a in answer(Batch(loose, DAY), orders) if a.slip}
    after = {id(a.slip): a.outcome for a in answer(Batch(tight, DAY), orders) if a.slip}
    assert after and all(outcome != WITHIN or before[slip] == WITHIN for slip, outcome in after.items())
    runs = [stress(formulary, DAY, 60, 5).by_slip for formulary in (loose, tight)]
    assert all(runs[1][key].share >= runs[0][key].share for key in runs[1] if key[0] in ("tenfold", "thousandfold", "pounds"))


def test_an_order_that_shows_the_miss_can_be_run(tmp_path: Path) -> None:
    found = stress(written(tmp_path, regimen(**WIDE, dose='{ low = "1 mg/kg", high = "1000 mg/kg" }')), DAY, 20)
    commands = {row.command for row in found.blind}
    assert commands and {dosecheck(*shlex.split(command)[1:]).status for command in commands} == {0}


def test_right_orders_that_look_wrong_are_not_flagged(shipped: Formulary) -> None:
    """Naloxone's second dose is ten times the first; nebulised salbutamol has a smallest dose; tetanus immunoglobulin and
    prednisolone by age take no weight; the kinds are those of published alarms on right orders."""
    wanted = {
        "naloxone": "a repeat larger than the first dose",
        "salbutamol": "a smallest dose in a light child",
        "zinc": "a fixed dose in a light child",
    }
    for name, trap in wanted.items():
        traps = stress(shipped, DAY, 20, 1, shipped.medicine(name)).traps
        assert traps[trap].whole > 0 and traps[trap].caught == 0, name


# ---- numbers ----


@pytest.mark.parametrize(("part", "whole"), [(81, 263), (1, 29), (10, 10), (0, 10), (5, 8)])
def test_the_interval_solves_its_own_equation(part: int, whole: int) -> None:
    """By definition (Wilson 1927) its ends are the p with (part/whole - p)^2 = z^2 p (1 - p) / whole; held with Fractions."""
    share, square = Fraction(part, whole), Fraction(Z) ** 2
    for end in map(Fraction, wilson(part, whole)):
        assert abs((share - end) ** 2 - square * end * (1 - end) / whole) < Fraction(1, 10**12)


def test_the_interval_against_a_printed_one() -> None:
    """Newcombe RG, Stat Med 1998;17:857-872, table I, score method: 81 of 263 is 0.2553 to 0.3662, 0 of 20 up to 0.1611 (from memory)."""
    assert [round(end, 4) for end in wilson(81, 263)] == [0.2553, 0.3662]
    assert [round(end, 4) for end in wilson(0, 20)] == [0.0, 0.1611] and wilson(0, 0) == (0.0, 1.0)


def test_the_shares_are_proportions_of_known_slips_with_sources() -> None:
    """London: 6.6 % of prescribing errors were a wrong frequency, 11.3 % a wrong dose."""
    assert abs(sum(shares().values()) - 1) < Fraction(1, 1000) and {slip for slip, _ in shares()} <= set(SAYS)
    assert shares()["gap-too-short", ""] == Fraction("6.6") / (Fraction("6.6") + Fraction("11.3"))
    figures = {row["id"]: row for row in read()["figure"]}
    assert {name for row in read()["share"] for name in row["figures"]} == set(figures)
    assert all(row[key] for row in figures.values() for key in ("says", "source", "title", "year", "address"))


def test_the_same_seed_gives_the_same_whatever_the_hash_seed() -> None:
    said = [_spawned(seed, hashes) for seed, hashes in (("1", "0"), ("1", "4242"), ("2", "0"))]
    assert said[0] == said[1] != said[2]


def _spawned(seed: str, hashes: str) -> bytes:
    args = ["formulary", "stress", "formulary", "--medicine", "codeine", "--orders", "5", "--seed", seed, "--json"]
    done = subprocess.run(
        [sys.executable, "-m", "dosecheck", *args], cwd=REPO, env={**os.environ, "PYTHONHASHSEED": hashes}, capture_output=True, check=True
    )
    return done.stdout.replace(f'"seed": {seed}'.encode(), b"")


# ---- the command and the picture ----


def test_the_command(tmp_path: Path) -> None:
    said = dosecheck("formulary", "stress", str(FOLDER), "--medicine", "codeine", "--orders", "5")
    lines = said.out.splitlines()
    assert said.status == 0 and lines[0].startswith("5 right orders and ")
    assert all(len(line) <= 80 or "dosecheck order" in line for line in lines) and "no limit looks there" in flat(said.out)
    whole = json.loads(dosecheck("formulary", "stress", str(FOLDER), "--medicine", "codeine", "--orders", "5", "--json").out)
    assert whole["right_orders"]["orders"] == 5 and whole["evidence"]["figure"] and whole["caution"]
    assert {cell["slip"] for cell in whole["cells"]} == {slip["slip"] for slip in whole["slips"]}


@pytest.mark.parametrize("args", [["--medicine", "codein"], ["--orders", "0"], ["--seed", "x"], ["no-such-folder"]])
def test_bad_input_is_one_plain_error(args: list[str]) -> None:
    said = dosecheck("formulary", "stress", *args)
    assert said.status == 2 and said.err and "Traceback" not in said.err


def test_the_heat_map(tmp_path: Path) -> None:
    pytest.importorskip("matplotlib")
    found = stress(written(tmp_path, regimen(**TIGHT)), DAY, 10)
    svg = heat_map(found, "svg").decode()
    assert svg == heat_map(found, "svg").decode() and heat_map(found, "png").startswith(b"\x89PNG")
    count = found.by_slip["tenfold", "over"]
    assert "tenfold, over" in svg and f"n = {count.whole}" in svg and "exampol" in svg and "not applicable" in svg


def test_without_matplotlib_one_sentence_before_the_long_run(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.setitem(sys.modules, "matplotlib", None)
    said = dosecheck("formulary", "stress", str(FOLDER), "--svg", str(tmp_path / "h.svg"))
    assert said.status == 2 and 'pip install "dosecheck[plot]"' in flat(said.err) and not (tmp_path / "h.svg").exists()


def test_a_weight_that_no_reference_knows_is_told_as_not_looked_at(shipped: Formulary) -> None:
    """Growth references begin at term: nothing is held against the weight of a baby born early."""
    blind = stress(shipped, DAY, 10, 2, shipped.medicine("cefotaxime")).blind
    why = {row.why for row in blind if row.regimen == "intravenous-infection-premature" and row.slip == "weight-pounds"}
    assert why == {"no limit looks there"}
