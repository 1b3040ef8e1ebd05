"""The book: everything of the formulary stands in it, every dose by weight is that of an independent reckoning, nothing of
the formulary can become markup, and the page and the PDF are what they promise."""

from __future__ import annotations

import re
import shutil
import tomllib
import xml.etree.ElementTree as ET
from collections.abc import Iterator
from datetime import date
from fractions import Fraction
from functools import cache
from itertools import pairwise
from pathlib import Path

import oracle_words as words
import pytest
from reports.test_page import Tags, opened

from dosecheck import Child, Formulary, InputError, Order
from dosecheck.printing.pdf import to_pdf
from dosecheck.reports.book import MARK, Book, make_book
from dosecheck.reports.book_page import to_html
from dosecheck.reports.book_weights import DASH
from dosecheck.rules.reckon import reckon
from dosecheck.workshop.approve import approve

FOLDER = Path(__file__).parents[2] / "formulary"
REAL = Formulary(FOLDER)
ON = date(2026, 5, 4)
FILES = [tomllib.loads(path.read_text("utf-8"), parse_float=str) for path in sorted((FOLDER / "medicines").glob("*.toml"))]


@cache
def whole() -> Book:
    return make_book(REAL, ON)


@cache
def page() -> str:
    return to_html(whole())


@cache
def read() -> Tags:
    return Tags(page())


def plain(text: str) -> str:
    return " ".join(text.replace("\u00a0", " ").split())


def of(medicine: str) -> str:
    return page().partition(f'<article id="medicine-{medicine}">')[2].partition("</article>")[0]


# ---- nothing is left out ----


@pytest.mark.parametrize("raw", FILES, ids=[raw["id"] for raw in FILES])
def test_everything_of_a_file_stands_in_its_chapter(raw: dict) -> None:
    """Ids, names, sources' places, notes, questions, bands, conditions, dates: read from the TOML, not from the program."""
    text = plain(Tags(of(raw["id"])).text)
    entries = [entry for kind in ("product", "regimen", "age_limit", "daily_band") for entry in raw.get(kind, [])]
    wanted = [raw["name"], *raw.get("aliases", []), raw["status"], raw.get("note", "")]
    for entry in entries:
        wanted += [entry.get("note", ""), entry.get("source", {}).get("place", "")]
    for entry in raw.get("regimen", []):
        wanted += [entry["id"], entry["route"], entry.get("rounding", ""), str(entry["valid_from"])]
        wanted += [*entry["for"], *entry.get("conditions", []), *entry.get("ask_first", [])]
        wanted += [
            row["dose"] for row in (entry, *entry.get("band", [])) if isinstance(row.get("dose"), str) and "a day" not in row["dose"]
        ]
        wanted += [
            end for row in (entry, *entry.get("band", [])) for key in ("age", "weight", "gestation") for end in row.get(key, {}).values()
        ]
        wanted += [entry["max_daily"]["none"]] if isinstance(entry.get("max_daily"), dict) else []
    for entry in raw.get("product", []):
        wanted += [entry["id"], entry["name"], entry["form"], *entry["routes"], *(step["step"] for step in entry.get("measure", []))]
    for entry in raw.get("daily_band", []):
        wanted += [*entry.get("devices", []), *entry["age"].values()]
    for item in wanted:
        assert _as_shown(plain(item)) in text, item


def _as_shown(text: str) -> str:
    """Thousands parted, as every amount is shown."""
    return re.sub(r"^(\d+)(\d{3})(?= \w+(?:/|$))", r"\1,\2", text) if re.match(r"\d{4}", text) else text


def test_each_medicine_has_a_page_and_each_name_a_line_in_the_index() -> None:
    index = page().partition('<section id="names">')[2]
    assert [chapter.medicine.id for chapter in whole().chapters] == sorted(raw["id"] for raw in FILES)
    for raw in FILES:
        for name in (raw["name"], *raw.get("aliases", [])):
            assert re.search(rf">{re.escape(raw['name'])}</a>", index) and name.lower() in index.lower(), name
    assert len(re.findall(r"<article ", page())) == len(FILES)


def test_every_link_of_the_book_leads_somewhere() -> None:
    ids = [attrs["id"] for _, attrs in read().tags if "id" in attrs]
    assert len(ids) == len(set(ids))
    assert all(attrs["href"][1:] in ids for attrs in read().named("a") if attrs["href"].startswith("#"))


def test_the_policy_stands_with_its_reasons() -> None:
    text = plain(read().text)
    for key, line in tomllib.loads((FOLDER / "policy.toml").read_text("utf-8")).items():
        assert key.replace("_", " ") in text and plain(line["reason"]) in text, key


def test_what_is_not_approved_is_loud_and_high_risk_is_in_words() -> None:
    for raw in FILES:
        head = of(raw["id"]).partition("<dl")[0]
        assert ('Status "' + raw["status"] + '": not for clinical use' in head.replace("&#34;", '"')) == (raw["status"] != "approved")
        assert ("HIGH RISK" in head) == bool(raw.get("high_risk"))
    assert whole().mark == MARK and MARK in page().partition("</header>")[0]


# ---- doses by weight ----


def own(text: str) -> Fraction:
    """A shown amount, in the oracle's units."""
    number, _, unit = text.replace(",", "").partition(" ")
    return words.amount(f"{number} {unit}").number


def spans(text: str) -> tuple[Fraction, Fraction]:
    low, _, high = text.rpartition(" to ")
    unit = high.split(" ")[1]
    return (own(low if " " in low else f"{low} {unit}") if low else own(high)), own(high)


def simple(raw: dict) -> Iterator[dict]:
    """Regimens of one line per dose, by the kilogram or fixed, whose one dose only single maxima bound."""
    for entry in raw.get("regimen", []):
        dose = entry.get("dose")
        texts = dose.values() if isinstance(dose, dict) else [dose]
        usual = dose and not any(part in text for text in texts for part in ("m2", "/min", "/h"))
        if usual and "high" in (dose if isinstance(dose, dict) else ("high",)) and entry.get("per") != "day" and "floor" not in entry:
            yield entry


def maxima(entry: dict, weight: Fraction) -> list[Fraction]:
    """What single and daily maxima leave for one dose, at the fewest doses a day that are listed (one, if none is)."""
    count = min(int(n) for n in entry.get("doses_a_day", [1]))
    daily = entry.get("max_daily", [])
    shares = [(text, 1) for text in entry.get("max_single", [])] + [(text, count) for text in (daily if isinstance(daily, list) else [])]
    return [_at(words.amount(text), weight) / share for text, share in shares]


def reckoned(entry: dict, weight: Fraction) -> tuple[Fraction, Fraction]:
    """(low, high) of one dose, straight from the file."""
    dose = entry["dose"]
    ends = [dose["low"] if "low" in dose else dose["high"], dose["high"]] if isinstance(dose, dict) else [dose, dose]
    sized = [_at(words.amount(text), weight) for text in ends]
    most = min([sized[1], *maxima(entry, weight)])
    return min(sized[0], most), most


def _at(amount: words.Amount, weight: Fraction) -> Fraction:
    return amount.number * (weight if "kg" in amount.below else 1)


def enough(entry: dict, weight: Fraction) -> Fraction:
    """The least that is worth measuring: the low end (a single figure less 10 %), or 90 % of the maximum that holds the dose."""
    dose, nearly = entry["dose"], Fraction(9, 10)
    if isinstance(dose, dict) and "low" not in dose:
        return Fraction(0)
    low = _at(words.amount(dose["low"]), weight) if isinstance(dose, dict) else _at(words.amount(dose), weight) * nearly
    return min([low, *(most * nearly for most in maxima(entry, weight))])


def measurable(product: dict, dose: Fraction, least: Fraction) -> tuple[Fraction, Fraction] | None:
    """(how much, the dose in it): the most that the steps give at or below the dose; only for one ingredient by volume or count."""
    strength = words.strength(product["strength"])
    share = dose / strength.number
    if "volume" in strength.below:
        fitting = [step for step in product["measure"] if "up_to" not in step or share <= words.amount(step["up_to"]).number]
        size = words.amount(fitting[0]["step"]).number if fitting else share * 2
    else:
        size = Fraction(1, product.get("divides", 1))
    given = share // size * size
    return (given, given * strength.number) if given and given * strength.number >= least else None


CASES = [(raw, entry) for raw in FILES for entry in simple(raw)]


@pytest.mark.parametrize(("raw", "entry"), CASES, ids=[f"{raw['id']}-{entry['id']}" for raw, entry in CASES])
def test_each_dose_by_weight_is_that_of_the_file(raw: dict, entry: dict) -> None:
    """The whole table again, in Fractions, from the TOML: the dose, what is measured, and the dose in that."""
    chapter = next(c for c in whole().chapters if c.medicine.id == raw["id"])
    shown = next(e for e in chapter.entries if e.id == entry["id"] and e.from_ == entry["valid_from"])
    products = {product["name"]: product for product in raw.get("product", [])}
    (table,) = shown.weights.tables
    by_weight = any("/kg" in str(entry.get(key, "")) for key in ("dose", "max_single", "max_daily"))
    for line in (line for group in table.groups for line in group.lines):
        weight = words.kilograms(line.who) if by_weight else Fraction(10)
        assert spans(line.dose.removeprefix("at most ")) == reckoned(entry, weight), line
        for name, volume in zip(table.products, line.volumes, strict=True):
            if "strength" in products[name] and len(raw["ingredient"]) == 1:
                found = measurable(products[name], reckoned(entry, weight)[1], enough(entry, weight))
                assert (None if volume == DASH else tuple(map(own, volume.split(" = ")))) == found, (line, name)


def test_most_tables_are_held_against_the_independent_reckoning() -> None:
    """So that a change of the formulary's grammar does not silently empty the test above."""
    assert len(CASES) > 0.6 * sum(len(raw.get("regimen", [])) for raw in FILES)
    held = [
        line.binds
        for c in whole().chapters
        for e in c.entries
        for t in e.weights.tables
        for g in t.groups
        for line in g.lines
        if line.binds
    ]
    assert len(held) > 50 and all(text.startswith(("single maximum", "daily maximum", "smallest dose")) for text in held)


LIKE_DOSE = [
    ("paracetamol", "oral-pain-child", {"route": "oral", "for_": "pain", "once": True}, "8 years", ("20 kg", "25 kg", "30 kg")),
    (
        "ceftriaxone",
        "intravenous-typhoid-child",
        {"route": "intravenous", "for_": "typhoid fever", "condition": ("second line",), "once": True},
        "14 years",
        ("40 kg", "50 kg", "60 kg"),
    ),
    ("paracetamol", "oral-pain-child", {"route": "oral", "for_": "pain", "once": True}, "15 years", ("60 kg", "70 kg", "80 kg")),
    ("ibuprofen", None, {"route": "oral", "for_": "pain", "once": True}, "6 years", ("20 kg", "25 kg")),
    ("fentanyl", "intranasal-pain-child", {"route": "intranasal", "for_": "pain", "once": True}, "12 years", ("40 kg", "50 kg", "60 kg")),
    ("gentamicin", None, {"route": "intravenous", "for_": "severe infection", "once": True}, "5 years", ("15 kg", "20 kg")),
    ("co-trimoxazole", "oral-urinary-child", {"route": "oral", "for_": "urinary infection"}, "5 years", ("15 kg", "20 kg")),
]


@pytest.mark.parametrize(("name", "regimen", "asked", "age", "weights"), LIKE_DOSE)
def test_each_dose_is_what_the_dose_command_says(name: str, regimen: str | None, asked: dict, age: str, weights: tuple[str, ...]) -> None:
    """Dose and measured amounts, text by text, against the JSON of `dosecheck dose` for a child of that age and weight."""
    chapter = next(c for c in whole().chapters if c.medicine.id == name)
    compared = 0
    for weight in weights:
        answer = reckon(Order(medicine=name, **asked), Child(weight=weight, age=age), REAL).as_dict()
        for figures in answer["figures"]:
            entry = next(e for e in chapter.entries if e.id == figures["regimen"].partition(", band")[0])
            for table in entry.weights.tables if regimen in (None, entry.id) else ():
                lines = [line for group in table.groups for line in group.lines if line.who == weight]
                if " a day" in table.caption and f"in {figures['doses_a_day']} dose" not in table.caption:
                    continue
                for line in lines:
                    assert spans(line.dose)[1] == own(figures["high"])
                    measured = {p["product"]: f"{p['measured']} = {p['dose']}" for p in figures["products"] if p["measured"]}
                    ids = {p.name: p.id for p in chapter.medicine.products}
                    assert {ids[n]: v for n, v in zip(table.products, line.volumes, strict=True) if v != DASH} == measured
                    compared += 1
    assert compared >= (len(weights) if regimen else 1)


# ---- safe writing, safe page ----


def test_h32_no_number_is_written_unsafely() -> None:
    """H08, H32: no trailing zero, naked point, abbreviated microgram; amounts are whole."""
    text = read().text.partition("Sources\n")[0]
    shown = re.sub(r"20\d\d-\d\d-\d\d|[Tt]able \S+|section \S+|A\d\.\d", "", text)
    assert not re.search(r"\d\.\d*0(?!\d)(?=\u00a0[a-z])", shown)
    assert not re.search(r"(?<![\d.])\.\d", shown)
    assert not re.search(r"\bmcg\b|\u00b5g|\u03bcg|\d\u00a0(?:ug|U|IU)\b", shown)
    assert not re.search(r"\d(?:mg|mL|kg|micrograms|g)\b", shown)


def test_h32_no_amount_is_parted_from_its_unit() -> None:
    unit = r"(?:mg|mL|micrograms|kg|mmol|units|hours|months|years)\b"
    tables = re.sub(r"<svg.*?</svg>", "", page().partition('<div id="medicines">')[2].partition('<section id="sources">')[0], flags=re.S)
    cells = re.findall(r"<(?:td|th|li)[^>]*>(.*?)</(?:td|th|li)>", tables, re.S)
    assert len(cells) > 3000
    assert not [
        cell for cell in cells if re.search(rf"[0-9] {unit}", re.sub(r"<small>.*?</small>|<[^>]*>", "", cell)) and "<a " not in cell
    ]


def test_the_page_asks_nothing_of_the_net_and_runs_nothing() -> None:
    """Only the list of sources leads out, and only to pages."""
    before, _, sources = page().partition('<section id="sources">')
    assert not {"script", "img", "link", "iframe", "object", "form", "use", "image"} & {tag for tag, _ in read().tags}
    assert not any(name in ("src", "style") or name.startswith("on") for _, attrs in read().tags for name in attrs)
    assert "http" not in before.replace("http-equiv", "").replace("http://www.w3.org/2000/svg", "")
    assert re.findall(r"url\((?!#)", page()) == [] and "@import" not in page()
    links = re.findall(r'href="(http[^"]*)"', sources)
    assert len(links) > 50 and len(page().encode()) < 3_000_000


def test_the_page_is_for_keyboard_ear_light_dark_and_narrow() -> None:
    assert read().named("html")[0]["lang"] == "en-GB" and len(read().named("h1")) == 1
    levels = [int(tag[1]) for tag, _ in read().tags if re.fullmatch("h[1-6]", tag)]
    assert all(after <= before + 1 for before, after in pairwise(levels))
    assert all(attrs.get("scope") in ("row", "col", "rowgroup") for attrs in read().named("th"))
    assert len([a for _, a in read().tags if a.get("tabindex") == "0"]) == len(read().named("caption"))
    assert all(
        rule in page() for rule in ("prefers-color-scheme: dark", "max-width: 40rem", "size: A4", "target-counter", "width=device-width")
    )
    style = page().partition("<style>")[2].partition("</style>")[0]
    assert all(len(set(re.findall("." * (len(c) // 3), c))) == 1 for c in re.findall(r"#([0-9a-f]{3,6})\b", style))


def test_each_picture_is_whole_and_told_in_words() -> None:
    pictures = re.findall(r"<svg.*?</svg>", page(), re.S)
    assert len(pictures) > 100
    for picture in pictures:
        root = ET.fromstring(picture)
        named = {element.get("id"): element.text for element in root.iter() if element.get("id")}
        title, desc = (named[key] for key in root.get("aria-labelledby").split())
        assert title.endswith("dose against weight") and "Most for one dose" in desc
        assert "STOP" in "".join(root.itertext()) and root.get("role") == "img"


# ---- a changed formulary ----

HOSTILE = "<script>alert(1)</script><b onclick=x>&lt;\"'</b>{{ 7*7 }}</style>"


def changed(tmp_path: Path, **edits: str) -> Formulary:
    """A copy with the paracetamol file edited: text to put in place of text."""
    folder = tmp_path / "formulary"
    shutil.copytree(FOLDER, folder)
    file = folder / "medicines" / "paracetamol.toml"
    text = file.read_text("utf-8")
    for old, new in edits.items():
        assert old in text
        text = text.replace(old, new)
    file.write_text(text, "utf-8")
    return Formulary(folder)


def test_a_hostile_text_stands_as_text(tmp_path: Path) -> None:
    """Notes, questions, places, a product's name and a source's title and address."""
    usual = to_html(make_book(REAL, ON, ("paracetamol",)))
    edits = {"The source says infant or child and gives no upper age; 18 years is this file's end.": HOSTILE.replace('"', "'")}
    edits |= {"Under 3 months only on a doctor's advice.": HOSTILE.replace('"', "'"), "suppository 250 mg": "<i>supp</i>"}
    edits |= {"annex 1, A1.8, infant or child": "</a><img src=x>"}
    folder = Path(changed(tmp_path, **edits).folder)
    sources = folder / "sources.toml"
    text = sources.read_text("utf-8")
    title = re.search(r'(?s)\[who-child-pain-2012\]\ntitle +(= ".*?")', text).group(1)
    sources.write_text(text.replace(title, "= '<svg onload=alert(1)>'"), "utf-8")
    hostile = Tags(to_html(make_book(Formulary(folder), ON, ("paracetamol",))))
    assert [tag for tag, _ in hostile.tags if tag != "span"] == [tag for tag, _ in Tags(usual).tags if tag != "span"]
    assert "<script>alert(1)</script>" in hostile.text and "<svg onload=alert(1)>" in hostile.text


def test_what_is_checked_changed_or_superseded_says_so(tmp_path: Path) -> None:
    newer = '[[regimen]]\nid         = "oral-pain-neonate"\nvalid_from = 2026-06-01\n'
    formulary = changed(
        tmp_path,
        **{
            '[[regimen]]\nid         = "oral-pain-neonate"\nvalid_from = 2012-01-01\n': newer
            + REST
            + '\n[[regimen]]\nid         = "oral-pain-neonate"\nvalid_from = 2012-01-01\n'
        },
    )
    approve(formulary, "paracetamol", "A. N. Other", date(2026, 5, 1), ON)
    formulary = Formulary(formulary.folder)
    before, after = (plain(Tags(to_html(make_book(formulary, on, ("paracetamol",)))).text) for on in (ON, date(2026, 7, 1)))
    assert "Not yet in force: from 2026-06-01." in before and "No longer in force" not in before
    assert "No longer in force: superseded from 2026-06-01." in after
    assert "checked by A. N. Other on 2026-05-01" in before and ", last on 2026-05-01" in before
    file = Path(formulary.folder) / "medicines" / "paracetamol.toml"
    file.write_text(file.read_text("utf-8").replace('dose       = "15 mg/kg"', 'dose       = "14 mg/kg"', 1), "utf-8")
    assert "CHANGED since A. N. Other checked it" in to_html(make_book(Formulary(formulary.folder), ON, ("paracetamol",)))


REST = """route      = "oral"
for        = ["pain", "fever"]
age        = { below = "1 month" }
dose       = "9 mg/kg"
min_gap    = "6 hours"
max_doses  = 4
max_daily  = { none = "the number of doses is limited instead" }
source     = { id = "who-child-pain-2012", place = "annex 1" }
"""


def test_an_overdue_review_is_told_in_front() -> None:
    assert "due for review on 2027-12-31" in to_html(make_book(REAL, date(2028, 1, 1), ("zinc",))).partition("</header>")[0]
    assert "due for review" not in to_html(make_book(REAL, ON, ("zinc",))).partition("</header>")[0]


def test_some_medicines_alone_and_unknown_ones_all_at_once() -> None:
    book = make_book(REAL, ON, ("acetaminophen", "zinc", "paracetamol"))
    assert [chapter.medicine.id for chapter in book.chapters] == ["paracetamol", "zinc"]
    assert len(book.sources) < len(whole().sources)
    with pytest.raises(InputError) as error:
        make_book(REAL, ON, ("paracetamal", "zinc", "unobtainium"))
    assert [fault.given for fault in error.value.faults] == ["paracetamal", "unobtainium"]
    assert "Did you mean paracetamol?" in str(error.value)


# ---- paper ----


@cache
def paper() -> bytes:
    return to_pdf(to_html(make_book(REAL, ON, ("morphine", "zinc"))))


@pytest.mark.usefixtures("pango")
def test_the_pdf_is_tagged_has_a_contents_and_repeats_itself() -> None:
    content = opened(paper())
    assert content.startswith(b"%PDF-") and b"pdfuaid" in content and b"/Lang (en-GB)" in content
    width, height = (float(n) for n in re.search(rb"/MediaBox ?\[0 0 ([0-9.]+) ([0-9.]+)\]", content).groups())
    assert (round(width), round(height)) == (595, 842)
    titles = re.findall(rb"/Title ?\(([^)]*)\)", content)
    assert {b"morphine", b"zinc", b"Sources", b"Index of names"} <= set(titles)
    assert paper() == to_pdf(to_html(make_book(REAL, ON, ("morphine", "zinc"))))
