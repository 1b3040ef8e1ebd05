"""There and back: a formulary says the same after its way through a spreadsheet, and only what changed is touched."""

from __future__ import annotations

import random
import tomllib
from pathlib import Path

import pytest
from cli.door import FOLDER, dosecheck, flat
from formulary.lint_folder import REGIMEN, folder, medicine
from hypothesis import given, settings
from oracle_formularies import formularies
from workshop.test_approve import PRODUCT, place, sign

from dosecheck.errors import DosecheckError, FileError, InputError
from dosecheck.formulary.folder import parse, read_folder
from dosecheck.formulary.lint import lint_files
from dosecheck.formulary.load import Formulary
from dosecheck.workshop.approve import approvals
from dosecheck.workshop.sheet_back import from_sheet
from dosecheck.workshop.sheet_files import ReadSheet, read, write
from dosecheck.workshop.sheet_in import wanted
from dosecheck.workshop.sheet_merge import plan
from dosecheck.workshop.sheet_out import SheetRows, to_rows

NOTHING = {"policy.toml": b"", "sources.toml": b""}
SHIPPED = read_folder(FOLDER)


def as_read(rows: tuple[SheetRows, ...]) -> list[ReadSheet]:
    return [ReadSheet(one.name, tuple(enumerate((one.header, *one.rows), 1))) for one in rows]


def rebuilt(files: dict[str, bytes]) -> dict[str, dict]:
    """What the sheets alone say, as files made of nothing."""
    want = wanted(as_read(to_rows(files)), [])
    assert plan(files, want, remove=True)[:2] == ({}, ())
    return {name: parse(name, content) for name, content in plan(NOTHING, want, remove=True).files.items()}


def test_the_shipped_formulary_says_the_same_after_the_trip() -> None:
    """H11: every file made anew from the sheets alone."""
    assert rebuilt(SHIPPED) == {name: parse(name, content) for name, content in SHIPPED.items()}


@settings(max_examples=15)
@given(formularies())
def test_a_made_up_formulary_says_the_same_after_the_trip(texts: dict[str, str]) -> None:
    files = {name: text.encode() for name, text in texts.items()}
    before = {name: parse(name, content) for name, content in files.items()}
    for raw in before.values():
        for kind in [key for key, value in raw.items() if value == [] and key in ("product", "regimen", "age_limit")]:
            del raw[kind]
    assert rebuilt(files) == before


@pytest.mark.parametrize("out", ["s.xlsx", "sheets"])
def test_untouched_files_keep_every_byte(tmp_path: Path, out: str) -> None:
    path = place(tmp_path / "f")
    before = read_folder(path)
    write(to_rows(before), str(tmp_path / out))
    brought = from_sheet(str(tmp_path / out), str(path))
    assert brought.changes == brought.written == () and read_folder(path) == before


class Bench:
    """A formulary, its sheets, and a way to edit a cell as a person does."""

    def __init__(self, tmp_path: Path, **files: str) -> None:
        self.path, self.sheet = place(tmp_path / "f", **files), tmp_path / "sheets"
        self.write()

    def write(self) -> None:
        self.rows = list(to_rows(read_folder(self.path)))

    def set(self, name: str, row: int, column: str, text: str) -> Bench:
        """Args: row: as the spreadsheet counts, the header being 1."""
        at = [one.name for one in self.rows].index(name)
        rows = [list(one) for one in self.rows[at].rows]
        rows[row - 2][self.rows[at].header.index(column)] = text
        self.rows[at] = self.rows[at]._replace(rows=tuple(map(tuple, rows)))
        return self

    def keep(self, name: str, rows: slice | list[tuple[str, ...]]) -> Bench:
        at = [one.name for one in self.rows].index(name)
        self.rows[at] = self.rows[at]._replace(rows=tuple(self.rows[at].rows[rows] if isinstance(rows, slice) else rows))
        return self

    def of(self, name: str) -> SheetRows:
        return next(one for one in self.rows if one.name == name)

    def bring(self, **how: bool) -> list[str]:
        write(self.rows, str(self.sheet))
        return [str(one) for one in from_sheet(str(self.sheet), str(self.path), **how).changes]

    def text(self, name: str = "medicines/exampol.toml") -> str:
        return (self.path / name).read_text("utf-8")


def test_an_edited_figure_changes_its_line_alone(tmp_path: Path) -> None:
    bench = Bench(tmp_path)
    before = bench.text()
    assert bench.set("regimens", 2, "dose", "16 mg/kg").bring() == [
        'medicines/exampol.toml: regimen oral-child dose: "15 mg/kg" -> "16 mg/kg"'
    ]
    assert bench.text() == before.replace('dose = "15 mg/kg"', 'dose = "16 mg/kg"') and "# the bottle in the cupboard" in before


def test_a_band_is_edited_added_and_taken_away(tmp_path: Path) -> None:
    bench = Bench(tmp_path)
    before = bench.text()
    first, second = bench.of("bands").rows
    third = tuple(text.replace("20 kg", "30 kg").replace("10 kg", "20 kg").replace("120", "240").replace("480", "960") for text in second)
    told = bench.keep("bands", [first, second, third]).set("bands", 2, "dose", "70 mg").bring()
    assert len(told) == 2 and 'band 1 dose: "60 mg" -> "70 mg"' in told[0] and "band 3: new" in told[1]
    bands = tomllib.loads(bench.text())["regimen"][1]["band"]
    assert [band["dose"] for band in bands] == ["70 mg", "120 mg", "240 mg"]
    bench.write()
    bench.keep("bands", slice(0, 2)).set("bands", 2, "dose", "60 mg")
    with pytest.raises(InputError, match="regimen by-band, band 3: The formulary has this row"):
        bench.bring()
    bench.bring(remove=True)
    assert tomllib.loads(bench.text()) == tomllib.loads(before)


def test_a_new_entry_follows_its_kind_in_the_order_of_the_grammar(tmp_path: Path) -> None:
    bench = Bench(tmp_path)
    regimens = bench.of("regimens")
    new = list(regimens.rows[0])
    new[regimens.header.index("valid_from")] = "2025-01-01"
    new[regimens.header.index("dose")], new[regimens.header.index("note")] = "12 mg/kg", "'=less | more"
    told = bench.keep("regimens", [*regimens.rows, tuple(new)]).bring()
    assert told == ["medicines/exampol.toml: regimen oral-child: new"]
    entry = tomllib.loads(bench.text())["regimen"][2]
    assert entry["note"] == "=less | more" and str(entry["valid_from"]) == "2025-01-01"
    assert list(entry) == ["id", "valid_from", "route", "for", "age", "dose", "min_gap", "max_daily", "note", "source"]
    assert bench.bring(check=True) == []


def test_a_new_entry_between_others_keeps_the_free_lines(tmp_path: Path) -> None:
    bench = Bench(tmp_path)
    products = bench.of("products")
    row = tuple(
        text.replace("liquid", "drops") if name in ("id", "name") else text
        for name, text in zip(products.header, products.rows[0], strict=True)
    )
    before = bench.text()
    bench.keep("products", [*products.rows, row]).bring()
    after = bench.text()
    assert after.count("\n\n\n") == before.count("\n\n\n") and after.count("\n\n[[") == before.count("\n\n[[") + 1


def test_a_first_entry_of_its_kind_stands_before_the_examples() -> None:
    """A check reads a file only up to its examples: a limit behind them would never hold."""
    name = "medicines/exampol.toml"
    example = '[[example]]\nid = "printed"\nsource = { id = "invented-handbook-2024", place = "p" }\n'
    example += 'given = { route = "oral", for = "pain", weight = "10 kg", age = "2 years" }\nexpect = { largest = "150 mg" }\n'
    files = folder(medicines_exampol=medicine(more=REGIMEN + "\n" + example))
    rows = list(to_rows(files))
    at = [one.name for one in rows].index("age_limits")
    cells = {"file": name, "id": "young", "age_below": "3 months", "source.id": "invented-handbook-2024", "source.place": "p"}
    rows[at] = rows[at]._replace(rows=(tuple(cells.get(column, "") for column in rows[at].header),))
    text = plan(files, wanted(as_read(tuple(rows)), []), remove=False).files[name].decode()
    assert text.index("\n\n[[age_limit]]\n") < text.index("\n\n[[example]]\n") and text.endswith(example)
    assert not lint_files({**files, name: text.encode()}).faults


INLINE = REGIMEN.replace('age = { from = "3 months", below = "12 years" }', "").replace("[[regimen]]", "").strip().replace("\n\n", "\n")


@pytest.mark.parametrize(
    "text",
    [
        medicine().replace("\n", "\r\n"),
        "\ufeff" + medicine(),
        medicine().replace('age = { from = "3 months", below = "12 years" }', 'age.from = "3 months"\nage.below = "12 years"'),
        medicine().replace('age = { from = "3 months", below = "12 years" }\n', "")
        + '[regimen.age]\nfrom = "3 months"\nbelow = "12 years"\n',
    ],
    ids=["lines ended as on Windows", "a mark at the start", "dotted keys", "a table of its own"],
)
def test_a_file_written_another_way_is_edited_all_the_same(text: str) -> None:
    name = "medicines/exampol.toml"
    files = folder(medicines_exampol=text.encode())
    rows = list(to_rows(files))
    at = [one.name for one in rows].index("regimens")
    cells = dict(zip(rows[at].header, rows[at].rows[0], strict=True))
    rows[at] = rows[at]._replace(rows=(tuple({**cells, "age.from": "4 months", "dose": "16 mg/kg", "note": "New."}.values()),))
    content = plan(files, wanted(as_read(tuple(rows)), []), remove=False).files[name]
    before, after = parse(name, files[name])["regimen"][0], parse(name, content)["regimen"][0]
    assert after == {**before, "age": {"from": "4 months", "below": "12 years"}, "dose": "16 mg/kg", "note": "New."}
    assert content.count(b"\r\n") in (0, content.count(b"\n")) and content[:3] == files[name][:3]


def test_a_file_that_cannot_be_edited_is_left_to_a_person() -> None:
    """Entries in a row of braces: one can be changed, and a new one is refused in a sentence."""
    inline = INLINE.replace("\n", ", ")
    text = medicine(more="").replace(
        '\n[[ingredient]]\nid = "exampol"',
        f'ingredient = [{{ id = "exampol" }}]\nregimen = [{{ {inline}, weight = {{ below = "50 kg" }} }}]',
    )
    files = folder(medicines_exampol=text)
    rows = list(to_rows(files))
    at = [one.name for one in rows].index("regimens")
    (row,) = rows[at].rows
    rows[at] = rows[at]._replace(rows=(row, tuple(cell.replace("oral-child", "other") for cell in row)))
    with pytest.raises(DosecheckError, match="Edit it by hand"):
        plan(files, wanted(as_read(tuple(rows)), []), remove=False)


def test_removed_rows_are_told_and_removed_only_when_asked(tmp_path: Path) -> None:
    bench = Bench(tmp_path)
    bench.keep("regimens", slice(0, 1)).keep("bands", slice(0, 0))
    assert bench.bring() == [] and "by-band" in bench.text()
    said = dosecheck("formulary", "from-sheet", str(bench.sheet), "--into", str(bench.path))
    assert said.status == 0 and "These entries have no row" in said.out and "regimen by-band" in said.out
    assert bench.bring(remove=True) == ["medicines/exampol.toml: regimen by-band: removed"]
    assert [one["id"] for one in tomllib.loads(bench.text())["regimen"]] == ["oral-child"]


def test_the_order_of_rows_does_not_matter(tmp_path: Path) -> None:
    rows = list(to_rows(SHIPPED))
    for at, one in enumerate(rows):
        if one.name not in ("read me", "bands", "acceptances", "sheet list"):
            rows[at] = one._replace(rows=tuple(random.Random(1).sample(one.rows, len(one.rows))))
    assert plan(SHIPPED, wanted(as_read(tuple(rows)), []), remove=True)[:2] == ({}, ())


def test_a_corrected_date_keeps_the_entry(tmp_path: Path) -> None:
    bench = Bench(tmp_path)
    told = bench.set("regimens", 3, "valid_from", "2024-06-01").bring(remove=True)
    assert told == ["medicines/exampol.toml: regimen by-band valid_from: 2024-05-01 -> 2024-06-01"]


def test_local_files_sources_and_a_new_medicine(tmp_path: Path) -> None:
    local = 'medicine = "exampol"\nreason = "Ours."\n' + REGIMEN.replace("oral-child", "oral-ours").replace('["pain"]', '["fever"]')
    bench = Bench(tmp_path, local_ours=local)
    assert bench.of("local files").rows[0][:2] == ("local/ours.toml", "exampol")
    sources = bench.of("sources")
    bench.keep("sources", [*sources.rows, ("a-later-book", "Later", "Nobody", "2026", "", "secondary")])
    heads = bench.of("medicines")
    new = {"file": "medicines/otherol.toml", "id": "otherol", "name": "otherol", "status": "draft"}
    bench.keep("medicines", [*heads.rows, tuple(new.get(name, "") for name in heads.header)])
    parts = bench.of("ingredients")
    bench.keep("ingredients", [*parts.rows, tuple({"file": new["file"], "id": "otherol"}.get(name, "") for name in parts.header)])
    regimen = next(i for i, row in enumerate(bench.of("regimens").rows, 2) if row[0] == "local/ours.toml")
    bench.set("regimens", regimen, "max_daily", "3 g").bring()
    assert parse("", (bench.path / "local/ours.toml").read_bytes())["regimen"][0]["max_daily"] == ["3 g"]
    assert parse("", (bench.path / "sources.toml").read_bytes())["a-later-book"]["year"] == 2026
    assert Formulary(bench.path).medicine("otherol").name == "otherol"


def test_an_edited_figure_loses_its_approval(tmp_path: Path) -> None:
    """H11: the approval is carried through the sheet, and lapses with the figure."""
    bench = Bench(tmp_path)
    sign(bench.path)
    bench.write()
    bench.set("regimens", 2, "dose", "16 mg/kg")
    write(bench.rows, str(bench.sheet))
    said = dosecheck("formulary", "from-sheet", str(bench.sheet), "--into", str(bench.path))
    assert "approvals hold no more" in said.out and "regimen oral-child, checked by A. N. Other" in flat(said.out)
    assert not approvals(Formulary(bench.path))[0].approved


def test_nothing_is_written_where_a_fault_would_come_of_it(tmp_path: Path) -> None:
    bench = Bench(tmp_path)
    before = read_folder(bench.path)
    bench.set("regimens", 2, "min_gap", "4 huors").set("bands", 3, "dose", "120").set("products", 2, "form", "syrup")
    bench.set("policy", 2, "value", "ten").set("sources", 2, "year", "20245")
    with pytest.raises(InputError) as refused:
        bench.bring()
    told = {str(fault.field) for fault in refused.value.faults}
    assert {"regimens row 2, column min_gap", "bands row 3, column dose", "products row 2, column form"} <= told
    assert {"policy row 2, column value", "sources row 2, column year"} <= told
    assert read_folder(bench.path) == before


def test_an_older_sheet_is_refused_unless_forced(tmp_path: Path) -> None:
    bench = Bench(tmp_path)
    edited = bench.text().replace("120 mg in 5 mL", "250 mg in 5 mL")
    (bench.path / "medicines/exampol.toml").write_text(edited, "utf-8")
    with pytest.raises(InputError, match="Somebody edited it since"):
        bench.bring()
    assert bench.text() == edited
    assert len(bench.bring(force=True)) == 2 and "250 mg" not in bench.text()


def test_check_writes_nothing_and_says_so(tmp_path: Path) -> None:
    bench = Bench(tmp_path)
    before = read_folder(bench.path)
    bench.set("regimens", 2, "dose", "16 mg/kg")
    write(bench.rows, str(bench.sheet))
    said = dosecheck("formulary", "from-sheet", str(bench.sheet), "--into", str(bench.path), "--check")
    assert said.status == 1 and '"15 mg/kg" -> "16 mg/kg"' in flat(said.out) and "Nothing was written" in said.out
    assert read_folder(bench.path) == before


def test_a_place_that_cannot_be_written_leaves_all_as_it_was(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The second file fails: the first is put back."""
    from dosecheck.workshop import sheet_back

    bench = Bench(tmp_path, medicines_otherol=medicine("otherol", PRODUCT))
    before = read_folder(bench.path)
    bench.set("products", 2, "strength", "125 mg in 5 mL").set("products", 3, "strength", "125 mg in 5 mL")
    real = sheet_back.save

    def failing(path: str, content: bytes) -> None:
        if path.endswith("otherol.toml"):
            raise FileError(path, "No room.", "")
        real(path, content)

    monkeypatch.setattr(sheet_back, "save", failing)
    with pytest.raises(FileError, match="put back"):
        bench.bring()
    assert read_folder(bench.path) == before


def test_read_gives_what_write_wrote(tmp_path: Path) -> None:
    rows = to_rows(SHIPPED)
    for out in ("s.xlsx", "csv"):
        write(rows, str(tmp_path / out))
        sheets, faults = read(str(tmp_path / out))
        assert not faults
        assert {one.name: [row for _, row in one.rows] for one in sheets} == {one.name: [one.header, *one.rows] for one in rows}
