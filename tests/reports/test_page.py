"""The page and the PDF: marked across, one A4 page, headings and labels, nothing parted, nothing asked of the net, no script run."""

from __future__ import annotations

import re
import shutil
import tomllib
import zlib
from html.parser import HTMLParser
from pathlib import Path

import pytest

from dosecheck import Child, DosecheckError, Formulary, InputError
from dosecheck.formulary.approvals import standings
from dosecheck.reports import pdf
from dosecheck.reports.page import to_html
from dosecheck.reports.sheet import ASK, MADE, MARK, NOTHING, Sheet, make_sheet

FOLDER = Path(__file__).parents[2] / "formulary"
REAL = Formulary(FOLDER)
LONGEST = "W" * 40
A_CHILD = {"weight": "14.2 kg", "weight_is": "measured", "weighed": "2026-05-04", "age": "3 years 2 months", "on": "2026-05-04"}


def sheet(reference: str | None = "SM-001", formulary: Formulary = REAL, **changes: str | None) -> Sheet:
    texts = {name: text for name, text in {**A_CHILD, **changes}.items() if text}
    return make_sheet(reference, Child(**texts), formulary)


class Tags(HTMLParser):
    """The tags of a page, in order, with their attributes; and its text."""

    def __init__(self, html: str) -> None:
        super().__init__()
        self.tags: list[tuple[str, dict[str, str | None]]] = []
        self.text = ""
        self.feed(html)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append((tag, dict(attrs)))

    def handle_data(self, data: str) -> None:
        self.text += data

    def named(self, tag: str) -> list[dict[str, str | None]]:
        return [attrs for name, attrs in self.tags if name == tag]


# ---- who it is for ----


def test_h31_the_sheet_heads_with_reference_age_and_weight() -> None:
    head = to_html(sheet()).partition("</header>")[0]
    for text in ("SM-001", "3 years 2\u00a0months".replace(" y", "\u00a0y"), "14.2\u00a0kg", "measured on 2026-05-04", "36th to 50th"):
        assert text in head, text


def test_h14_an_estimated_weight_is_marked_large_and_first() -> None:
    found = sheet(weight_is="estimated", weighed=None)
    page = to_html(found)
    assert found.outcome == ASK
    assert 'class="big guess">estimated<' in page
    assert page.index("Look at this first") < page.index("The weight is estimated, not measured.") < page.index("Heart has stopped")


def test_h14_an_old_weight_is_first_too() -> None:
    assert any("days old" in doubt for doubt in sheet(weighed="2025-05-04").doubts)


def test_h14_a_weight_of_untold_kind_says_so() -> None:
    found = sheet(weight_is=None, weighed=None)
    assert "how it was got is not told, without a date" in to_html(found)
    assert "Whether the weight was measured is not told." in found.notes


@pytest.mark.parametrize("weight, hint", [("142 kg", "14.2 kg"), ("31.3 kg", "14.2"), ("1.42 kg", "14.2 kg")])
def test_h03_a_weight_hard_to_believe_is_first_and_large(weight: str, hint: str) -> None:
    """H03: pounds as kilograms, and a lost point; the sheet is made, marked, and says what would fit."""
    found = sheet(weight=weight)
    page = to_html(found)
    assert found.outcome == ASK
    assert f"{weight} is hard to believe at 3 years 2 months" in found.doubts[0] and hint in found.doubts[0]
    assert page.index('class="doubts"') < page.index('class="child"')


@pytest.mark.parametrize("weight, age", [("31.3 kg", "3 years 2 months"), ("31.3 lb", "9 years 3 months")])
def test_a_doubt_about_the_child_is_told_once_with_the_weight_as_told(weight: str, age: str) -> None:
    found = sheet(weight=weight, age=age, weight_is="stated")
    assert len(found.doubts) == 2 and any(doubt.startswith(weight) for doubt in found.doubts)
    assert not any("hard to believe" in doubt for row in found.rows for doubt in row.doubts)
    assert not any(doubt in row.doubts for row in found.rows for doubt in found.doubts)


@pytest.mark.parametrize("missing, why", [("weight", "none is guessed here"), ("age", "It is missing."), ("on", "date of the sheet")])
def test_what_a_sheet_cannot_do_without(missing: str, why: str) -> None:
    changes = {missing: None, "weighed": None} if missing == "on" else {missing: None}
    with pytest.raises(InputError) as error:
        sheet(**changes)
    assert [fault.field for fault in error.value.faults] == [missing] and why in str(error.value)


@pytest.mark.parametrize("reference", [None, "", "  ", "W" * 41, "a\u202eb", "a\x00b", "a\nb", "a\u200bb", 7])
def test_a_reference_that_hides_or_fills_the_page_is_refused(reference: str | None) -> None:
    with pytest.raises(InputError) as error:
        sheet(reference)
    assert [fault.field for fault in error.value.faults] == ["child"]
    assert all(char.isprintable() for char in str(error.value))


@pytest.mark.parametrize(
    "reference", ["<script>alert(1)</script>", '"><img src=x onerror=a()>', "{{ 7*7 }}", "</style><b>", "אבג-12", "a&b"]
)
def test_a_hostile_reference_stands_as_text(reference: str) -> None:
    page = Tags(to_html(sheet(reference)))
    usual = Tags(to_html(sheet()))
    assert reference in page.text
    assert [tag for tag, _ in page.tags] == [tag for tag, _ in usual.tags]


# ---- the page ----


def test_the_page_asks_nothing_of_the_net_and_runs_nothing() -> None:
    html = to_html(sheet())
    page = Tags(html)
    assert not {"script", "img", "link", "iframe", "object", "form", "svg"} & {tag for tag, _ in page.tags}
    assert not any(name in ("src", "href", "style") or name.startswith("on") for _, attrs in page.tags for name in attrs)
    assert "url(" not in html and "@import" not in html and "http" not in html.replace("http-equiv", "")
    assert any("default-src 'none'" in (attrs.get("content") or "") for attrs in page.named("meta"))


def test_headings_labels_and_tables_are_real() -> None:
    page = Tags(to_html(sheet()))
    assert page.named("html")[0]["lang"] == "en-GB"
    assert len(page.named("h1")) == 1
    assert len(page.named("h2")) == len(REAL.sheet()) + 1
    rows = [attrs for attrs in page.named("th") if attrs["scope"] == "row"]
    assert len(rows) == len(sheet().rows)
    assert {attrs["scope"] for attrs in page.named("th")} == {"row", "col"}


def test_h32_no_amount_is_parted_from_its_unit() -> None:
    """H32: everywhere between a digit and the letters of a unit stands a hard space."""
    body = to_html(sheet()).partition("<body>")[2].partition("<footer>")[0]
    assert not re.search(r"[0-9] (?:mg|mL|micrograms|kg|mm|cm|J|g|hours|minutes|puffs|mmol)\b", re.sub(r"\[[^\]]*\]|<[^>]*>", "", body))


def test_words_and_shapes_come_before_colour() -> None:
    """The style has only greys: nothing is told by a colour."""
    style = to_html(sheet()).partition("<style>")[2].partition("</style>")[0]
    colours = re.findall(r"#([0-9a-f]{3,6})\b", style)
    assert len(colours) > 10 and all(len(set(re.findall("." * (len(colour) // 3), colour))) == 1 for colour in colours)
    assert "▲ Ask first" in to_html(sheet(weight="92 kg", age="15 years"))
    assert "■ No dose here" in to_html(sheet(weight="3.1 kg", age="20 days", gestation="40 weeks"))


def test_light_dark_and_narrow_screens_have_their_rules() -> None:
    style = to_html(sheet())
    assert all(rule in style for rule in ("prefers-color-scheme: dark", "max-width: 30rem", "@page { size: A4", "width=device-width"))


def test_the_source_of_every_figure_stands_on_the_page() -> None:
    found = sheet()
    page = Tags(to_html(found))
    assert len(page.named("li")) and all(source in page.text for source in found.sources)
    assert all(row.sources and found.cited(row).strip("[]") for row in found.rows if not row.why_not)
    assert found.formulary["fingerprint"] in page.text and "the prescriber decides" in page.text


# ---- the mark ----


def folder_with(tmp_path: Path, status: str, *but: str) -> Formulary:
    """A copy in which every medicine of the sheet is approved (and checked by somebody), `but` the named ones."""
    folder = tmp_path / "formulary"
    shutil.copytree(FOLDER, folder)
    for file in (folder / "medicines").glob("*.toml"):
        if file.stem not in but:
            file.write_text(re.sub(r'(?m)^status( *)= "example"', rf'status\1= "{status}"', file.read_text("utf-8")), "utf-8")
            if status == "approved":
                sign(file)
    return Formulary(folder)


def sign(file: Path) -> None:
    """Two people have checked every entry: `checked` as the command writes it, one line under each header."""
    signed = iter(standings(tomllib.loads(file.read_text("utf-8"), parse_float=str)))
    checks = {
        (one.kind, one.id): ", ".join(f'{{ by = "{name}", on = 2026-01-01, figures = "{one.figures}" }}' for name in "AB") for one in signed
    }
    text, kind = "", "medicine"
    for line in file.read_text("utf-8").splitlines(keepends=True):
        header = re.match(r"\[\[(product|regimen|age_limit|daily_band)\]\]$", line)
        kind = header.group(1) if header else "" if line.startswith("[") else kind
        own = re.match(r'id *= "([^"]*)"', line)
        text += line + (f"checked = [{checks[kind, own.group(1)]}]\n" if own and kind else "")
    file.write_text(text, "utf-8")


def test_the_mark_stands_across_page_and_pdf_until_all_is_approved() -> None:
    found = sheet()
    page = to_html(found)
    assert found.mark == MARK == "Example - not for clinical use"
    assert page.count(MARK) == 2 and 'class="across" aria-hidden="true"' in page
    assert "No medicine on this sheet has been approved" in page


def test_one_medicine_that_is_not_approved_keeps_the_mark_and_is_named(tmp_path: Path) -> None:
    found = sheet(formulary=folder_with(tmp_path, "approved", "morphine"))
    assert found.mark and found.status == "Not approved by a pharmacist: medicines/morphine.toml (example)."


def test_an_approved_formulary_has_no_mark(tmp_path: Path) -> None:
    found = sheet(formulary=folder_with(tmp_path, "approved"))
    assert (found.mark, found.status, found.outcome) == ("", "", MADE)
    assert 'class="across"' not in to_html(found) and 'class="mark"' not in to_html(found)


def test_a_draft_keeps_the_mark(tmp_path: Path) -> None:
    assert sheet(formulary=folder_with(tmp_path, "draft")).mark == MARK


# ---- paper ----


def opened(content: bytes) -> bytes:
    """The PDF with its compressed parts laid open."""
    for part in re.finditer(rb"stream\r?\n(.*?)\r?\nendstream", content, re.S):
        try:
            content += zlib.decompress(part.group(1))
        except zlib.error:
            continue
    return content


@pytest.mark.parametrize(
    "changes",
    [
        {},
        {"weight": "3.1 kg", "age": "20 days"},
        {"weight": "120 kg", "age": "17 years", "weight_is": "estimated", "weighed": None},
        {"weight": "31.3 lb", "age": "9 years 3 months", "height": "96 cm", "sex": "female", "gestation": "31 weeks 4 days"},
        {"weight": "70 kg", "age": "40 years"},
    ],
)
@pytest.mark.usefixtures("pango")
def test_the_pdf_is_one_a4_page_also_with_a_long_name(changes: dict[str, str | None]) -> None:
    content = opened(pdf.to_pdf(sheet(LONGEST, **changes)))
    assert content.startswith(b"%PDF-") and len(re.findall(rb"/Type ?/Page\b", content)) == 1
    width, height = (float(number) for number in re.search(rb"/MediaBox ?\[0 0 ([0-9.]+) ([0-9.]+)\]", content).groups())
    assert (round(width), round(height)) == (595, 842)
    assert b"pdfuaid" in content and b"/Lang (en-GB)" in content


@pytest.mark.usefixtures("pango")
def test_a_list_too_long_for_a_page_is_refused(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(pdf, "SIZES", ("30",))
    with pytest.raises(DosecheckError, match="Leave lines out of sheet"):
        pdf.to_pdf(sheet())


def test_without_the_library_one_sentence_says_what_to_install(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(__import__("sys").modules, "weasyprint", None)
    with pytest.raises(DosecheckError, match=r'pip install "dosecheck\[pdf\]"'):
        pdf.to_pdf(sheet())


# ---- outside the figures ----


def test_h34_a_grown_up_gets_no_medicine() -> None:
    """H34: no regimen of a child is stretched; only what goes by weight alone is there."""
    found = sheet(weight="70 kg", age="40 years")
    assert all(row.why_not for row in found.rows if not row.is_sum)


def test_nothing_reckoned_is_not_called_a_sheet(tmp_path: Path) -> None:
    shutil.copytree(FOLDER, tmp_path / "f")
    (tmp_path / "f" / "sheet.toml").write_text('[[section]]\ntitle = "Airway"\nlines = [{ sum = "tube-size" }]\n', "utf-8")
    assert sheet(formulary=Formulary(tmp_path / "f"), age="1 year", weight="10 kg").outcome == NOTHING


def test_h34_a_preterm_baby_is_asked_about() -> None:
    found = sheet(weight="2.1 kg", age="10 days", gestation="31 weeks")
    assert found.outcome == ASK
    assert any("does not say that it is meant for a preterm baby" in doubt for row in found.rows for doubt in row.doubts)


def test_the_review_date_that_has_passed_is_told_of_an_approved_formulary_too(tmp_path: Path) -> None:
    folder = Path(folder_with(tmp_path, "approved").folder)
    policy = folder / "policy.toml"
    text = re.sub(r"(?m)^\[review_by\]\n(?:.+\n)*", "", policy.read_text("utf-8"))
    policy.write_text(f'{text}\n[review_by]\nvalue = 2026-01-01\nreason = "r"\n', "utf-8")
    page = to_html(sheet(formulary=Formulary(folder)))
    assert "due for review on 2026-01-01" in page.partition("</header>")[0] and MARK not in page
