"""Past orders under two formularies: row by row what two single checks say, and nothing lost on the way."""

from __future__ import annotations

import csv
import json
from datetime import date
from pathlib import Path

import pytest
from cli.door import FOLDER, dosecheck, flat
from workshop.test_diff import regimen, written

from dosecheck.errors import FileError
from dosecheck.formulary.load import Formulary
from dosecheck.records import read_order
from dosecheck.rules.check import check_order
from dosecheck.workshop.replay import ADDED, moves_table, replay

DAY = date(2026, 11, 25)
HEAD = "order_id,medicine,route,for,dose,every,weight,age,on"
DOSES = (80, 100, 140, 160, 190, 220, 300, 900)


def orders(path: Path, *more: str) -> Path:
    rows = [f"same,exampol,oral,pain,{mg} mg,6 hours,10 kg,3 years,2026-05-0{1 + n % 9}" for n, mg in enumerate(DOSES)]
    path.write_text("\n".join([HEAD, *rows, *more]) + "\n", encoding="utf-8")
    return path


@pytest.fixture
def sides(tmp_path: Path) -> tuple[Formulary, Formulary]:
    """10 to 15 mg/kg becomes 11 to 20 mg/kg, and 1 g becomes 250 mg."""
    new = regimen(dose='{ low = "11 mg/kg", high = "20 mg/kg" }', max_single='["250 mg"]', max_daily='["80 mg/kg", "4 g"]')
    return written(tmp_path / "old"), written(tmp_path / "new", new)


def test_row_by_row_as_two_single_checks(tmp_path: Path, sides: tuple[Formulary, Formulary]) -> None:
    """All rows bear one order_id: they are put together by their place alone."""
    path, out = orders(tmp_path / "o.csv"), tmp_path / "r.csv"
    found = replay(path, *sides, DAY, results=out)
    expected = []
    for number, row in enumerate(csv.DictReader(path.read_text("utf-8").splitlines()), 1):
        texts = {name.replace("for", "for_") if name == "for" else name: value for name, value in row.items() if name != "order_id"}
        old, new = (check_order(*read_order(texts), side) for side in sides)
        expected.append((number, old.outcome, new.outcome))
    assert found.rows == len(DOSES) == sum(found.moves.values()) and found.refused == 0
    assert [(row.row, row.old, row.new) for row in found.shown] == [row for row in expected if row[1] != row[2]] != []
    assert found.changed == len(found.shown) and 0 < found.looser < found.changed
    assert sum(sum(moves.values()) for moves in found.by_medicine.values()) == found.changed
    result = list(csv.DictReader(out.read_text("utf-8").splitlines()))
    assert len(result) == found.changed + found.codes and set(ADDED) <= set(result[0]) and result[0]["dose"]


def test_a_formulary_against_itself_changes_nothing(tmp_path: Path, sides: tuple[Formulary, Formulary]) -> None:
    found = replay(orders(tmp_path / "o.csv"), sides[0], sides[0], DAY)
    assert found.changed == found.codes == 0 and found.shown == () and found.rows == len(DOSES)


def test_there_and_back(tmp_path: Path, sides: tuple[Formulary, Formulary]) -> None:
    path = orders(tmp_path / "o.csv")
    there, back = replay(path, *sides, DAY), replay(path, *reversed(sides), DAY)
    assert {(new, old): n for (old, new), n in there.moves.items()} == back.moves and there.looser == back.changed - back.looser


def test_rows_that_cannot_be_read_are_counted_on_both_sides(tmp_path: Path, sides: tuple[Formulary, Formulary]) -> None:
    """H25: rows in = rows answered, the broken ones not-checked under both."""
    bad = (
        "x,exampol,oral,pain,14O mg,6 hours,10 kg,3 years,2026-05-01",
        "x,exampol,oral,pain",
        "x,nosuch,oral,pain,1 mg,6 hours,10 kg,3 years,2026-05-01",
    )
    found = replay(orders(tmp_path / "o.csv", *bad), *sides, DAY)
    assert (found.rows, found.refused) == (len(DOSES) + 3, 2) and found.moves["not-checked", "not-checked"] == 3


def test_each_order_goes_by_its_own_day(tmp_path: Path) -> None:
    old = written(tmp_path / "old")
    new = written(
        tmp_path / "new",
        regimen() + regimen(valid_from="2026-05-05", dose='{ low = "10 mg/kg", high = "20 mg/kg" }', max_daily='["80 mg/kg"]'),
    )
    rows = [f"x,exampol,oral,pain,160 mg,6 hours,10 kg,3 years,{day}" for day in ("2026-05-04", "2026-05-05")]
    path = tmp_path / "o.csv"
    path.write_text("\n".join([HEAD, *rows]) + "\n", encoding="utf-8")
    assert [row.row for row in replay(path, old, new, DAY).shown] == [2]


@pytest.mark.parametrize(
    ("text", "why"), [("dose,weight\n1 mg,10 kg\n", '"medicine" is missing'), ("medicine;dose\nx;1 mg\n", "semicolons")]
)
def test_a_file_that_is_none(tmp_path: Path, sides: tuple[Formulary, Formulary], text: str, why: str) -> None:
    path = tmp_path / "o.csv"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(FileError, match=why):
        replay(path, *sides, DAY, results=tmp_path / "r.csv")
    assert not (tmp_path / "r.csv").exists()


def test_the_command(tmp_path: Path, sides: tuple[Formulary, Formulary]) -> None:
    """0 nothing differs, 1 something does, 2 a row or a side that cannot be read."""
    path, old, new = str(orders(tmp_path / "o.csv")), sides[0].folder, sides[1].folder
    said = dosecheck("formulary", "replay", old, new, path, "--out", str(tmp_path / "r.csv"))
    assert (
        said.status == 1
        and "before \\ after" in said.out
        and "query -> within" in flat(said.out)
        and max(map(len, said.out.splitlines())) <= 80
    )
    assert dosecheck("formulary", "replay", old, old, path).status == 0
    told = json.loads(dosecheck("formulary", "replay", old, new, path, "--json").out)
    assert told["rows"] == len(DOSES) and told["looser"] + told["stricter"] == told["changed"] == sum(
        m["orders"] for m in told["moves"] if m["old"] != m["new"]
    )
    assert dosecheck("formulary", "replay", old, "nosuch", path).status == 2
    assert dosecheck("formulary", "replay", old, new, str(tmp_path / "nosuch.csv")).status == 2
    (tmp_path / "e.csv").write_text(HEAD + "\n", encoding="utf-8")
    assert dosecheck("formulary", "replay", old, new, str(tmp_path / "e.csv")).status == 2


def test_the_table_of_moves() -> None:
    rows = moves_table({("within", "stop"): 1200})
    assert rows[0] == ["before \\ after", "within", "query", "stop", "not-checked"] and rows[1] == ["within", "0", "0", "1,200", "0"]


def test_the_shipped_formulary_on_its_own_demo_orders(tmp_path: Path) -> None:
    """The demo's file of orders under the shipped formulary and under itself."""
    shipped = Formulary(FOLDER)
    assert replay(Path(__file__).parents[2] / "dosecheck/demo/orders.csv", shipped, shipped, DAY).changed == 0
