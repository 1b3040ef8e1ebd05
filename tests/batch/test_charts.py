"""Charts in bulk = one by one: every dose as an order given at its time, with the child's other doses told before it."""

from __future__ import annotations

import random
import subprocess
import sys
from datetime import date
from pathlib import Path
from zoneinfo import ZoneInfo

import polars as pl
import pytest
from chart.slow import Slow, may_hold
from click.testing import CliRunner

from dosecheck import Child, FileError, Formulary, Order, check_order
from dosecheck.batch import charts, partitions
from dosecheck.batch.chart_file import run_charts
from dosecheck.batch.chart_limits import ChartLimits
from dosecheck.batch.chart_words import CHART_COLUMNS, chart_texts
from dosecheck.batch.charts import CODES, Charted, charted
from dosecheck.batch.colmap import read_map
from dosecheck.batch.doses import Doses
from dosecheck.batch.run import Batch
from dosecheck.batch.windows_columns import rolled
from dosecheck.cli import cli
from dosecheck.earlier import DoseGiven, Earlier, Now
from dosecheck.reading import read_dose
from dosecheck.reading.clock import at_instant, read_instant
from dosecheck.records import NOT_CHECKED, QUERY, STOP, WITHIN

FOLDER = Path(__file__).parents[2] / "formulary"
FORMULARY = Formulary(FOLDER)
LIMITS = ChartLimits(FORMULARY)
LONDON = ZoneInfo("Europe/London")
TODAY = date(2026, 5, 4)
RANKS = (WITHIN, QUERY, NOT_CHECKED, STOP)
PLAIN = {
    "child_id": "SM-001",
    "medicine": "paracetamol",
    "route": "oral",
    "for": "pain",
    "dose": "210 mg",
    "weight": "14.2 kg",
    "age": "3 years",
}


def rows_of(*times: str, **changed: str | None) -> list[dict[str, str | None]]:
    return [{**PLAIN, "given_at": f"2026-05-{time}" if time else None, **changed} for time in times]


def table(rows: list[dict[str, str | None]]) -> pl.DataFrame:
    names = list(dict.fromkeys(name for row in rows for name in row))
    return pl.DataFrame([{name: row.get(name) for name in names} for row in rows], schema=dict.fromkeys(names, pl.String))


def chart(rows: list[dict[str, str | None]], zone: ZoneInfo | None = LONDON) -> Charted:
    reader = Doses(LIMITS, zone)
    dated = reader.dated(table(rows))
    return charted(reader.of(dated, Batch(FORMULARY, TODAY).answer(dated.rows)["regimen"], 1), LIMITS)


def codes(rows: list[dict[str, str | None]]) -> list[tuple[str, str]]:
    return [(code, RANKS[rank]) for code, rank in chart(rows).found.select("code", "rank").iter_rows()]


# ---- against the one-order engine ----

KINDS = [
    {"medicine": "paracetamol", "route": "oral", "for": "pain", "dose": ("210 mg", "15 mg/kg", "300 mg", "100 mg")},
    {"medicine": "paracetamol", "route": "oral", "for": None, "dose": ("210 mg", "12.5 mg/kg")},
    {"medicine": "ibuprofen", "route": "oral", "for": "pain", "dose": ("140 mg", "10 mg/kg", "200 mg")},
    {"medicine": "paracetamol", "route": "oral", "for": "pain", "dose": ("8.75 mL",)},
    {"medicine": "co-amoxiclav", "route": "oral", "for": "wound infection", "dose": ("250 mg of amoxicillin", "125 mg of amoxicillin")},
    {"medicine": "amoxicillin", "route": "oral", "for": None, "dose": ("250 mg", "40 mg/kg", "1 g")},
    {"medicine": "benzylpenicillin", "route": "intravenous", "for": None, "dose": ("700 mg", "50 mg/kg")},
]


def some_rows(seed: int) -> list[dict[str, str | None]]:
    rng = random.Random(seed)
    kinds = rng.sample(KINDS, 3)
    day = rng.choice(("2026-05-{:02d}", "2026-10-{:02d}"))
    return [
        {
            "child_id": rng.choice(("SM-001", "SM-002")),
            "given_at": f"{day.format(24 + rng.randrange(3))} {rng.randrange(24):02d}:{rng.choice((0, 30)):02d}",
            "weight": rng.choice(("14.2 kg", "14.2 kg", "14.9 kg")),
            "age": "3 years",
            **{key: rng.choice(value) if isinstance(value, tuple) else value for key, value in rng.choice(kinds).items()},
        }
        for _ in range(rng.randrange(6, 22))
    ]


def one_by_one(rows: list[dict[str, str | None]], number: int) -> set[tuple[str, str, str]]:
    """(ingredient, code, worst outcome) of one row as an order given then, once, its child's other doses told."""
    row, now = rows[number], read_instant(rows[number]["given_at"], LONDON).first
    earlier = []
    for place, other in enumerate(rows):
        at = read_instant(other["given_at"], LONDON)
        if place != number and other["child_id"] == row["child_id"] and at.first <= now:
            ago = (max(now - at.last, 0), now - at.first)
            earlier.append(DoseGiven(read_dose(other["dose"]), ago, "then", None, other["medicine"], "", other["route"]))
    order = Order(medicine=row["medicine"], route=row["route"], for_=row["for"], dose=row["dose"], once="yes")
    child = Child(weight=row["weight"], age=row["age"], on=at_instant(now, LONDON).date())
    verdict = check_order(order, child, FORMULARY, Earlier(tuple(earlier), Now(now, LONDON)))
    found: dict[tuple[str, str], int] = {}
    for finding in verdict.findings:
        if finding.code in CODES.values():
            key = (finding.data["ingredient"], finding.code)
            found[key] = max(found.get(key, 0), RANKS.index(finding.outcome))
    return {(*key, RANKS[rank]) for key, rank in found.items()}


@pytest.mark.parametrize("seed", range(24))
def test_every_dose_is_answered_as_an_order_with_the_others_told_before_it(seed: int) -> None:
    rows = some_rows(seed)
    found = chart(rows).found
    for child in ("SM-001", "SM-002"):
        expected: dict[tuple[str, str], dict[int, list[int]]] = {}
        for number, row in enumerate(rows):
            if row["child_id"] == child:
                at = read_instant(row["given_at"], LONDON).first
                for ingredient, code, outcome in one_by_one(rows, number):
                    expected.setdefault((ingredient, code), {}).setdefault(at, []).append(RANKS.index(outcome))
        mine = found.filter((pl.col("child_id") == child) & pl.col("code").is_in(list(CODES.values())))
        for line, code, since, until, doses, at, rank in mine.select("line", "code", "since", "until", "doses", "at", "rank").iter_rows():
            moments = expected[LIMITS.lines[line].ingredient, code]
            inside = {moment: ranks for moment, ranks in moments.items() if since <= moment <= until}
            assert rank in moments[at] and rank <= max(max(ranks) for ranks in inside.values())
            assert since in moments and until in moments and doses <= sum(map(len, inside.values()))
        totals: dict[tuple[str, str], tuple[int, int]] = {}
        for line, code, doses, rank in mine.select("line", "code", "doses", "rank").iter_rows():
            count, worst = totals.get((LIMITS.lines[line].ingredient, code), (0, 0))
            totals[LIMITS.lines[line].ingredient, code] = (count + doses, max(worst, rank))
        assert totals == {key: (sum(map(len, moments.values())), max(map(max, moments.values()))) for key, moments in expected.items()}


@pytest.mark.parametrize("seed", range(20))
def test_windows_are_those_of_a_reckoning_minute_by_minute(seed: int) -> None:
    rng = random.Random(seed)
    doses = []
    for number in range(rng.randrange(1, 25)):
        first = rng.randrange(0, 4 * 1440, 60)
        last = first + rng.choice((0, 0, 0, 60))
        doses.append((rng.randrange(2), first * 60, last * 60, rng.choice((1, 7, 50)), 0, 1, number))
    frame = pl.DataFrame(
        doses, schema=dict.fromkeys(("group", "at", "at_last", "amount", "ruled", "weight", "row"), pl.Int64), orient="row"
    )
    for dose in rolled(frame).iter_rows(named=True):
        slow = [Slow(at // 60, last // 60, amount) for group, at, last, amount, *_ in doses if group == dose["group"]]
        held = may_hold(slow, dose["at"] // 60)
        assert (dose["total"], dose["count"]) == (sum(each.amount for each in held), len(held))
        others = [row for row in doses if row[0] == dose["group"] and row[-1] != dose["row"] and row[1] <= dose["at"]]
        assert dose["gap"] == min((max(dose["at"] - row[2], 0) for row in others), default=None)


# ---- single cases ----


def test_the_published_number_of_doses_is_held_over_any_24_hours() -> None:
    """WHO 2012, annex 1, A1.8: paracetamol every 4 to 6 hours, at most 4 doses in 24 hours."""
    assert codes(rows_of("04 08:00", "04 14:00", "04 20:00", "05 02:00", "05 08:00")) == []
    assert codes(rows_of("04 08:00", "04 14:00", "04 20:00", "05 02:00", "05 07:59")) == [("too-many-with-earlier", "stop")]
    assert codes(rows_of("04 23:59", "05 00:01")) == [("too-soon", "stop")]


def test_names_routes_and_products_of_one_ingredient_count_together() -> None:
    apart = [*rows_of("04 08:00", "04 18:00"), *rows_of("04 13:00", "04 23:00", medicine="Paracetamol", route="rectal")]
    assert codes([*apart, *rows_of("05 05:00")]) == [("too-many-with-earlier", "stop")]
    assert codes(rows_of("04 08:00")) == codes([*rows_of("04 08:00"), *rows_of("04 09:00", child_id="SM-002")]) == []


def test_clocks_that_go_back_and_forward_are_taken_at_their_most_cautious() -> None:
    """Europe/London, 25 October 2026: 01:30 comes twice, so four hours after it may be three; 29 March: 01:30 is skipped."""
    back = [{**PLAIN, "given_at": f"2026-10-25 {time}"} for time in ("01:30", "05:00")]
    assert codes(back) == [("too-soon", "stop")]
    assert codes([back[0], {**PLAIN, "given_at": "2026-10-25 05:30"}]) == []
    assert codes([{**PLAIN, "given_at": "2026-03-29 01:30"}]) == [("given-time-unknown", "not-checked")]
    assert codes([{**PLAIN, "given_at": "2026-03-29 00:30"}, {**PLAIN, "given_at": "2026-03-29 05:00"}]) == [("too-soon", "stop")]


def test_a_repeated_row_is_counted_and_named() -> None:
    assert set(codes(rows_of("04 08:00", "04 08:00"))) == {("given-twice", "query"), ("too-soon", "stop")}


def test_findings_of_one_moment_stand_in_an_order_of_their_own() -> None:
    rows = [
        *rows_of(*["04 08:00"] * 2, dose="210 mg"),
        *rows_of(*["04 08:00"] * 2, dose="180 mg"),
        *rows_of(*["04 08:00"] * 2, dose="150 mg"),
    ]
    twice = chart(rows).found.filter(pl.col("code") == "given-twice")
    assert twice["value"].is_sorted() and twice["rows"].to_list() == [[5, 6], [3, 4], [1, 2]]


def test_rows_that_disagree_about_the_child_are_never_added_up() -> None:
    rows = [*rows_of("04 08:00", age=None, born="2023-01-02"), *rows_of("04 09:00", age=None, born="2022-01-02", sex="male")]
    assert codes(rows) == [("children-disagree", "not-checked")]
    assert chart(rows).found["rows"].to_list() == [[1, 2]]
    assert ("children-disagree", "not-checked") in codes([*rows_of("04 08:00", sex="female"), *rows_of("04 20:00", sex="male")])


def test_a_place_holder_is_no_child_and_outer_spaces_make_no_other() -> None:
    assert codes(rows_of("04 08:00", "04 09:00", child_id="unknown")) == []
    assert codes([*rows_of("04 08:00"), *rows_of("04 09:00", child_id=" SM-001 ")]) == [("too-soon", "stop")]


UNCOUNTED = {
    "no time": ({"given_at": None}, "given-time-unknown"),
    "a date alone": ({"given_at": "2026-05-04"}, "given-time-unknown"),
    "an unknown medicine": ({"medicine": "nonsense"}, "given-medicine-unknown"),
    "no dose": ({"dose": None}, "given-amount-unknown"),
    "a volume without a product": ({"dose": "5 mL"}, "given-amount-unknown"),
    "per kg without a weight": ({"dose": "15 mg/kg", "weight": None}, "given-amount-unknown"),
    "an infusion": ({"dose": "5 mg/hour"}, "given-amount-unknown"),
    "no regimen for the route": ({"route": "intranasal"}, "given-not-held"),
}


@pytest.mark.parametrize(("change", "code"), UNCOUNTED.values(), ids=UNCOUNTED)
def test_what_cannot_be_counted_never_leaves_a_clean_chart(change: dict, code: str) -> None:
    answer = chart([*rows_of("04 07:00"), {**rows_of("04 12:00")[0], **change}, *rows_of("04 18:00")])
    assert code in answer.found["code"].to_list()
    assert answer.outcomes["within"] == 0 and answer.outcomes["not-checked"] >= 1


# ---- relations ----


def texts(rows: list[dict[str, str | None]]) -> list[tuple]:
    return chart_texts(chart(rows).found, LIMITS, LONDON).rows()


@pytest.mark.parametrize("seed", range(6))
def test_the_order_of_rows_changes_nothing_but_their_numbers(seed: int) -> None:
    rows = some_rows(seed)
    order = list(range(len(rows)))
    random.Random(seed).shuffle(order)
    before, after = chart(rows).found, chart([rows[place] for place in order]).found
    back = [sorted(order[number - 1] + 1 for number in numbers) for numbers in after["rows"].to_list()]
    assert before["rows"].to_list() == back
    assert before.drop("rows").equals(after.drop("rows"))


@pytest.mark.parametrize("seed", range(6))
def test_one_more_dose_never_helps_and_a_shift_of_all_changes_nothing(seed: int) -> None:
    rows = [{**row, "given_at": row["given_at"].replace("-10-", "-05-") + "Z"} for row in some_rows(seed)]
    more = [*rows, {**rows[0], "given_at": "2026-05-25 13:00Z"}]
    breaks = {code: _doses(chart(rows).found, code) for code in CODES.values()}
    assert all(_doses(chart(more).found, code) >= count for code, count in breaks.items())
    later = [{**row, "given_at": row["given_at"].replace("2026-05", "2026-06")} for row in rows]
    shown = [column for column in chart(rows).found.columns if column not in ("at", "since", "until")]
    assert chart(rows).found.select(shown).equals(chart(later).found.select(shown))


def _doses(found: pl.DataFrame, code: str) -> int:
    return found.filter(pl.col("code") == code)["doses"].sum()


# ---- files ----


def write(path: Path, rows: list[dict[str, str | None]]) -> Path:
    table(rows).write_csv(path)
    return path


def test_a_file_put_aside_in_shares_gives_the_same_bytes(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    rows = [{**row, "child_id": f"SM-{seed:03d}"} for seed in range(30) for row in some_rows(seed)]
    orders = write(tmp_path / "orders.csv", rows)
    whole = run_charts(orders, tmp_path / "whole.csv", FORMULARY, TODAY, LONDON)
    monkeypatch.setattr(partitions, "HELD", 20)
    shared = run_charts(orders, tmp_path / "shared.csv", FORMULARY, TODAY, LONDON)
    assert whole == shared and whole.children == 30
    assert (tmp_path / "whole.csv").read_bytes() == (tmp_path / "shared.csv").read_bytes()
    assert sorted(path.name for path in tmp_path.iterdir()) == ["orders.csv", "shared.csv", "whole.csv"]


def test_a_reference_of_more_doses_than_a_child_is_given_is_named_and_no_dose_of_it_added_up(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    crowd = [row for day in range(1, 29) for row in rows_of(f"{day:02} 08:00", f"{day:02} 09:00", child_id="SM-NEW")]
    orders = write(tmp_path / "orders.csv", [*rows_of("04 08:00", "04 09:00"), *crowd, *rows_of("04 08:00", child_id="SM-Z")])
    for module in (charts, partitions):
        monkeypatch.setattr(module, "MOST", 40)
    whole = run_charts(orders, tmp_path / "whole.csv", FORMULARY, TODAY, LONDON)
    assert whole.children == 3 and whole.outcomes == {"within": 1, "query": 0, "stop": 1, "not-checked": 1}
    found = pl.read_csv(tmp_path / "whole.csv", infer_schema=False)
    assert found["code"].to_list() == ["too-soon", "given-to-too-many"] and found["rows"][1] == ", ".join(map(str, range(3, 23)))
    monkeypatch.setattr(partitions, "HELD", 20)
    assert run_charts(orders, tmp_path / "shared.csv", FORMULARY, TODAY, LONDON) == whole
    assert (tmp_path / "whole.csv").read_bytes() == (tmp_path / "shared.csv").read_bytes()


def test_the_command_tells_the_findings_and_the_rows_on_no_chart(tmp_path: Path) -> None:
    orders = write(tmp_path / "orders.csv", [*rows_of("04 08:00", "04 09:00"), *rows_of("04 08:00", child_id=None)])
    options = ["--out", str(tmp_path / "found.csv"), "--zone", "Europe/London", "--formulary", str(FOLDER)]
    answer = CliRunner().invoke(cli, ["batch", "charts", str(orders), *options], standalone_mode=False)
    assert answer.return_value == 2 and "1 on no chart" in answer.output and "rows 3" in answer.output
    found = pl.read_csv(tmp_path / "found.csv", infer_schema=False)
    assert found.columns == list(CHART_COLUMNS) and found["rows"].to_list() == ["1, 2"]
    assert "was 1 hour ago, and the shortest gap is 4 hours. The earliest time: 2026-05-04 12:00." in found["sentence"][0]


def test_columns_of_other_names_are_mapped(tmp_path: Path) -> None:
    frame = table(rows_of("04 08:00", "04 09:00")).rename({"given_at": "Admin Time", "child_id": "Pat"})
    frame.write_csv(tmp_path / "orders.csv")
    (tmp_path / "map.toml").write_text('[columns]\ngiven_at = "Admin Time"\nchild_id = "Pat"\n')
    summary = run_charts(tmp_path / "orders.csv", tmp_path / "found.csv", FORMULARY, TODAY, LONDON, read_map(tmp_path / "map.toml"))
    assert summary.findings == {"too-soon": 1} and summary.outcomes["stop"] == 1


def test_a_file_without_times_or_children_is_refused_in_a_sentence(tmp_path: Path) -> None:
    for name in ("given_at", "child_id"):
        orders = write(tmp_path / "orders.csv", [{key: value for key, value in rows_of("04 08:00")[0].items() if key != name}])
        with pytest.raises(FileError, match=f'there is no column "{name}"'):
            run_charts(orders, tmp_path / "found.csv", FORMULARY, TODAY, LONDON)
        assert not (tmp_path / "found.csv").exists()


def test_findings_to_standard_output_alone(tmp_path: Path) -> None:
    """The findings can be piped on: the summary goes beside them."""
    rows = ["child_id,medicine,route,for,dose,every,weight,age,given_at"]
    rows += [f"SM-1,paracetamol,oral,pain,210 mg,6 hours,14.2 kg,3 years,2026-05-04 0{hour}:00+01:00" for hour in (8, 9)]
    (tmp_path / "doses.csv").write_text("\n".join(rows) + "\n", "utf-8")
    words = [sys.executable, "-m", "dosecheck", "batch", "charts", str(tmp_path / "doses.csv"), "--out", "-", "--form", "csv"]
    done = subprocess.run(words, capture_output=True, text=True, check=False, cwd=Path(__file__).parents[2])
    assert done.returncode == 0 and done.stdout.count("\n") == 2 and "too-soon" in done.stdout and "1 finding" in done.stderr
