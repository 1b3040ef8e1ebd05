"""`dosecheck formulary book`: what is written, what is said, what is refused."""

from __future__ import annotations

import json
import shutil
from pathlib import Path

import pytest
from cli.door import FOLDER, dosecheck, flat

ON = ("--on", "2026-05-04")


def book(*args: str):
    return dosecheck("formulary", "book", *args)


def test_a_page_is_written_and_told_of(tmp_path: Path) -> None:
    """The same formulary and date give the same bytes; another date another page."""
    first, again, later = (tmp_path / f"{name}.html" for name in ("first", "again", "later"))
    said = book(str(FOLDER), "--out", str(first), *ON)
    assert said.status == 0 and said.err == "" and "Not for clinical use" in said.out and "fingerprint" in said.out
    assert max(map(len, said.out.splitlines())) <= 80 or str(FOLDER) in said.out
    assert book(str(FOLDER), "--out", str(again), *ON).status == 0
    assert book(str(FOLDER), "--out", str(later), "--on", "2026-05-05").status == 0
    assert first.read_bytes() == again.read_bytes() != later.read_bytes()
    assert "2026-05-04" in first.read_text("utf-8").partition("</header>")[0]


def test_json_tells_the_same(tmp_path: Path) -> None:
    out = tmp_path / "b.html"
    told = json.loads(book(str(FOLDER), "--out", str(out), "--medicine", "zinc", "--medicine", "acetaminophen", "--json", *ON).out)
    assert told["medicines"] == ["paracetamol", "zinc"] and told["on"] == "2026-05-04" and told["written"] == str(out)
    assert told["regimens"] > 10 and told["formulary"]["fingerprint"] in out.read_text("utf-8")


@pytest.mark.usefixtures("pango")
def test_a_pdf_is_written(tmp_path: Path) -> None:
    out = tmp_path / "b.pdf"
    assert book(str(FOLDER), "--out", str(out), "--medicine", "sucrose", *ON).status == 0
    assert out.read_bytes().startswith(b"%PDF-")


REFUSED = [
    (("--out", "b.docx"), 'A book cannot end in ".docx"'),
    (("--out", "b.html", "--medicine", "paracetamal"), "Did you mean paracetamol?"),
    (("--out", "b.html", "--on", "4/5/2026"), "on"),
    (("--out", "b.html", "--on", "2026-02-30"), "2026-02-30"),
    (("--out", "no/such/folder/b.html", "--medicine", "zinc"), "cannot be written"),
    ((), "--out"),
]


@pytest.mark.parametrize(("args", "why"), REFUSED)
def test_what_is_refused_leaves_nothing(args: tuple[str, ...], why: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    said = book(str(FOLDER), *args)
    assert said.status == 2 and why in flat(said.err + said.out)
    assert list(tmp_path.iterdir()) == []


def test_a_formulary_that_does_not_load_makes_no_book(tmp_path: Path) -> None:
    folder = tmp_path / "f"
    shutil.copytree(FOLDER, folder)
    file = folder / "medicines" / "zinc.toml"
    file.write_text(file.read_text("utf-8").replace("id ", "idd ", 1), "utf-8")
    said = book(str(folder), "--out", str(tmp_path / "b.html"))
    assert said.status == 2 and "zinc.toml" in said.err + said.out
    assert not (tmp_path / "b.html").exists()
    assert book(str(tmp_path / "nowhere"), "--out", str(tmp_path / "b.html")).status == 2
