"""What changed: by meaning, with its direction held against the engine, at folders and at revisions under git."""

from __future__ import annotations

import json
import subprocess
from fractions import Fraction
from pathlib import Path

import pytest
from cli.door import FOLDER, dosecheck, flat
from formulary.lint_folder import POLICY, folder, medicine
from hypothesis import given, settings
from hypothesis import strategies as st

from dosecheck.errors import FileError, FormularyError
from dosecheck.formulary.load import Formulary
from dosecheck.records import Child, Order
from dosecheck.rules.check import check_order
from dosecheck.workshop.diff.changes import Change, changes
from dosecheck.workshop.diff.figure import CHANGED, LOOSENED, OPPOSITE, TIGHTENED, WORDING
from dosecheck.workshop.diff.page import to_html
from dosecheck.workshop.sides import open_side

KEYS = {
    "id": '"oral-child"',
    "valid_from": "2024-05-01",
    "route": '"oral"',
    "for": '["pain"]',
    "age": '{ from = "1 year", below = "12 years" }',
    "dose": '{ low = "10 mg/kg", high = "15 mg/kg" }',
    "min_gap": '"4 hours"',
    "max_doses": "4",
    "max_single": '["1 g"]',
    "max_daily": '["60 mg/kg", "4 g"]',
    "source": '{ id = "invented-handbook-2024", place = "table 3" }',
}
PRODUCT = '[[product]]\nid = "liquid"\nname = "liquid"\nform = "oral liquid"\nroutes = ["oral"]\nstrength = "120 mg in 5 mL"\nsource = { id = "invented-handbook-2024", place = "p" }\n'
LIMIT = '[[age_limit]]\nid = "young"\nage_below = "3 months"\nsource = { id = "invented-handbook-2024", place = "w" }\n'


def regimen(**changes: str | None) -> str:
    keys = {name: value for name, value in {**KEYS, **changes}.items() if value is not None}
    return "[[regimen]]\n" + "\n".join(f"{name} = {value}" for name, value in keys.items()) + "\n"


def written(path: Path, more: str = "", head: str = "", **files: str) -> Formulary:
    whole = folder(**{"medicines_exampol": medicine(more=(more or regimen()) + PRODUCT + LIMIT, head=head), **files})
    for name, content in whole.items():
        (path / name).parent.mkdir(parents=True, exist_ok=True)
        (path / name).write_bytes(content)
    return Formulary(path)


def between(path: Path, old: str, new: str, **files: str) -> list[tuple[str, str, str]]:
    found = changes(written(path / "old", old), written(path / "new", new, **files))
    return [(change.direction, change.figure, change.times) for change in found]


ONE_FIGURE = [  # a figure, what it becomes, what is told
    ("max_daily", '["75 mg/kg", "4 g"]', [(LOOSENED, "max_daily per kg", "1.25 times")]),
    ("max_daily", '["60 mg/kg"]', [(LOOSENED, "max_daily", "")]),
    ("max_daily", '["60 mg/kg", "4000 mg"]', []),
    ("max_daily", '["4 g", "60 mg/kg"]', []),
    ("max_single", '["500 mg"]', [(TIGHTENED, "max_single", "0.5 times")]),
    ("max_single", '["3 g"]', [(LOOSENED, "max_single", "3 times")]),
    ("max_single", None, [(LOOSENED, "max_single", "")]),
    ("dose", '{ low = "10 mg/kg", high = "20 mg/kg" }', [(LOOSENED, "dose, upper end", "about 1.333 times")]),
    ("dose", '{ low = "12 mg/kg", high = "15 mg/kg" }', [(TIGHTENED, "dose, low end", "1.2 times")]),
    ("dose", '"15 mg/kg"', [(TIGHTENED, "dose, low end", "1.5 times")]),
    ("min_gap", '"240 minutes"', []),
    ("min_gap", '"3 hours"', [(LOOSENED, "min_gap", "0.75 times")]),
    ("max_doses", "6", [(LOOSENED, "max_doses", "1.5 times")]),
    ("age", '{ from = "1 year", below = "144 months" }', []),
    ("age", '{ from = "1 month", below = "12 years" }', [(LOOSENED, "children", "")]),
    ("age", '{ from = "2 years", below = "12 years" }', [(TIGHTENED, "children", "")]),
    ("age", '{ from = "2 years", below = "14 years" }', [(CHANGED, "children", "")]),
    ("for", '["pain", "fever"]', [(LOOSENED, "for", "")]),
    ("products", '["liquid"]', [(TIGHTENED, "products", "")]),
    ("required", '["course"]', [(TIGHTENED, "required", "")]),
    ("query_up_to", '"20 %"', [(LOOSENED, "query_up_to", "2 times")]),  # the policy's is 10 %
    ("query_up_to", '"5 %"', [(TIGHTENED, "query_up_to", "0.5 times")]),
    ("query_up_to", '"10 %"', []),
    ("note", '"See page 3."', [(WORDING, "note", "")]),
    ("source", '{ id = "invented-handbook-2024", place = "table 4" }', [(WORDING, "source", "")]),
]


@pytest.mark.parametrize(("key", "value", "expected"), ONE_FIGURE)
def test_one_figure_changed(tmp_path: Path, key: str, value: str | None, expected: list) -> None:
    """Told once, by name, with the exact ratio; a unit spelt otherwise is no change."""
    assert between(tmp_path, regimen(), regimen(**{key: value})) == expected


@pytest.mark.parametrize(("key", "value", "expected"), ONE_FIGURE)
def test_the_other_way_round(tmp_path: Path, key: str, value: str | None, expected: list) -> None:
    """Loosened and tightened change places, and ratios are inverted."""
    there = changes(written(tmp_path / "old"), written(tmp_path / "new", regimen(**{key: value})))
    back = changes(written(tmp_path / "new", regimen(**{key: value})), written(tmp_path / "old"))
    assert [OPPOSITE[change.direction] for change in back] == [change.direction for change in there]
    assert [1 / change.ratio if change.ratio else None for change in back] == [change.ratio for change in there]
    assert [(change.after, change.before) for change in back] == [(change.before, change.after) for change in there]


MG = st.integers(5, 40)


@given(
    st.sampled_from(["dose", "max_single", "max_daily", "min_gap", "max_doses"]),
    MG,
    MG,
    st.integers(8, 45),
    st.integers(20, 900),
    st.integers(2, 8),
)
@settings(max_examples=60)
def test_the_direction_is_the_engine_s(
    tmp_path_factory: pytest.TempPathFactory, key: str, old: int, new: int, kg: int, mg: int, gap: int
) -> None:
    """MR10: an order that passes after "tightened" passed before; after "loosened" one that passed still passes.

    A maximum also excuses a low dose that it holds down, so the low end is left out here.
    """
    texts = {
        "dose": '{{ high = "{} mg/kg" }}', "max_single": '["{}0 mg"]', "max_daily": '["{}0 mg/kg"]', "min_gap": '"{} hours"', "max_doses": "{}",
    }  # fmt: skip
    pair = [min(value, 12) if key == "min_gap" else value for value in (old, new)]
    path = tmp_path_factory.mktemp("direction")
    open_end = {"dose": '{ high = "15 mg/kg" }', "max_daily": '["600 mg/kg"]', "max_doses": "40"}
    sides = [
        written(path / name, regimen(**{**open_end, key: texts[key].format(value)}))
        for name, value in zip(("old", "new"), pair, strict=True)
    ]
    found = changes(*sides)
    order = Order(medicine="exampol", route="oral", for_="pain", dose=f"{mg} mg", every=f"{gap} hours")
    before, after = (
        check_order(order, Child(weight=f"{kg} kg", age="6 years", on="2026-05-04"), side).outcome == "within" for side in sides
    )
    assert len(found) == (pair[0] != pair[1])
    if found:
        assert found[0].direction in (LOOSENED, TIGHTENED)
        assert after >= before if found[0].direction == LOOSENED else before >= after


STRICTER = regimen(valid_from="2026-01-01", max_daily='["40 mg/kg", "4 g"]')
SOURCE = 'source = { id = "invented-handbook-2024", place = "w" }\n'
WHOM = f'[[age_limit]]\nid = "eight"\nage_below = "8 years"\n{SOURCE}'


@pytest.mark.parametrize(
    ("strict", "loose", "figure", "dose"),
    [
        (regimen() + STRICTER, regimen(), "max_daily per kg", "300 mg"),
        (regimen() + STRICTER, regimen() + STRICTER.replace("2026-01", "2027-01"), "max_daily per kg", "300 mg"),
        (regimen() + WHOM, regimen() + WHOM + 'for = ["fever"]\n', "for", "300 mg"),
        (regimen() + WHOM + 'for = ["fever", "pain"]\n', regimen() + WHOM + 'for = ["fever"]\n', "for", "300 mg"),
        (regimen() + WHOM, regimen() + WHOM + 'routes = ["rectal"]\n', "routes", "300 mg"),
        (regimen() + WHOM, regimen() + WHOM + 'condition = "asthma"\n', "condition", "300 mg"),
        (regimen() + WHOM, regimen() + WHOM + 'weight_below = "5 kg"\n', "weight_below", "300 mg"),
        (regimen(), regimen(query_up_to='"20 %"'), "query_up_to", "345 mg"),
    ],
)
def test_what_narrows_a_rule_loosens(tmp_path: Path, strict: str, loose: str, figure: str, dose: str) -> None:
    """MR10: the engine stops the order under one and not under the other, and the direction says so both ways round."""
    sides = [written(tmp_path / name, text) for name, text in (("strict", strict), ("loose", loose))]
    order = Order(medicine="exampol", route="oral", for_="pain", dose=dose, every="6 hours")
    child = Child(weight="20 kg", age="6 years", on="2026-05-04")
    outcomes = [check_order(order, child, side).outcome for side in sides]
    assert outcomes[0] == "stop" and outcomes[1] in ("within", "query")
    assert (LOOSENED, figure) in [(change.direction, change.figure) for change in changes(*sides)]
    assert TIGHTENED not in [change.direction for change in changes(*sides)]
    assert LOOSENED not in [change.direction for change in changes(*reversed(sides))]


def test_a_policy_that_watches_some_groups_watches_fewer_than_one_that_names_none(tmp_path: Path) -> None:
    """Left out, every group is watched (formulary/README.md)."""
    some = written(tmp_path / "some", policy=POLICY + 'one_at_a_time = { value = ["opioid"], reason = "r" }\n')
    every = written(tmp_path / "every")
    found = {change.figure: change.direction for change in changes(every, some)}
    assert found["one_at_a_time"] == LOOSENED
    assert {change.figure: change.direction for change in changes(some, every)}["one_at_a_time"] == TIGHTENED


def test_a_row_of_the_z_limits_more_is_neither_looser_nor_tighter(tmp_path: Path) -> None:
    line = 'weight_z = {{ bands = [{{ from = "0 months", low = "-3", high = "3" }}{}], reason = "r" }}\n'
    more = ', { from = "10 years", low = "-6", high = "6" }'
    one, two = (written(tmp_path / name, policy=POLICY + line.format(row)) for name, row in (("one", ""), ("two", more)))
    assert {change.direction for change in changes(one, two)} == {CHANGED}
    none = written(tmp_path / "none")
    assert {change.direction for change in changes(one, none) if change.figure == "weight_z from 0 months"} == {LOOSENED}


def test_sorted_by_risk(tmp_path: Path) -> None:
    """A limit that is gone, then high risk, then the larger step; then what changed, tightened, wording."""
    old = written(tmp_path / "old", medicines_riskol=medicine("riskol", more=regimen(), head="high_risk = true"))
    new = written(
        tmp_path / "new",
        regimen(max_single=None, max_daily='["600 mg/kg", "4 g"]', min_gap='"5 hours"', note='"n"', max_doses="5"),
        medicines_riskol=medicine("riskol", more=regimen(max_single='["2 g"]'), head="high_risk = true"),
    )
    found = changes(old, new)
    assert [(change.medicine, change.figure) for change in found] == [
        ("exampol", "max_single"), ("riskol", "max_single"), ("exampol", "max_daily per kg"), ("exampol", "max_doses"),
        ("exampol", "min_gap"), ("exampol", "note"),
    ]  # fmt: skip
    assert found[2].doubt.startswith("exactly ten times") and found[1].doubt == ""


def test_pounds_and_powers_are_doubted() -> None:
    """0.45359237 kg to the pound, exactly (international yard and pound agreement, 1959)."""
    from dosecheck.workshop.diff.changes import _doubt

    assert "pounds" in _doubt(Fraction("2.2")) and "pounds" in _doubt(Fraction("0.45359237"))
    assert "a thousand times" in _doubt(Fraction(1, 1000)) and _doubt(Fraction(2)) == _doubt(Fraction(1)) == ""


def test_entries_that_come_and_go(tmp_path: Path) -> None:
    base = written(tmp_path / "old")
    newer = written(tmp_path / "new", regimen() + regimen(valid_from="2027-01-01", max_single='["2 g"]'))
    (change,) = changes(base, newer)
    assert change.entry == "regimen oral-child, from 2027-01-01 in place of 2024-05-01" and change.times == "2 times"
    other = written(tmp_path / "other", regimen(id='"by-weight"', route='"rectal"') + regimen())
    (added,) = changes(base, other)
    assert added.direction == LOOSENED and added.figure == "whole" and "max_single 1 g" in added.after and not added.before
    text = (tmp_path / "old/medicines/exampol.toml").read_text("utf-8").replace(LIMIT, "")
    (tmp_path / "old/medicines/exampol.toml").write_text(text, "utf-8")
    (gone,) = changes(base, Formulary(tmp_path / "old"))
    assert (gone.direction, gone.entry, gone.after) == (LOOSENED, "age limit young", "")


BANDS = "".join(
    f'[[regimen.band]]\nweight = {{ from = "{low} kg", below = "{high} kg" }}\ndose = "{mg} mg"\n'
    for low, high, mg in ((5, 10, 60), (10, 20, 120))
)


def test_rows_of_a_table_are_matched_by_their_children(tmp_path: Path) -> None:
    old = regimen(dose=None, age=None, max_single=None) + BANDS
    assert between(tmp_path / "a", old, old.replace('"120 mg"', '"1200 mg"')) == [
        (LOOSENED, "dose, upper end", "10 times"),
        (TIGHTENED, "dose, low end", "10 times"),
    ]
    assert between(tmp_path / "b", old, old.replace('"20 kg"', '"25 kg"')) == [(LOOSENED, "children", "")]
    assert between(tmp_path / "c", old, old.replace('"4 hours"', '"3 hours"')) == [(LOOSENED, "min_gap", "0.75 times")]


def test_head_product_age_limit_policy_and_local(tmp_path: Path) -> None:
    old = written(tmp_path / "old", head="high_risk = true")
    text = (tmp_path / "old/medicines/exampol.toml").read_text("utf-8")
    for name, before, after, expected in [
        ("risk", "high_risk = true", "", (LOOSENED, "high_risk")),
        ("product", "120 mg in 5 mL", "250 mg in 5 mL", (CHANGED, "strength")),
        ("limit", '"3 months"', '"1 month"', (LOOSENED, "age_below")),
    ]:
        (change,) = changes(old, written(tmp_path / name, medicines_exampol=text.replace(before, after)))
        assert (change.direction, change.figure) == expected and change.high_risk
    (change,) = changes(old, written(tmp_path / "policy", head="high_risk = true", policy=POLICY.replace("90 days", "120 days")))
    assert (change.direction, change.medicine, change.figure) == (LOOSENED, "", "weight_age_child")
    ours = 'medicine = "exampol"\nreason = "Our committee."\n' + regimen(max_single='["500 mg"]')
    found = changes(old, written(tmp_path / "local", head="high_risk = true", local_site=ours))
    assert {(change.direction, change.figure) for change in found} == {
        (TIGHTENED, "max_single"),
        (CHANGED, "whose figures"),
    }


def test_nothing_but_form_changes_nothing(tmp_path: Path) -> None:
    """MR34: the order of entries and of keys, comments and spaces."""
    one, other = regimen(), regimen(id='"rectal-child"', route='"rectal"')
    shuffled = "\n".join(reversed(other.strip().splitlines()[1:]))
    assert between(tmp_path, one + other, f"# a comment\n[[regimen]]\n{shuffled}\n{one}") == []
    shipped = Formulary(FOLDER)
    assert changes(shipped, shipped) == ()


def test_the_page_is_escaped_and_whole(tmp_path: Path) -> None:
    old, new = written(tmp_path / "old"), written(tmp_path / "new", regimen(note='"<script>alert(1)</script>"', max_doses="5"))
    page = to_html(changes(old, new), old, new)
    assert "<script" not in page and "&lt;script" in page and "http" not in page and "1.25" in page and old.fingerprint in page
    assert "Nothing changed" in to_html((), old, old)


def test_the_command(tmp_path: Path) -> None:
    written(tmp_path / "old"), written(tmp_path / "new", regimen(max_daily='["75 mg/kg", "4 g"]'))
    sides, out = (str(tmp_path / "old"), str(tmp_path / "new")), tmp_path / "d.html"
    said = dosecheck("formulary", "diff", *sides, "--out", str(out))
    assert said.status == 1 and "exampol, regimen oral-child: max_daily per kg 60 mg/kg -> 75 mg/kg, 1.25 times" in flat(said.out)
    assert out.read_text("utf-8").startswith("<!doctype html>") and max(map(len, said.out.splitlines())) <= 80
    told = json.loads(dosecheck("formulary", "diff", *sides, "--json").out)
    assert told["changes"][0]["ratio"] == "5/4" and Change(**{k: v for k, v in told["changes"][0].items() if k != "times"})
    same = dosecheck("formulary", "diff", sides[0], sides[0])
    assert same.status == 0 and "nothing changed" in same.out
    (tmp_path / "new/medicines/exampol.toml").write_text("id = 1", "utf-8")
    assert dosecheck("formulary", "diff", *sides).status == 2
    written(tmp_path / "spelt", regimen(max_single='["1000 mg"]'))
    spelt = dosecheck("formulary", "diff", sides[0], str(tmp_path / "spelt"))
    assert spelt.status == 0 and "differ in spelling" in flat(spelt.out) and "differ in spelling" not in flat(same.out)


# ---- revisions under git ----


@pytest.fixture
def repository(tmp_path: Path) -> Path:
    """Two commits of a formulary in a folder of a repository."""

    subprocess.run(["git", "init", "-q"], cwd=tmp_path, check=True)
    for doses in ("4", "5"):
        written(tmp_path / "figures", regimen(max_doses=doses))
        commit(tmp_path)
    return tmp_path


def commit(path: Path) -> None:
    for args in (["add", "-A"], ["-c", "user.name=A", "-c", "user.email=a@example.org", "commit", "-qm", "figures"]):
        subprocess.run(["git", *args], cwd=path, check=True, capture_output=True)


def test_a_revision_is_a_side(repository: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(repository)
    (change,) = changes(open_side("HEAD~1:figures"), open_side("figures"))
    assert (change.figure, change.before, change.after) == ("max_doses", "4", "5")
    assert open_side("HEAD:figures").fingerprint == Formulary("figures").fingerprint and open_side("HEAD:figures").folder == "HEAD:figures"
    monkeypatch.setenv("DOSECHECK_FORMULARY", "figures")
    assert changes(open_side("HEAD~1"), open_side("HEAD"))[0].times == "1.25 times"


@pytest.mark.parametrize(
    "name", ["nosuch", "HEAD:nosuch", "--output=x", "-x:figures", ":figures", "HEAD; ls", "HEAD\x00", "", "HEAD:../.."]
)
def test_what_is_neither_folder_nor_revision(repository: Path, monkeypatch: pytest.MonkeyPatch, name: str) -> None:
    """One plain error; nothing of a name is ever an option of git."""
    monkeypatch.chdir(repository)
    with pytest.raises(FileError):
        open_side(name)
    assert sorted(path.name for path in repository.iterdir()) == [".git", "figures"]


def test_a_revision_has_every_file_whatever_its_attributes(repository: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """`git archive` would leave out a file with "export-ignore", a site's own figures too, and say nothing."""
    monkeypatch.chdir(repository)
    (repository / "figures/local").mkdir()
    (repository / "figures/local/site.toml").write_text('medicine = "exampol"\nreason = "r"\n' + regimen(max_doses="3"), "utf-8")
    (repository / "figures/.gitattributes").write_text("local export-ignore\n", "utf-8")
    commit(repository)
    assert open_side("HEAD:figures").fingerprint == Formulary("figures").fingerprint
    assert changes(open_side("HEAD:figures"), open_side("figures")) == ()


def test_a_link_in_a_revision_is_refused_as_in_a_folder(repository: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(repository)
    (repository / "figures/medicines/other.toml").symlink_to("/etc/hostname")
    commit(repository)
    with pytest.raises(FormularyError, match="link that leads out"):
        open_side("HEAD:figures")


def test_without_git(repository: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(repository)
    monkeypatch.setenv("PATH", "")
    with pytest.raises(FileError, match="not installed"):
        open_side("HEAD:figures")
