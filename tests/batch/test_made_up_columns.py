"""Batch = one by one where the formulary is made up: drawn figures, chunk after chunk, and figures at the ends of what columns hold."""

from __future__ import annotations

from datetime import date
from pathlib import Path
from typing import Any

import polars as pl
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from oracle_choose import load
from oracle_formularies import formularies
from oracle_orders import Shelf, orders
from oracle_write import SOURCE, SOURCES, policy, write, written

from dosecheck import Formulary, FormularyError
from dosecheck.batch import amounts, columns, screen
from dosecheck.batch.columns import FIELDS
from dosecheck.batch.run import Batch
from dosecheck.formulary import load as loading

TODAY = date(2026, 11, 25)
ORDER = {"medicine": "exampol", "route": "oral", "for": "pain", "age": "5 years", "weight": "18 kg", "times_a_day": "3"}


def compare(formulary: Formulary, rows: list[dict[str, str]], chunk: int = 1000) -> Batch:
    """Every result column alike, of rows that go by columns in chunks of that size and of the same rows one by one."""
    frame = pl.DataFrame([{field: row.get(field) or None for field in FIELDS} for row in rows], schema=dict.fromkeys(FIELDS, pl.String))
    batch, single = Batch(formulary, TODAY), Batch(formulary, TODAY)
    batch.screen.least_part, single.screen.least_part = 0, len(rows) + 1
    found = [batch.answer(part) for part in frame.iter_slices(chunk)]
    for row, by_columns, alone in zip(rows, pl.concat(found).iter_rows(), single.answer(frame).iter_rows(), strict=True):
        assert by_columns == alone, row
    return batch


def made_up(folder: Path, regimens: list[dict[str, Any]], **keys: Any) -> Formulary:
    usual = {"route": "oral", "for": ["pain"], "age": {"from": "1 year"}, "max_daily": {"none": "made up"}, "source": SOURCE}
    entries = [{"id": f"r{n}", "valid_from": date(2020, 1, 1), **usual, **regimen} for n, regimen in enumerate(regimens)]
    medicine = {"id": "exampol", "name": "exampol", "status": "example", "ingredient": [{"id": "exampol"}], **keys, "regimen": entries}
    files = {"policy.toml": policy(), "sources.toml": SOURCES, "medicines/exampol.toml": written(medicine)}
    return Formulary(write(files, folder))


@settings(deadline=None, derandomize=True, database=None, max_examples=60, suppress_health_check=list(HealthCheck))
@given(formularies(), st.data())
def test_drawn_formularies(tmp_path_factory: pytest.TempPathFactory, files: dict[str, str], data: st.DataObject) -> None:
    folder = write(files, tmp_path_factory.mktemp("made-up"))
    try:
        formulary = Formulary(folder)
    except FormularyError:
        return
    shelf = Shelf([load(str(folder))["medicines"]["exampol"]])
    compare(formulary, [data.draw(orders(shelf)) for _ in range(12)], data.draw(st.sampled_from((1, 5, 100))))


# What each of these came to was once not the same by columns.
CASES: dict[str, tuple[list[dict[str, Any]], list[dict[str, str]]]] = {
    "a band that ends between two nanograms": (
        [
            {"weight": {"below": "22.123456789012 lb"}, "dose": "10 mg", "max_doses": 3},
            {"weight": {"from": "22.123456789012 lb"}, "dose": "20 mg", "max_doses": 3},
        ],
        [{"weight": weight, "dose": "20 mg"} for weight in ("10.03503119 kg", "10.035031188 kg", "10 kg", "12 kg")],
    ),
    "a limit with an exception, and no weight": (
        [{"dose": "0.01 mg/kg", "floor": "1 mg", "max_single": ["3 mg"], "max_doses": 3}],
        [{"dose": "2 mg", "weight": "n/a"}],
    ),
    "limits that come to no whole puff": (
        [{"dose": {"low": "1 puffs", "high": "3 puffs"}, "max_daily": ["7 puffs"]}],
        [{"dose": "3 puffs"}, {"dose": "2 puffs"}],
    ),
    "limits that come to no whole nanogram": (
        [{"dose": "2 nanograms/kg", "max_daily": ["20 nanograms", "7 nanograms/kg"]}],
        [{"dose": "20 nanograms", "weight": weight} for weight in ("2.88 kg", "2.89 kg", "0.9 kg", "9 kg")],
    ),
    "an exception too large for a column": ([{"dose": "10 mg/kg", "floor": "999999999999 g", "max_doses": 3}], [{"dose": "180 mg"}]),
    "a weight of which a dose per kg is too large": (
        [{"dose": "10 nanograms/kg", "max_doses": 3}],
        [{"dose": "1000 g", "weight": weight} for weight in ("0.000000000001 kg", "9.9 g", "10 g", "18 kg")],
    ),
    "a child who is not born for many years": (
        [{"dose": "10 mg/kg", "max_doses": 3}],
        [
            {"dose": "180 mg", "age": "", "born": born, "sex": sex}
            for born in ("2026-11-26", "2099-01-01", "2026-11-25")
            for sex in ("female", "male")
        ],
    ),
    "a dose of a surface that rounds to none": (
        [{"dose": "3 mg", "max_doses": 3}],
        [{"dose": "10 mg/m2", "weight": "0.000000000001 kg", "height": "60 cm"}, {"dose": "3 mg"}],
    ),
    "a shortest gap of many decimals, for many doses a day": (
        [{"dose": "10 mg/kg", "min_gap": "20000.000000000001 minutes"}],
        [{"dose": "180 mg", "times_a_day": "299"}],
    ),
    "a course of ages, against one of many decimals": (
        [{"dose": "10 mg/kg", "max_doses": 3, "max_course": "5.000000000001 days"}],
        [{"dose": "180 mg", "course": course} for course in ("999999999999 weeks", "5 days", "366 days", "36.5 seconds")],
    ),
}


@pytest.mark.parametrize("name", CASES)
def test_at_the_ends_of_columns(name: str, tmp_path: Path) -> None:
    regimens, rows = CASES[name]
    batch = compare(made_up(tmp_path, regimens), [ORDER | row for row in rows])
    assert batch.slow < max(len(rows), 2), "no row went by columns, or it stands for the only one"


TABLET = {"id": "tablet", "name": "a tablet", "form": "tablet", "routes": ["oral"], "source": SOURCE}


@pytest.mark.parametrize(
    ("second", "strength", "shown"),
    [
        ("50 mg", "50 mg", ("1", "100 mg", "dose, 100 mg")),  # within, and not two times what the second ingredient may be
        ("20 mg", "50 mg", ("2.5", "50 mg", "dose, 20 mg")),
        ("80 mg", "100 mg", ("1.25", "100 mg", "dose, 80 mg")),
        ("5 units", "50 units", ("10", "50 units", "dose, 5 units")),
    ],
)
def test_of_several_ingredients_the_one_furthest_beyond_is_shown(
    tmp_path: Path, second: str, strength: str, shown: tuple[str, ...]
) -> None:
    product = {**TABLET, "strengths": {"exampol": "100 mg per tablet", "secundol": f"{strength} per tablet"}}
    regimens = [
        {"ingredient": "exampol", "dose": "100 mg", "max_doses": 3},
        {"ingredient": "secundol", "dose": second, "max_doses": 3},
    ]
    formulary = made_up(tmp_path, regimens, ingredient=[{"id": "exampol"}, {"id": "secundol"}], product=[product])
    row = ORDER | {"product": "tablet", "dose": "1 tablets"}
    compare(formulary, [row, row])
    answer = Batch(formulary, TODAY).answer(pl.DataFrame([row]))
    assert answer.select("times_the_most", "one_dose", "binding_limit").row(0) == shown


def test_memories_that_start_afresh(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Free text in a column makes no run larger, and what was forgotten is answered alike."""
    limits = ((screen, "_MOST_KNOWN"), (columns, "_MOST_KNOWN"), (amounts, "_MOST_KNOWN"), (loading, "_MOST_SHELVES"))
    for module, name in limits:
        monkeypatch.setattr(module, name, 3)
    formulary = made_up(tmp_path, [{"dose": "10 mg/kg", "max_doses": 3}])
    rows = [ORDER | {"dose": f"{170 + n % 20} mg", "for": ("pain", f"pain, as {n} said")[n % 3 == 2]} for n in range(60)]
    batch = compare(formulary, rows, 4)
    assert len(batch.screen.ways.known) <= 3 + 4 and len(formulary._shelves) <= 3
    assert len(batch.screen.slots.classes) <= 3 + 4
    notes = [row | {"for": f"{n}, and so on" * 50} for n, row in enumerate(rows)]
    assert {row[0] for row in batch.answer(pl.DataFrame(notes)).iter_rows()} == {"not-checked"}
    assert all(len(text) <= 200 for reader in batch.screen.columns.readers.values() for text in reader.known)
    batch.screen.least_part = 24
    batch.answer(pl.DataFrame([row | {"for": f"rare {n}"} for n, row in enumerate(rows)]))
    assert not batch.screen.ways.known, "rows that go one by one are no way of asking"
