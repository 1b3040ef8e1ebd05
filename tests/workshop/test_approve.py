"""Signing off: what an approval covers, what ends it, two people for high risk, and a file that says nothing else new."""

from __future__ import annotations

import json
import tomllib
from datetime import date
from pathlib import Path

import pytest
from cli.door import FOLDER, dosecheck, flat
from formulary.lint_folder import REGIMEN, folder, medicine
from hypothesis import given
from hypothesis import strategies as st

from dosecheck.errors import DosecheckError, InputError
from dosecheck.formulary.approvals import is_by, standings, status_of
from dosecheck.formulary.lint import lint_files
from dosecheck.formulary.load import Formulary
from dosecheck.workshop.advice.advise import advise
from dosecheck.workshop.approve import Signed, _figures, _signed, _with_checks, approvals, approve

DAY = date(2026, 11, 25)
CHECK = {"by": "A. N. Other", "on": DAY}
PRODUCT = """
[[product]]
id       = "liquid"             # the bottle in the cupboard
name     = "oral liquid 120 mg in 5 mL"
form     = "oral liquid"
routes   = ["oral"]
strength = "120 mg in 5 mL"
source   = { id = "invented-handbook-2024", place = "list of forms" }
"""
BANDS = """
[[regimen]]
id         = "by-band"
valid_from = 2024-05-01
route      = "rectal"
for        = ["pain"]
source     = { id = "invented-handbook-2024", place = "table 4" }

[[regimen.band]]
weight    = { from = "5 kg", below = "10 kg" }
dose      = "60 mg"
max_daily = ["240 mg"]

[[regimen.band]]
weight    = { from = "10 kg", below = "20 kg" }
dose      = "120 mg"
max_daily = ["480 mg"]
"""


def place(tmp_path: Path, head: str = "", **files: str) -> Path:
    for name, content in folder(medicines_exampol=medicine(more=PRODUCT + REGIMEN + BANDS, head=head), **files).items():
        (tmp_path / name).parent.mkdir(parents=True, exist_ok=True)
        (tmp_path / name).write_bytes(content)
    return tmp_path


def sign(path: Path, by: str = "A. N. Other", **more: tuple[str, ...]) -> tuple[Signed, ...]:
    return approve(Formulary(path), "exampol", by, DAY, DAY, **more)


def status(path: Path) -> str:
    return Formulary(path).medicine("exampol").status


def advice(path: Path) -> set[str]:
    return {line.code for line in advise(Formulary(path), DAY).open}


def edit(path: Path, old: str, new: str, file: str = "medicines/exampol.toml") -> None:
    text = (path / file).read_text("utf-8")
    assert old in text
    (path / file).write_text(text.replace(old, new, 1), "utf-8")


def test_one_person_approves_a_medicine_that_is_not_high_risk(tmp_path: Path) -> None:
    path = place(tmp_path)
    (signed,) = sign(path)
    assert signed.approved and not signed.wanting and status(path) == "approved"
    assert {one.id for one in signed.standings} == {"exampol", "liquid", "oral-child", "by-band"}
    assert not lint_files(Formulary(path).files).faults and "approval-lapsed" not in advice(path)
    assert "checked by A. N. Other on 2026-11-25" in Formulary(path).medicine("exampol").regimens[0].checked


EDITS = [
    ('"15 mg/kg"', '"16 mg/kg"'),
    ('"4 hours"', '"3 hours"'),
    ('"120 mg in 5 mL"', '"12 mg in 5 mL"'),
    ('"3 months"', '"2 months"'),
    ('dose      = "60 mg"', 'dose      = "80 mg"'),
    ('name = "exampol"', 'name = "exampol"\naliases = ["secondol"]'),
    ('name = "exampol"', 'name = "exampol"\nhigh_risk = true'),
    ('id = "exampol"\n\n[[product]]', 'id = "exampol"\ngroups = ["opioid"]\n\n[[product]]'),
    ('place = "table 3, row 2"', 'place = "table 3, row 3"'),
]


@pytest.mark.parametrize(("old", "new"), EDITS)
def test_an_edited_figure_loses_its_approval_by_itself(tmp_path: Path, old: str, new: str) -> None:
    """H11: nobody has to remember to take an approval away; the answer says "draft", lint and the overview say where."""
    path = place(tmp_path)
    sign(path)
    edit(path, old, new)
    assert status(path) == "draft"
    assert "approval-lapsed" in advice(path)
    lapsed = [one for one in approvals(Formulary(path))[0].standings if one.lapsed == ("A. N. Other",)]
    assert lapsed and all(not one.people for one in lapsed)
    assert len(lapsed) == (4 if "high_risk" in new else 1)
    order = ("--medicine", "exampol", "--route", "oral", "--dose", "150 mg", "--formulary", str(path))
    assert 'These figures have the status "draft": not for clinical use' in flat(dosecheck("order", *order).out)


@pytest.mark.parametrize(
    ("old", "new"),
    [
        ("# the bottle in the cupboard", "# the bottle on the shelf"),
        ('route = "oral"\nfor = ["pain"]', 'for = ["pain"]\nroute   =  "oral"'),
        ('form     = "oral liquid"\n', ""),
    ],
)
def test_what_is_no_figure_keeps_the_approval(tmp_path: Path, old: str, new: str) -> None:
    """A comment and the order of keys are free; a key moved elsewhere in its entry as well."""
    path = place(tmp_path)
    sign(path)
    edit(path, old, new)
    if not new:
        edit(path, "[[product]]\n", '[[product]]\nform = "oral liquid"\n')
    assert status(path) == "approved"


def test_a_high_risk_medicine_needs_two_different_people(tmp_path: Path) -> None:
    path = place(tmp_path, head="high_risk = true")
    (first,) = sign(path)
    assert not first.approved and len(first.wanting) == 4 and status(path) == "example"
    for same in ("A. N. Other", "a n other", "A.N.OTHER", "A.  N. Other"):
        with pytest.raises(InputError, match="has checked all of these figures already"):
            sign(path, same)
    (second,) = sign(path, "B. Second")
    assert second.approved and status(path) == "approved"
    edit(path, '"15 mg/kg"', '"10 mg/kg"')
    assert status(path) == "draft"
    sign(path, "B. Second")
    assert status(path) == "draft"
    sign(path, "A. N. Other")
    assert status(path) == "approved"


def test_a_typed_status_or_a_copied_check_approves_nothing(tmp_path: Path) -> None:
    """The word alone is not enough, nor is a check that was made of another medicine's figures."""
    path = place(tmp_path)
    sign(path)
    other = (path / "medicines/exampol.toml").read_text("utf-8").replace("exampol", "secondol")
    (path / "medicines/secondol.toml").write_text(other, "utf-8")
    assert Formulary(path).medicine("secondol").status == "draft"
    assert status_of({"id": "x", "status": "approved", "ingredient": [{"id": "x"}]}) == "draft"


def test_only_some_entries(tmp_path: Path) -> None:
    path = place(tmp_path)
    (signed,) = sign(path, only=("oral-child", "medicine"))
    assert [one.id for one in signed.wanting] == ["liquid", "by-band"] and status(path) == "example"
    with pytest.raises(InputError, match="no entry of that id"):
        sign(path, only=("oral-adult",))


def test_local_changes_are_signed_too(tmp_path: Path) -> None:
    """An approved base with an unsigned local change is no approved medicine; the local file needs what the base needs."""
    ours = 'medicine = "exampol"\nreason = "Our committee."\nstatus = "draft"\n' + REGIMEN.replace("15 mg", "10 mg")
    path = place(tmp_path, head="high_risk = true", local_site=ours)
    assert [one.file for one in sign(path)] == ["medicines/exampol.toml", "local/site.toml"]
    assert all(one.approved for one in sign(path, "B. Second")) and status(path) == "approved"
    edit(path, '"10 mg/kg"', '"12 mg/kg"', "local/site.toml")
    assert status(path) == "draft"


def test_nothing_else_in_the_file_changes() -> None:
    """Shipped files: the tables less the checks and the status are the same, and no comment is lost."""
    for file in sorted((FOLDER / "medicines").glob("*.toml"))[::6]:
        name, before = f"medicines/{file.name}", file.read_bytes()
        raw = tomllib.loads(before.decode(), parse_float=str)
        signed = _signed(name, raw, {raw["id"]: False})
        after = _with_checks(before, signed, {(one.kind, one.id) for one in signed.standings}, CHECK)
        assert _figures(name, after) == _figures(name, before) and after != before
        assert {line for line in before.splitlines() if b"#" in line} <= set(after.splitlines())
        assert status_of(tomllib.loads(after.decode(), parse_float=str), False) == "approved"


def test_windows_line_ends_and_a_byte_order_mark_stay(tmp_path: Path) -> None:
    path = place(tmp_path)
    file = path / "medicines/exampol.toml"
    file.write_bytes(b"\xef\xbb\xbf" + file.read_bytes().replace(b"\n", b"\r\n"))
    sign(path)
    assert file.read_bytes().startswith(b"\xef\xbb\xbf") and status(path) == "approved"


def test_a_file_that_changed_meanwhile_is_not_signed(tmp_path: Path) -> None:
    """What was looked at is what is signed."""
    path = place(tmp_path)
    seen = Formulary(path)
    edit(path, '"15 mg/kg"', '"150 mg/kg"')
    text = (path / "medicines/exampol.toml").read_text("utf-8")
    with pytest.raises(DosecheckError, match="was changed while"):
        approve(seen, "exampol", "A. N. Other", DAY, DAY)
    assert (path / "medicines/exampol.toml").read_text("utf-8") == text


@pytest.mark.parametrize("name", ["", " ", "123", "A\nB", "A\u202eB", "x" * 81, " A"])
def test_a_name_that_is_none_is_refused(tmp_path: Path, name: str) -> None:
    with pytest.raises(InputError, match="not a name"):
        sign(place(tmp_path), name)


def test_a_day_to_come_is_refused(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="still to come"):
        approve(Formulary(place(tmp_path)), "exampol", "A. N. Other", date(2026, 11, 26), DAY)


@given(st.text(min_size=1, max_size=30).filter(lambda text: any(c.isalpha() for c in text) and text.isprintable() and text == text.strip()))
def test_any_name_is_written_and_read_back(name: str) -> None:
    before = medicine(more=PRODUCT + REGIMEN).encode()
    signed = _signed("medicines/exampol.toml", tomllib.loads(before.decode()), {"exampol": False})
    after = _with_checks(before, signed, {(one.kind, one.id) for one in signed.standings}, {**CHECK, "by": name})
    assert all(one.people == (name,) and is_by(name, one.people) for one in standings(tomllib.loads(after.decode())))


def test_the_commands(tmp_path: Path) -> None:
    """0 written and all approved, 1 not all approved, 2 bad input; without a terminal nothing is taken as confirmed."""
    where = ("--formulary", str(place(tmp_path)))
    assert dosecheck("formulary", "approvals", *where).status == 1
    unasked = dosecheck("formulary", "approve", "exampol", "--by", "A. N. Other", *where)
    assert unasked.status == 2 and "--yes" in unasked.err and status(tmp_path) == "example"
    done = json.loads(dosecheck("formulary", "approve", "exampol", "--by", "A. N. Other", "--yes", "--json", *where).out)
    assert done["files"][0]["approved"] and "does not prove who typed" in done["means"]
    told = dosecheck("formulary", "approvals", "exampol", *where)
    assert told.status == 0 and "4 entries checked, by A. N. Other" in told.out and "does not prove who typed" in flat(told.out)
    edit(tmp_path, '"15 mg/kg"', '"16 mg/kg"')
    assert "regimen oral-child: not checked; CHANGED since A. N. Other checked it" in flat(dosecheck("formulary", "approvals", *where).out)
    unknown = dosecheck("formulary", "approve", "exampel", "--by", "A", "--yes", *where)
    assert unknown.status == 2 and "Did you mean exampol?" in unknown.err
