"""The report of a file of orders: numbers again by hand, totals that add up, two runs, escaping, the workbook read back."""

from __future__ import annotations

import io
import json
import random
import re
from collections import Counter
from datetime import date
from decimal import Decimal
from fractions import Fraction
from itertools import pairwise
from pathlib import Path

import openpyxl
import polars as pl
import pytest
from cli.door import FOLDER, dosecheck, flat
from hypothesis import given
from hypothesis import strategies as st

from dosecheck import FileError, Formulary
from dosecheck.batch.chart_file import run_charts
from dosecheck.batch.files import ResultWriter
from dosecheck.batch.run import run_batch
from dosecheck.batch.texts import RESULTS
from dosecheck.records import OUTCOMES
from dosecheck.reports.orders.as_json import report_dict
from dosecheck.reports.orders.page import to_html
from dosecheck.reports.orders.rates import rate
from dosecheck.reports.orders.report import Report, make_report
from dosecheck.reports.orders.two_runs import compare, how_words
from dosecheck.reports.orders.workbook import to_xlsx

FORMULARY = Formulary(FOLDER)
HEADER = "order_id,child_id,medicine,route,for,dose,every,weight,age,ward,prescriber"
ORDERS = """\
A1,c1,paracetamol,oral,pain,210 mg,6 hours,14 kg,3 years,north,P1
A2,c2,paracetamol,oral,pain,2100 mg,6 hours,14 kg,3 years,north,P2
A3,c3,paracetamol,oral,pain,420 mg,6 hours,14 kg,3 years,south,P1
A4,c4,paracetamol,oral,pain,224 mg,6 hours,14 kg,3 years,south,P1
A5,c5,paracetamol,oral,pain,140 mg,6 hours,14 kg,3 years,south,P1
A6,c6,paracetamol,oral,pain,210 mg,6 hours,,3 years,south,P1
A7,c7,paracetamol,oral,pain,"1,5 mg",6 hours,14 kg,3 years,,P1
A8,c8,paracetmol,oral,pain,210 mg,6 hours,14 kg,3 years,north,P1
"""
OUTCOME = ["within", "stop", "stop", "query", "query", "not-checked", "not-checked", "not-checked"]


def results(tmp_path: Path, orders: str = ORDERS, name: str = "results.csv", header: str = HEADER) -> str:
    """What `dosecheck batch` writes of these orders."""
    (tmp_path / "orders.csv").write_text(f"{header}\n{orders}")
    run_batch(tmp_path / "orders.csv", tmp_path / name, FORMULARY, date(2026, 5, 4))
    return str(tmp_path / name)


def made(tmp_path: Path, **options) -> Report:
    return make_report(results(tmp_path), FORMULARY, **options)


@pytest.mark.parametrize("ending", ["csv", "parquet", "jsonl"])
def test_the_numbers_by_hand(tmp_path: Path, ending: str) -> None:
    """15 mg/kg at 14 kg is 210 mg: 2100 mg is 10 times it, 420 mg twice, 224 mg 16/15; 140 mg is 10 mg/kg, below 13.5."""
    path = results(tmp_path, name=f"results.{ending}")
    report = make_report(path, FORMULARY)
    assert (report.rows, report.outcomes, report.unreadable) == (8, Counter(OUTCOME), 1)
    assert [(f.order_id, f.times_words) for f in report.first] == [
        ("A2", "10 times"),
        ("A3", "2 times"),
        ("A4", "1.067 times"),
        ("A5", "0.667 times"),
    ]
    assert report.first[0].how == "oral, every 6 hours"
    assert report.first[0].order == "paracetamol 2100 mg at 14 kg" and report.first[0].child_id == "c2" and report.first[0].row == 2
    assert "World Health Organization" in report.sources[report.first[0].sources[0] - 1]
    by = {table.column: {line.name: (line.rows, line.flags.count) for line in table.lines} for table in report.tables}
    assert by["medicine"] == {"paracetamol": (7, 4), "paracetmol": (1, 0)}
    assert by["ward"] == {"south": (4, 3), "north": (3, 1), "(not given)": (1, 0)}
    assert by["prescriber"] == {"P1": (7, 3), "P2": (1, 1)}
    assert {r.codes: (r.count, r.rows) for r in report.unchecked} == {
        "weight-missing": (1, (6,)),
        "unreadable": (1, (7,)),
        "medicine-unknown": (1, (8,)),
    }
    assert {f.code: f.outcomes.total() for f in report.found}["dose-above-range"] == 3
    assert report.flags.per_100 == "50.0"
    pairs = {(p.medicine, p.code): (p.flags.count, p.flags.rows) for p in report.pairs}
    assert pairs["paracetamol", "dose-above-range"] == (3, 7) and pairs["paracetamol", "dose-below-range"] == (1, 7)
    assert all(medicine == "paracetamol" for medicine, _ in pairs) and report.share_of_flags(3) == "75 %"


def test_first_are_compared_exactly_and_what_is_left_out_is_counted(tmp_path: Path) -> None:
    """9.999 and 10 as text or as a float of low precision would swap."""
    orders = "".join(
        f"B{n},c{n},paracetamol,oral,pain,{dose} mg,6 hours,14 kg,3 years,w,P\n" for n, dose in enumerate((420, 2099.8, 2100, 900))
    )
    report = make_report(results(tmp_path, orders), FORMULARY, first=2)
    assert [f.order_id for f in report.first] == ["B2", "B1"]
    assert report.not_first == Counter(stop=2) and "2 of 4 are here." in to_html(report)
    assert "2 more are in the file of results: 2 stop, 0 query" in re.sub(r"<[^>]*>", "", to_html(report))


NEWCOMBE = [  # Newcombe RG. Stat Med 1998;17:857-872, table I, method 3 (score, no continuity correction); from memory
    (81, 263, "0.2553", "0.3662"),
    (15, 148, "0.0624", "0.1605"),
    (0, 20, "0.0000", "0.1611"),
    (1, 29, "0.0061", "0.1718"),
]


@pytest.mark.parametrize(("count", "rows", "low", "high"), NEWCOMBE)
def test_the_interval_against_published_ones(count: int, rows: int, low: str, high: str) -> None:
    found = rate(count, rows)
    assert [str(each.quantize(Decimal("0.0001"))) for each in (found.low, found.high)] == [low, high]


@given(st.integers(1, 10**7).flatmap(lambda rows: st.tuples(st.integers(0, rows), st.just(rows))))
def test_the_ends_of_the_interval_are_where_the_score_is_at_its_bound(pair: tuple[int, int]) -> None:
    """By its definition: (p - q)^2 = z^2 q (1 - q) / n at both ends q, except where the share is 0 or 1."""
    count, rows = pair
    found, share, z = rate(count, rows), Fraction(count, rows), Fraction("1.959964")
    assert 0 <= found.low <= Decimal(count) / rows <= found.high <= 1
    for end, plain in ((found.low, count == 0), (found.high, count == rows)):
        q = Fraction(end)
        assert plain or abs((share - q) ** 2 - z**2 * q * (1 - q) / rows) < Fraction(1, 10**15)


def test_no_rows_have_no_rate(tmp_path: Path) -> None:
    report = make_report(results(tmp_path, ""), FORMULARY)
    assert report.rows == 0 and report.flags.per_100 == "" and "This is not an all-clear" in to_html(report)


# ---- totals add up, whatever the file holds and however it is cut ----

LINES = st.tuples(
    st.sampled_from(["paracetamol", "Paracetamol", "ibuprofen", "no such", None]),
    st.sampled_from(OUTCOMES),
    st.sampled_from(["oral-pain-child", "oral-pain-child;other", None]),
    st.one_of(st.none(), st.integers(0, 90_000)),
    st.sampled_from(["north", "south", None]),
)


def _row(
    number: int, medicine: str | None, outcome: str, regimen: str | None, per_kg: int | None, ward: str | None
) -> dict[str, str | None]:
    amount = None if per_kg is None else f"{Decimal(per_kg) / 1000:f}"
    code = {"within": None, "query": "dose-below-range", "stop": "dose-above-range;day-above-max", "not-checked": "weight-missing"}[outcome]
    source = next(r.source for r in FORMULARY.medicine("paracetamol").regimens if r.full_id == "oral-pain-child")
    told = {"outcome": outcome, "codes": code, "regimen": regimen, "times_the_most": amount, "source": source, "sentence": "It says."}
    told |= {"one_dose": amount and f"{amount} mg", "dose_per_kg": amount and f"{amount} mg/kg"}
    return {"order_id": str(number), "medicine": medicine, "ward": ward, **dict.fromkeys(RESULTS), **told}


def written(path: Path, rows: list[dict[str, str | None]]) -> None:
    names = ["order_id", "medicine", "dose", "weight", "ward", *RESULTS]
    with ResultWriter(path, names) as writer:
        writer.write(pl.DataFrame(rows, schema=dict.fromkeys(names, pl.String)))


@given(st.lists(LINES, max_size=40), st.integers(0, 9))
def test_totals_add_up(tmp_path_factory: pytest.TempPathFactory, lines: list[tuple], first: int) -> None:
    path = tmp_path_factory.getbasetemp() / "totals.parquet"
    written(path, [_row(number, *line) for number, line in enumerate(lines)])
    report = make_report(str(path), FORMULARY, first=first)
    plain = Counter(line[1] for line in lines)
    assert report.rows == len(lines) and report.outcomes == plain
    assert len(report.first) + report.not_first.total() == plain["stop"] + plain["query"] == report.flagged
    for table in report.tables:
        assert sum((line.outcomes for line in table.lines), Counter()) == plain
    assert sum(reason.count for reason in report.unchecked) == plain["not-checked"]
    drawn = Counter((line[0] or "").lower() for line in lines if line[3] is not None and line[2] == "oral-pain-child")
    for strip in report.strips:
        assert strip.rows == drawn[strip.scale.medicine] == sum(n for bar in strip.bars.values() for n in bar.values()) >= 10
        doses = [
            line[3]
            for line in lines
            if (line[0] or "").lower() == strip.scale.medicine and line[2] == "oral-pain-child" and line[3] is not None
        ]
        low, high = (13_500, 15_000) if strip.scale.medicine == "paracetamol" else (0, 1000)
        assert (strip.below, strip.inside, strip.above) == (
            sum(d < low for d in doses),
            sum(low <= d <= high for d in doses),
            sum(d > high for d in doses),
        )
        assert strip.beyond == sum(d > 2 * high for d in doses) and strip.furthest == max(doses)


def test_chunks_do_not_matter(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Nor does the form of the file."""
    orders = ORDERS * 9
    whole = report_dict(make_report(results(tmp_path, orders), FORMULARY))
    monkeypatch.setattr("dosecheck.batch.tables_in.CHUNK_ROWS", 5)
    cut = report_dict(make_report(results(tmp_path, orders, "results.parquet"), FORMULARY))
    assert {**cut, "results": ""} == {**whole, "results": ""}


# ---- two runs ----


def test_two_runs(tmp_path: Path) -> None:
    """A1 becomes a stop, A5 within by another dose, A8 is gone, B1 new, A6 stands twice now, one row has no id."""
    before = results(tmp_path, name="before.csv")
    now = ORDERS.replace("A1,c1,paracetamol,oral,pain,210 mg", "A1,c1,paracetamol,oral,pain,900 mg").replace("140 mg", "210 mg")
    now = now.replace("A8,", "B1,") + now.splitlines()[5] + "\n" + now.splitlines()[0].replace("A1", "") + "\n"
    shuffled = now.splitlines()
    random.Random(3).shuffle(shuffled)
    runs = make_report(results(tmp_path, "\n".join(shuffled) + "\n"), FORMULARY, before=before).two_runs
    assert runs.matched_by == "order_id" and runs.rows == (8, 10) and runs.matched == 6
    assert [(c.order_id, c.before, c.after) for c in runs.changes] == [("A1", "within", "stop"), ("A5", "query", "within")]
    assert runs.changes[0].was == "paracetamol 210 mg at 14 kg" and runs.changed == 2
    assert (runs.new.first, runs.gone.first, runs.twice.first) == (("B1",), ("A8",), ("A6",))
    assert runs.without == (0, 1) and runs.left_out == (1, 2)
    assert runs.table == {
        ("within", "stop"): 1,
        ("query", "within"): 1,
        ("stop", "stop"): 2,
        ("query", "query"): 1,
        ("not-checked", "not-checked"): 1,
    }


def test_a_run_against_itself_changes_nothing_and_rows_match_where_there_is_no_id(tmp_path: Path) -> None:
    orders = "\n".join(line.partition(",")[2] for line in ORDERS.splitlines()) + "\n"
    path = results(tmp_path, orders, header=HEADER.partition(",")[2])
    runs = make_report(path, FORMULARY, before=path).two_runs
    assert runs.matched_by == "row" and runs.matched == 8 and not (runs.changed or runs.other_findings or runs.new.count or runs.gone.count)


IDS = st.lists(st.tuples(st.sampled_from([*"abcdefgh", None]), st.sampled_from(["within", "stop"])), max_size=12)


@given(IDS, IDS)
def test_every_row_of_either_run_is_accounted_for(tmp_path_factory: pytest.TempPathFactory, before: list[tuple], now: list[tuple]) -> None:
    files = [tmp_path_factory.getbasetemp() / f"{name}.parquet" for name in ("before", "now")]
    for path, rows in zip(files, (before, now), strict=True):
        written(path, [{**_row(n, "paracetamol", outcome, None, None, None), "order_id": ident} for n, (ident, outcome) in enumerate(rows)])
    runs = compare(*map(str, files), 3)
    assert runs.rows == (len(before), len(now))
    assert runs.rows[0] == runs.matched + runs.gone.count + runs.left_out[0] + runs.without[0]
    assert runs.rows[1] == runs.matched + runs.new.count + runs.left_out[1] + runs.without[1]
    assert runs.changed == sum(count for (a, b), count in runs.table.items() if a != b) and len(runs.changes) == min(3, runs.changed)
    for change in runs.changes:
        assert now[change.row - 1][1] == change.after and change.before != change.after


@given(IDS, IDS)
def test_runs_too_large_for_memory_are_compared_alike(
    tmp_path_factory: pytest.TempPathFactory, before: list[tuple], now: list[tuple]
) -> None:
    """Shared out to files by their keys, the same comes out, what is named first included; and nothing stays behind."""
    files = [tmp_path_factory.getbasetemp() / f"{name}.parquet" for name in ("before", "now")]
    for path, rows in zip(files, (before, now), strict=True):
        written(path, [{**_row(n, "paracetamol", outcome, None, None, None), "order_id": ident} for n, (ident, outcome) in enumerate(rows)])
    whole = compare(*map(str, files), 3)
    work = tmp_path_factory.mktemp("work")
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("dosecheck.reports.orders.paired.HELD", 3)
        patch.setattr("dosecheck.reports.orders.paired.SHARES", 4)
        patch.setattr("tempfile.tempdir", str(work))
        assert compare(*map(str, files), 3) == whole
    assert not list(work.iterdir())


def test_no_room_to_compare_is_one_error(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = results(tmp_path)
    monkeypatch.setattr("dosecheck.reports.orders.paired.HELD", 3)
    monkeypatch.setattr("tempfile.tempdir", str(tmp_path / "nosuch"))
    with pytest.raises(FileError, match="no room among the temporary files"):
        compare(path, path, 3)


# ---- what stands on the page and in the workbook ----

ODD = """\
"=HYPERLINK(""http://x.example"",""ok"")",@c1,paracetamol,oral,pain,2100 mg,6 hours,14 kg,3 years,<script>alert(1)</script>,"a\u202eb"
007,+1,paracetamol,oral,pain,2100 mg,6 hours,14 kg,3 years,-1+2,"&lt;"
"""


def test_b056_b057_text_of_orders_is_escaped_on_the_page(tmp_path: Path) -> None:
    page = to_html(make_report(results(tmp_path, ODD), FORMULARY))
    assert "<script" not in page and "&lt;script&gt;alert(1)&lt;/script&gt;" in page
    assert "\u202e" not in page and r"a\u202eb" in page and "&amp;lt;" in page
    asked = re.findall(r"""(?:src|href)\s*=\s*["']?([^"'\s>]*)""", page) + re.findall(r"url\(([^)]*)", page)
    assert asked and all(each.startswith("#") for each in asked)


def test_b056_the_workbook_keeps_text_as_text(tmp_path: Path) -> None:
    """Nothing is a formula; an identifier keeps its zeros; counts are numbers."""
    report = make_report(results(tmp_path, ODD), FORMULARY)
    book = openpyxl.load_workbook(io.BytesIO(to_xlsx(report)))
    cells = [cell for page in book for row in page for cell in row]
    assert all(cell.data_type in "sn" for cell in cells)
    look = [[cell.value for cell in row] for row in book["Look first"]]
    assert [row[2] for row in look] == ["order id", '\'=HYPERLINK("http://x.example","ok")', "007"] and look[1][1] == 10
    by = {row[0].value: row[1].value for row in book["By ward"]}
    assert by["'-1+2"] == 1 and all(cell.quotePrefix for cell in book["By ward"]["A"] if str(cell.value).startswith("'"))
    assert dict(csv_like(book["Summary"]))["stop"] == report.outcomes["stop"]


def csv_like(page) -> list[tuple]:
    return [tuple(cell.value for cell in row[:2]) for row in page]


def test_headings_and_labels_are_real(tmp_path: Path) -> None:
    """One h1, then h2 and h3 without a leap; every link to a place on the page finds it; every picture has a name and words."""
    page = to_html(make_report(results(tmp_path, ORDERS * 4), FORMULARY, before=results(tmp_path, name="b.csv")))
    levels = [int(level) for level in re.findall(r"<h([1-6])", page)]
    assert levels[0] == 1 and levels.count(1) == 1 and all(b - a <= 1 for a, b in pairwise(levels))
    assert set(re.findall(r'href="#([^"]+)"', page)) <= set(re.findall(r'id="([^"]+)"', page))
    pictures = re.findall(r'<svg[^>]*role="img"[^>]*aria-labelledby="([^"]+)"', page)
    assert pictures and all(f'id="{name}"' in page for names in pictures for name in names.split())
    assert "13.5 to 15 mg/kg" in page and "the furthest 150 mg/kg" in page


# ---- the command ----


def command(tmp_path: Path, *more: str):
    return command_on(results(tmp_path), *more)


def command_on(path: str | Path, *more: str):
    return dosecheck("batch", "report", str(path), "--formulary", str(FOLDER), *more)


@pytest.mark.parametrize("ending", ["html", "pdf", "xlsx"])
def test_the_same_results_give_the_same_bytes(tmp_path: Path, ending: str, request: pytest.FixtureRequest) -> None:
    if ending == "pdf":
        request.getfixturevalue("pango")
    one, two = tmp_path / f"one.{ending}", tmp_path / f"two.{ending}"
    assert command(tmp_path, "--out", str(one)).status == command(tmp_path, "--out", str(two)).status == 0
    assert one.read_bytes() == two.read_bytes()


def test_json_and_text_tell_the_same(tmp_path: Path) -> None:
    told = json.loads(command(tmp_path, "--json").out)
    assert told["outcomes"] == {name: OUTCOME.count(name) for name in OUTCOMES} and told["first"][0]["times"] == "10"
    assert told["flags_per_100"] == {"count": 4, "rows": 8, "per_100": "50.0", "interval_95": "21.5 to 78.5"}
    said = command(tmp_path, "--before", results(tmp_path, name="b.csv")).out
    assert "STOP row 2: paracetamol 2100 mg at 14 kg, 10 times the most" in said and "0 outcomes changed" in said
    assert max(map(len, said.splitlines())) <= 80


def test_a_pdf_of_thousands_of_orders_is_refused_before_anything_is_read(tmp_path: Path) -> None:
    """The layout of a page takes memory and time for each row; the page itself and the workbook do not."""
    said = command_on(tmp_path / "nosuch.csv", "--first", "1001", "--out", str(tmp_path / "r.pdf"))
    assert said.status == 2 and "A PDF names 1,000 orders at most" in said.err and not list(tmp_path.iterdir())


def test_what_is_no_result_is_refused(tmp_path: Path) -> None:
    (tmp_path / "orders.csv").write_text(f"{HEADER}\n{ORDERS}")
    with pytest.raises(FileError, match="no result of dosecheck batch"):
        make_report(str(tmp_path / "orders.csv"), FORMULARY)
    path = results(tmp_path)
    Path(path).write_text(Path(path).read_text().replace(",stop,", ",fine,"))
    with pytest.raises(FileError, match='outcome "fine"'):
        make_report(path, FORMULARY)
    with pytest.raises(FileError, match='no column "wing"'):
        make_report(results(tmp_path), FORMULARY, by=["wing"])
    assert command(tmp_path, "--out", "report.doc").status == 2


def test_columns_of_a_site(tmp_path: Path) -> None:
    """The map that the orders were checked with gives the medicine its name here too; --by names the file's own columns."""
    header = HEADER.replace("medicine", "drug").replace("ward", "unit")
    (tmp_path / "map.toml").write_text('[columns]\nmedicine = "drug"\n[codes.medicine]\nPCM = "paracetamol"\n')
    (tmp_path / "orders.csv").write_text(f"{header}\n{ORDERS.replace(',paracetamol,', ',PCM,')}")
    from dosecheck.batch.colmap import read_map

    mapped = read_map(tmp_path / "map.toml")
    run_batch(tmp_path / "orders.csv", tmp_path / "r.csv", FORMULARY, date(2026, 5, 4), mapped)
    report = make_report(str(tmp_path / "r.csv"), FORMULARY, mapped, by=["unit"])
    assert [table.column for table in report.tables] == ["medicine", "unit"]
    assert [(line.name, line.rows) for line in report.tables[0].lines] == [("paracetamol", 7), ("paracetmol", 1)]


def test_more_values_than_groups_have_are_refused_and_names_nobody_knows_are_counted_together(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """So that memory does not grow with the rows: an id is no column to count by, and free text is no list of medicines."""
    path = results(tmp_path, ORDERS + ORDERS.replace("paracetmol", "nixilon") + ORDERS.replace("paracetmol", "aaaaaa"))
    monkeypatch.setattr("dosecheck.reports.orders.ranges.MOST_UNKNOWN", 2)
    report = make_report(path, FORMULARY)
    assert [(line.name, line.rows) for line in report.tables[0].lines] == [
        ("paracetamol", 21),
        ("(other names)", 1),
        ("aaaaaa", 1),
        ("nixilon", 1),
    ]
    assert sum(n for reason in report.unchecked if reason.codes == "medicine-unknown" for _, n in reason.medicines) == 3
    monkeypatch.setattr("dosecheck.reports.orders.tally.MOST_VALUES", 7)
    with pytest.raises(FileError, match='column "order_id" has more than'):
        make_report(path, FORMULARY, by=["ward", "order_id"])
    assert make_report(path, FORMULARY, by=["ward"]).rows == 24


@pytest.mark.parametrize(
    ("ward", "prescriber"), [("Station / ward", "Prescriber code"), ("WARD", "prescriber-id"), ("Bett (ward)", " prescriber ")]
)
def test_a_ward_under_other_spellings_is_counted_by(tmp_path: Path, ward: str, prescriber: str) -> None:
    header = HEADER.replace("ward,prescriber", f"{ward},{prescriber}")
    report = make_report(results(tmp_path, header=header), FORMULARY)
    assert [table.column for table in report.tables] == ["medicine", ward, prescriber]
    alone = make_report(results(tmp_path, header=HEADER.replace("ward,prescriber", "warden,prescription")), FORMULARY)
    assert len(alone.tables) == 1 and "Counted by medicine alone" in to_html(alone)


def test_what_cannot_be_read_is_counted_by_the_kind_of_fault(tmp_path: Path) -> None:
    """Hundreds of rows with one fault do not hide the one row with another; numbers and texts of a row do not part a kind."""
    latin = "D1,c1,parac\u00e9tamol,oral,pain,5 mg,6 hours,14 kg,3 years,north,P1"
    late = [f"B{n},c{n},paracetamol,oral,pain,{n},5 mg,6 hours,14 kg,3 years,north,P1" for n in range(1, 4)]
    odd = [f'C{n},c{n},paracetamol,oral,pain,"{n},5 mg",6 hours,14 kg,3 years,north,P1' for n in range(1, 40)]
    text = "\n".join([HEADER, *odd, *late, *odd, latin]) + "\n"
    (tmp_path / "orders.csv").write_bytes(text.encode("latin-1"))
    run_batch(tmp_path / "orders.csv", tmp_path / "results.csv", FORMULARY, date(2026, 5, 4))
    report = make_report(str(tmp_path / "results.csv"), FORMULARY)
    assert [(reason.kind, reason.count, reason.rows[:2]) for reason in report.unchecked] == [
        ("dose: The dose has a comma.", 78, (1, 2)),
        ("It has … fields; the header has ….", 3, (40, 41)),
        ("The byte … is not UTF-8 text.", 1, (82,)),
    ]
    page = to_html(report).replace("\xa0", " ")
    assert "It cannot be read. It has … fields; the header has …." in page and "The first: dose &#34;1,5 mg&#34;" in page
    assert report.unreadable == 82 == sum(reason.count for reason in report.unchecked)


def test_kinds_without_end_are_counted_together(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("dosecheck.reports.orders.reasons._MOST_KINDS", 2)
    words = ["every", "for ever", "now and then", "seldom", "often", "at times"]
    fields = ["dose", "every", "weight", "age"]
    rows = [
        "A,c,paracetamol,oral,pain,210 mg,6 hours,14 kg,3 years,n,P".replace(old, w)
        for w in words
        for old in ("210 mg", "14 kg", "3 years", "6 hours")
    ]
    report = make_report(results(tmp_path, "\n".join(rows) + "\n"), FORMULARY)
    assert len(report.unchecked) == 3 and {r.kind.split(":")[0] for r in report.unchecked} <= {*fields, "other faults"}
    assert sum(reason.count for reason in report.unchecked) == report.unreadable == len(rows)


def test_the_commonest_reasons_are_on_the_page_and_the_rest_is_counted(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("dosecheck.reports.orders.page._REASONS", 1)
    page = to_html(made(tmp_path))
    assert "<b>The 2 commonest are here;</b> the report as a workbook also has the other 1, with 1 order in all." in page
    assert "It cannot be read. dose: The dose has a comma." in page.replace("\xa0", " ")


def test_where_no_order_was_checked_there_is_no_rate(tmp_path: Path) -> None:
    """0.0 flags per 100 orders would look like an all-clear."""
    line = made(tmp_path).tables[0].lines[-1]
    assert (line.name, line.outcomes["not-checked"], line.flags.per_100, line.flags.interval) == ("paracetmol", 1, "", "")


@pytest.mark.parametrize(
    ("written", "words"),
    [
        ({"route": "oral", "every": "6 hours", "product": "oral-liquid-120-in-5"}, "oral, every 6 hours, oral-liquid-120-in-5"),
        ({"every": "4 times a day"}, "4 times a day"),
        ({"every": "once"}, "once"),
        ({"every": "QDS"}, "QDS"),
        ({"times_a_day": "3", "once": "yes"}, "3 times a day, once: yes"),
        ({}, ""),
    ],
)
def test_how_an_order_is_given_stands_in_its_own_words(written: dict[str, str], words: str) -> None:
    """A code that no map wrote out stays as it is."""
    assert how_words(dict.fromkeys(("route", "every", "times_a_day", "once", "product")) | written) == words


# ---- the ledger beside the result ----


def test_a_ledger_that_agrees_gives_its_proof(tmp_path: Path) -> None:
    report = make_report(results(tmp_path), FORMULARY)
    assert report.notices == () and report.fingerprint == FORMULARY.fingerprint
    assert "8 rows in = 7 answered + 1 refused" in to_html(report)


def test_a_missing_ledger_is_told_and_a_broken_one_too(tmp_path: Path) -> None:
    path = results(tmp_path)
    Path(f"{path}.ledger.json").write_text("{")
    assert "cannot be used" in make_report(path, FORMULARY).notices[0]
    Path(f"{path}.ledger.json").unlink()
    assert "There is no ledger" in to_html(make_report(path, FORMULARY))


@pytest.mark.parametrize(
    ("change", "word"),
    [(lambda text: text.replace(",query,", ",within,", 1), "query 2, found 1"), (lambda text: text.replace("A1", "A9"), "SHA-256")],
)
def test_a_result_that_was_changed_is_told_first(tmp_path: Path, change, word: str) -> None:
    """One row less, or one letter."""
    path = Path(results(tmp_path))
    path.write_text(change(path.read_text()))
    told = make_report(str(path), FORMULARY).notices
    assert len(told) == 1 and word in told[0] and "Do not work from this report" in told[0]
    assert word in command_on(path, "--json").out and word in flat(command_on(path).out)


def test_another_formulary_at_hand_draws_no_range(tmp_path: Path) -> None:
    """Nor are its sources taken for those of the check."""
    path = results(tmp_path)
    ledger = Path(f"{path}.ledger.json")
    ledger.write_text(ledger.read_text().replace(FORMULARY.fingerprint, "0123456789abcdef"))
    report = make_report(path, FORMULARY)
    assert "checked by formulary 0123456789abcdef" in report.notices[0] and report.formulary == ""
    assert report.sources[0].startswith("who-child-pain-2012, ")


# ---- findings of charts ----

CHARTS = """\
child_id,ingredient,outcome,code,at,rows,sentence
c1,paracetamol,query,day-above-with-earlier,2026-05-04T10:00Z,"1, 2",A query.
c2,paracetamol,stop,too-soon,2026-05-04T11:00Z,3,<b>A stop</b>.
c3,ibuprofen,not-checked,given-time-unknown,,4,A row without a time.
"""


def test_the_charts_that_batch_writes_are_read(tmp_path: Path) -> None:
    """Two doses an hour apart, where the shortest gap is 4 hours."""
    header, times = HEADER + ",given_at", ("2026-05-04T10:00Z", "2026-05-04T11:00Z")
    (tmp_path / "doses.csv").write_text("\n".join([header, *(f"{ORDERS.splitlines()[0]},{time}" for time in times), ""]))
    run_charts(tmp_path / "doses.csv", tmp_path / "charts.csv", FORMULARY, date(2026, 5, 4))
    found = make_report(results(tmp_path), FORMULARY, charts=str(tmp_path / "charts.csv")).charts
    assert found.outcomes == Counter(stop=1) and found.codes[0][0] == "too-soon" and found.first[0].child_id == "c1"


def test_findings_of_charts_have_a_section(tmp_path: Path) -> None:
    (tmp_path / "charts.csv").write_text(CHARTS)
    report = make_report(results(tmp_path), FORMULARY, charts=str(tmp_path / "charts.csv"), first=2)
    assert [c.child_id for c in report.charts.first] == ["c2", "c3"] and report.charts.outcomes == Counter(["query", "stop", "not-checked"])
    page = to_html(report)
    assert "2 are here" in page and "1 more are in that file" in page and "&lt;b&gt;A stop" in page and "<b>A stop" not in page
    sheet = openpyxl.load_workbook(io.BytesIO(to_xlsx(report)))["Charts"]
    assert [row[1].value for row in sheet] == ["child id", "c2", "c3"]
    assert report_dict(report)["charts"]["codes"]["too-soon"] == {"stop": 1} and report.outcomes == Counter(OUTCOME)


def test_a_file_that_holds_no_findings_of_charts_is_refused(tmp_path: Path) -> None:
    path = results(tmp_path)
    with pytest.raises(FileError, match="no findings of charts"):
        make_report(path, FORMULARY, charts=path)
    (tmp_path / "charts.csv").write_text(CHARTS.replace(",stop,", ",within,"))
    with pytest.raises(FileError, match='outcome "within"'):
        make_report(path, FORMULARY, charts=str(tmp_path / "charts.csv"))


def test_a_result_of_mapped_orders_needs_the_map(tmp_path: Path) -> None:
    path = results(tmp_path, ORDERS)
    pl.read_csv(path, infer_schema=False).rename({"medicine": "Wirkstoff"}).write_csv(path)
    with pytest.raises(FileError, match='It has no column "medicine": the orders were checked with a map of their columns.*--columns'):
        make_report(path, FORMULARY)
