"""The chart of one child: files in, each order and each ingredient out; what only a chart can show; its picture."""

from __future__ import annotations

import json
import re
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any
from xml.etree import ElementTree
from zoneinfo import ZoneInfo

import pytest
from chart.slow import Slow, may_hold
from cli.door import FOLDER, REPO, dosecheck, flat
from hypothesis import given
from hypothesis import strategies as st

from dosecheck import Formulary, InputError
from dosecheck.chart_file import read_chart
from dosecheck.cli.chart_text import chart_text
from dosecheck.reports.timeline import timeline_svg
from dosecheck.rules.chart import ChartVerdict, check_chart

REAL = Formulary(FOLDER)
DEMO = REPO / "dosecheck" / "demo" / "chart.toml"
NOW = "2026-05-04 14:30+01:00"
CHILD = {"id": "SM-001", "weight": "20 kg", "age": "6 years"}
IBUPROFEN = {"medicine": "ibuprofen", "route": "oral", "for": "pain", "dose": "150 mg", "every": "8 hours"}
PARACETAMOL = {"medicine": "paracetamol", "route": "oral", "for": "pain", "dose": "280 mg", "every": "6 hours"}
MORPHINE = {"medicine": "morphine", "route": "oral", "dose": "4 mg", "every": "6 hours"}


def chart(*orders: dict, given: list[dict] | str | None = "none", **top: Any) -> ChartVerdict:
    """A chart as JSON; `given` "none", a list, or None (not told)."""
    file: dict[str, Any] = {"now": NOW, "child": CHILD, "order": list(orders), **top}
    file |= {"doses_given": "none"} if given == "none" else {"given": given} if given else {}
    return check_chart(read_chart("chart.json", json.dumps(file).encode()), REAL)


def dose(medicine: str = "ibuprofen", amount: str = "150 mg", when: str = "9 hours", **more: str) -> dict:
    return {"medicine": medicine, "route": "oral", "dose": amount, **({"at": when} if ":" in when else {"ago": when}), **more}


def codes(verdict: ChartVerdict) -> set[str]:
    return {f.code for f in verdict.findings if f.outcome} | {code for each in verdict.orders for code in each.verdict.codes}


# ---- outcomes ----


def test_none_given_not_told_and_given_differ() -> None:
    """H12: three things; what is not told is never within."""
    none, untold, some = chart(IBUPROFEN), chart(IBUPROFEN, given=None), chart(IBUPROFEN, given=[dose()])
    assert (none.outcome, untold.outcome, some.outcome) == ("within", "not-checked", "within")
    assert "doses-given-not-told" in codes(untold) and "1 dose given" in some.headline and "no dose given before" in none.headline


def test_a_chart_without_an_order_is_not_checked() -> None:
    verdict = chart(given=[dose()])
    assert verdict.outcome == "not-checked" and codes(verdict) == {"no-current-order"}
    assert verdict.blocks[0].ingredient == "ibuprofen" and verdict.blocks[0].in_24_hours.number == 150


def test_one_ingredient_in_two_orders_is_named() -> None:
    """H12: each alone would pass."""
    verdict = chart(PARACETAMOL, {**PARACETAMOL, "medicine": "acetaminophen", "route": "rectal"})
    assert verdict.outcome == "query" and "same-ingredient-ordered" in codes(verdict)
    message = next(f.message for f in verdict.findings if f.code == "same-ingredient-ordered")
    assert "order 1" in message and "order 2" in message


def test_two_orders_of_one_group_are_asked_about() -> None:
    told = [f for f in chart(IBUPROFEN, {**IBUPROFEN, "medicine": "aspirin"}).findings if f.code == "same-group"]
    assert [f.outcome for f in told] == ["query"] and "NSAID" in told[0].message
    assert "same-group" not in codes(chart(IBUPROFEN, PARACETAMOL))


def test_mr25_a_repeated_record_is_counted_and_named_even_without_an_order() -> None:
    verdict = chart(PARACETAMOL, given=[dose(), dose()])
    assert verdict.outcome == "query" and codes(verdict) == {"given-twice"}
    assert next(b for b in verdict.blocks if b.ingredient == "ibuprofen").count == 2


def test_a_product_of_an_order_never_stands_in_for_that_of_a_dose_given() -> None:
    """On a chart a volume without its product cannot be counted, whatever is ordered."""
    order = {**IBUPROFEN, "dose": "7.5 mL", "product": "oral-liquid-100-in-5"}
    assert codes(chart(order, given=[dose(amount="7.5 mL")])) == {"given-amount-unknown"}
    assert chart(order, given=[dose(amount="7.5 mL", product="oral-liquid-100-in-5")]).outcome == "within"


def test_a_total_of_unknown_amounts_is_never_shown_as_nothing() -> None:
    """Only unknown amounts: not known; some of them: at least."""
    puffs = {"medicine": "salbutamol", "route": "inhaled", "dose": "4 puffs", "ago": "9 hours"}
    known = {**puffs, "dose": "400 micrograms", "ago": "5 hours"}
    one, two = chart(given=[puffs]).blocks[0], chart(given=[puffs, known]).blocks[0]
    assert one.total_in_words == "not known" and one.rows[0].total_in_words == "not known"
    assert two.total_in_words == "at least 400 micrograms" and two.count == 2


def test_the_course_runs_from_the_first_dose_told() -> None:
    order = {"medicine": "co-amoxiclav", "route": "oral", "for": "wound infection", "dose": "10 mL", "product": "oral-liquid-125-31-in-5",
             "every": "8 hours"}  # fmt: skip
    child = {**CHILD, "weight": "14 kg", "age": "3 years"}
    given_ = [
        {"medicine": "co-amoxiclav", "product": "oral-liquid-125-31-in-5", "dose": "10 mL", "ago": ago} for ago in ("8 hours", "8 days")
    ]
    assert "course-so-far" in codes(chart(order, given=given_, child=child))
    assert "course-so-far" not in codes(chart(order, given=given_[:1], child=child))


def test_no_plan_to_alternate_is_laid_out() -> None:
    """Each medicine stands alone, and the answer says so."""
    said = dosecheck("chart", str(DEMO), "--formulary", str(FOLDER))
    assert "no plan to give them in turn" in flat(said.out)


def test_opioids_and_routes_are_never_converted() -> None:
    verdict = chart(MORPHINE, given=[dose("tramadol", "20 mg")])
    assert "same-group" in codes(verdict) and not any("tramadol" in s.text for each in verdict.orders for s in each.verdict.working)


# ---- times ----

minutes = st.integers(1, 30 * 60)


@given(st.lists(st.tuples(minutes, st.sampled_from((50, 100, 150))), min_size=1, max_size=8), st.sampled_from(("2024-02-29 12:00", "2026-03-29 12:00", "2026-10-25 12:00", "2027-01-01 00:01")))  # fmt: skip
def test_totals_across_leap_days_midnight_and_both_clock_changes(doses: list[tuple[int, int]], noon: str) -> None:
    """H13: local times of a zone come to the same as minutes counted by hand; a doubled hour counts at both ends."""
    zone = ZoneInfo("Europe/London")
    now = datetime.fromisoformat(noon).replace(tzinfo=zone)
    told, slow = [], []
    for ago, amount in doses:
        moment = (now.astimezone(ZoneInfo("UTC")) - timedelta(minutes=ago)).astimezone(zone)
        told.append(dose(amount=f"{amount} mg", when=f"{moment:%Y-%m-%d %H:%M}"))
        doubled = noon.startswith("2026-10-25") and moment.hour == 1 and moment.day == 25
        slow.append(Slow(-ago - 60 * (moment.fold and doubled), -ago + 60 * (doubled and not moment.fold), amount))
    verdict = chart(IBUPROFEN, given=told, now=noon, zone="Europe/London")
    held = may_hold(slow, 0)
    block = verdict.blocks[0]
    assert block.count == len(held) and (block.in_24_hours.number if held else 0) == sum(d.amount for d in held)


@pytest.mark.parametrize(("at", "count"), [("2026-05-03 23:59+01:00", 1), ("2026-05-04 00:01+01:00", 1), ("2026-05-03 14:30+01:00", 0), ("2026-05-03 14:31+01:00", 1)])  # fmt: skip
def test_midnight_does_not_matter_and_exactly_24_hours_is_outside(at: str, count: int) -> None:
    assert chart(IBUPROFEN, given=[dose(when=at)]).blocks[0].count == count


def test_an_hour_lost_and_an_hour_won_change_the_gap() -> None:
    """23:00 to 02:00 of the spring night is 2 hours; 23:00 to 02:00 of the autumn night is 4: by the zone, not by the clock's face."""
    gaps = {}
    for day, before in (("2026-03-29", "2026-03-28"), ("2026-10-25", "2026-10-24")):
        verdict = chart(IBUPROFEN, given=[dose(when=f"{before} 23:00")], now=f"{day} 02:00", zone="Europe/London")
        gaps[day] = next(s.text for s in verdict.orders[0].verdict.working if s.text.startswith("since the last"))
    assert gaps["2026-03-29"].endswith(": 2 hours") and gaps["2026-10-25"].endswith(": 4 hours")


# ---- files ----


def faults(content: str | dict, name: str = "chart.json", now: str | None = None) -> list[tuple[str, str]]:
    content = content if isinstance(content, str) else json.dumps(content)
    with pytest.raises(InputError) as error:
        read_chart(name, content.encode("utf-8", "surrogatepass"), now)
    return [(fault.field, str(fault)) for fault in error.value.faults]


GOOD: dict[str, Any] = {"now": NOW, "child": CHILD, "order": [IBUPROFEN], "given": [dose()]}


def changed(part: str, **keys: Any) -> dict:
    value = GOOD[part][0] if isinstance(GOOD[part], list) else GOOD[part]
    new = {key: entry for key, entry in {**value, **keys}.items() if entry is not None}
    return {**GOOD, part: [new] if isinstance(GOOD[part], list) else new}


@pytest.mark.parametrize(
    ("file", "field", "word"),
    [
        (changed("child", wieght="20 kg"), "child: wieght", 'mean "weight"'),  # B080
        (changed("order", rout="oral"), "order 1: rout", 'mean "route"'),
        (changed("given", colour="blue"), "given 1: colour", "Known here"),
        ({**GOOD, "nowadays": "x"}, "nowadays", "now"),
        (changed("child", weight=True), "child: weight", "bool"),  # B079
        (changed("child", weight=20), "child: weight", "20"),
        (changed("child", weight="20"), "child: weight", "unit"),
        (changed("child", weight="1" * 5000), "child: weight", "5000 characters"),  # B082
        (changed("child", id="\ud800"), "child: id", "hidden"),  # B083
        (changed("child", on="2026-05-03"), "child: on", "not the date"),
        (changed("order", once=1), "order 1: once", "yes"),
        (changed("given", at="2026-05-04 08:10Z"), "given 1: at", "both at and ago"),
        (changed("given", ago=None), "given 1: at", "missing"),
        (changed("given", ago=None, at="2026-05-04 08:10"), "given 1: at", "offset"),
        (changed("given", ago=None, at="2026-05-04 18:10Z"), "given 1: at", "after the time of the check"),
        (changed("given", medicine=None), "given 1: medicine", "missing"),
        (changed("given", dose="150 mg a day"), "given 1: dose", "whole day"),
        (changed("given", dose=None), "given 1: dose", "missing"),
        (changed("given", note="x" * 61), "given 1: note", "60"),
        ({**GOOD, "doses_given": "none"}, "doses_given", "Leave one"),
        ({**GOOD, "doses_given": "no", "given": []}, "doses_given", '"none"'),
        ({**GOOD, "order": {}}, "order", "double brackets"),
        ({**GOOD, "order": [1]}, "order 1", "table"),
        ({**GOOD, "order": [IBUPROFEN] * 101}, "order", "more than 100"),
        ({**GOOD, "given": [dose()] * 1001}, "given", "more than 1,000"),
        ({**GOOD, "now": "2026-05-04"}, "now", "time of day"),
        ({**GOOD, "zone": "Europe/Lodnon"}, "zone", "No time zone"),
        ({k: v for k, v in GOOD.items() if k != "now"}, "now", "missing"),
        ({k: v for k, v in GOOD.items() if k != "child"}, "child", "missing"),
    ],
    ids=str,
)  # fmt: skip
def test_a_fault_is_named_with_its_place(file: dict, field: str, word: str) -> None:
    """B077 to B084, and the rest of what a tired hand writes."""
    told = faults(file)
    assert [place for place, _ in told] == [field] and word in told[0][1]


@pytest.mark.parametrize(
    "text",
    ['{"child": {"weight": NaN}}', '{"child": {"weight": Infinity}}', '{"now": "a", "now": "b"}', "{}{}", "{'now': 1}", '{"now": 1,}', "", "null", "[]",
     "[" * 100_000, '{"now": 1 // x\n}', '{"child": ' * 5000],
    ids=lambda text: text[:20],
)  # fmt: skip
def test_lenient_json_is_refused(text: str) -> None:
    """B077, B078, B084: one plain message, never a traceback."""
    assert len(faults(text)) == 1


def test_a_number_with_a_point_stays_what_was_written() -> None:
    """B081: no binary float; and without its unit it is refused."""
    told = faults('{"now": "2026-05-04 14:30Z", "child": {"weight": 0.1000000000000000055}}')
    assert told[0][0] == "child: weight" and "0.1000000000000000055" in told[0][1]


def test_all_faults_at_once_and_in_toml() -> None:
    told = faults('now = 2026-05-04\n[child]\nwieght = "1"\n[[order]]\ndose = "1,5 mg"\n[[given]]\ndose = "x"', "chart.toml")
    assert [place for place, _ in told] == ["now", "child: wieght", "order 1: dose", "given 1: dose", "given 1: at"]
    assert "stands twice" in faults('now = "a"\nnow = "b"', "chart.toml")[0][1]
    assert "neither in .toml" in faults("", "chart.txt")[0][1]


def test_toml_times_of_its_own_kind_are_read() -> None:
    text = 'now = 2026-05-04T14:30:00+01:00\n[child]\nweight = "20 kg"\nborn = 2020-05-04\n[[given]]\nmedicine = "ibuprofen"\ndose = "1 g"\nat = 2026-05-04T13:30:00Z'
    read = read_chart("chart.toml", text.encode())
    assert read.earlier.doses[0].ago == (0, 0) and read.child.on.isoformat() == "2026-05-04"


@given(st.recursive(st.none() | st.booleans() | st.integers() | st.text(max_size=8), lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.sampled_from(("now", "child", "order", "given", "dose", "at", "weight", "zone")), inner, max_size=4), max_leaves=12))  # fmt: skip
def test_whatever_the_file_holds_there_is_an_answer_or_a_list_of_faults(tree: Any) -> None:
    try:
        check_chart(read_chart("chart.json", json.dumps(tree).encode()), REAL)
    except InputError as error:
        assert error.faults


@pytest.mark.parametrize("key", ["medicine", "route", "dose"])
def test_an_order_without_a_field_is_never_within(key: str) -> None:
    """MR26."""
    assert chart({k: v for k, v in IBUPROFEN.items() if k != key}, given=[dose()]).outcome != "within"


def test_a_dose_before_the_birth_is_refused() -> None:
    with pytest.raises(InputError, match="birth"):
        chart(IBUPROFEN, given=[dose(when="60 days")], child={"weight": "4 kg", "born": "2026-04-20"})


# ---- the command ----


def test_the_demo_chart_by_hand() -> None:
    """Worked by hand: 31 lb = 14.06136347 kg, 15 mg/kg = 210.92 mg, so 8.5 mL (204 mg); 12:20 and 4 hours is 16:20; 240 + 250 + 204 = 694."""
    said = dosecheck("chart", str(DEMO), "--formulary", str(FOLDER))
    text = flat(said.out)
    assert said.status == 3 and said.out.startswith("STOP")
    for words in (
        "2 st 3 lb (about 14.06 kg)",
        "694 mg",
        "at 16:20",
        "8.5 mL = 204 mg",
        "at most about 210.9 mg",
        "order 2, ibuprofen: WITHIN",
        "3 of 4",
    ):
        assert words in text
    assert max(map(len, said.out.splitlines())) <= 80


def test_long_amounts_and_times_stay_within_the_columns() -> None:
    """H32: micrograms in full, a range of times, an hour that came twice, a dose of an unknown medicine named for the whole chart."""
    order = {"medicine": "salbutamol", "route": "inhaled", "dose": "4 puffs", "every": "4 hours", "product": "inhaler-100"}
    given_ = [dose("salbutamol", "4 puffs", "2026-10-25 01:30", product="inhaler-100", note="at home"), dose("salbutamol", "4 puffs", "9 to 10 hours", product="inhaler-100"),
              dose("mystery", "1 mg")]  # fmt: skip
    verdict = chart(order, given=given_, now="2026-10-25 03:10", zone="Europe/London")
    text = chart_text(verdict)
    assert max(map(len, text.splitlines())) <= 79 and "01:30 (an hour that came twice)" in text and "18:10 to 19:10 yesterday" in text
    assert "given-medicine-unknown" in {f.code for f in verdict.findings} and flat(text).count("of mystery by oral route, 9 hours ago") == 2


def test_two_children_in_turn_leave_nothing_behind(tmp_path: Path) -> None:
    """H31: each answer heads with its own child, and knows nothing of the other's."""
    other = tmp_path / "other.json"
    other.write_text(json.dumps({**GOOD, "child": {**CHILD, "id": "SM-002"}}), "utf-8")
    first = dosecheck("chart", str(DEMO), "--formulary", str(FOLDER))
    between = dosecheck("chart", str(other), "--formulary", str(FOLDER))
    assert dosecheck("chart", str(DEMO), "--formulary", str(FOLDER)) == first
    assert "SM-002" in between.out and "SM-001" not in between.out and "suppository" not in between.out


def test_json_has_the_same_answer(tmp_path: Path) -> None:
    answer = json.loads(dosecheck("chart", str(DEMO), "--json", "--formulary", str(FOLDER)).out)
    assert answer["outcome"] == "stop" and answer["child_id"] == "SM-001" and answer["doses_given"] == 4
    assert answer["ingredients"][0]["orders"][0]["next_dose"]["earliest"] == "in 1 hour 50 minutes, at 16:20"


def test_a_chart_that_cannot_be_read_is_called_a_chart(tmp_path: Path) -> None:
    file = tmp_path / "chart.toml"
    file.write_text('now = "2026-05-04 14:30+01:00"\n[child]\nid = "SM-002"\nweight = "14.2"\nbron = 2023-02-14\n', "utf-8")
    said = dosecheck("chart", str(file), "--formulary", str(FOLDER))
    assert said.status == 2 and said.err.startswith("Nothing was checked: the chart cannot be read.")
    assert 'Did you mean "born"?' in said.err and "The weight has no unit" in said.err


@pytest.mark.parametrize("args", [("nosuch.toml",), (".",), (str(DEMO), "--svg", "/nosuch/a.svg"), ()])
def test_bad_input_is_status_2(args: tuple[str, ...]) -> None:
    said = dosecheck("chart", *args, "--formulary", str(FOLDER))
    assert said.status == 2 and "Traceback" not in said.err and not said.out


def test_a_file_beyond_its_size_is_refused(tmp_path: Path) -> None:
    """B086."""
    (tmp_path / "big.toml").write_text("#" * 1_000_001)
    said = dosecheck("chart", str(tmp_path / "big.toml"), "--formulary", str(FOLDER))
    assert said.status == 2 and "1,000,000" in said.err


# ---- the picture ----


def test_the_picture_is_whole_alone_and_escaped() -> None:
    """No script and nothing fetched; title and description; foreign text escaped; amounts in one piece."""
    orders = [{**IBUPROFEN, "dose": "7 mL", "product": "oral-liquid-100-in-5"}, {"medicine": "<b>nosuch</b>", "dose": "1 mg"}]
    svg = timeline_svg(
        chart(*orders, given=[dose(note="<script>&'\"", when="9 to 10 hours"), dose("aspirin")], child={**CHILD, "id": "<i>SM-001"})
    )
    root = ElementTree.fromstring(svg)
    names = {element.tag.partition("}")[2] for element in root.iter()}
    assert names <= {"svg", "title", "desc", "defs", "pattern", "rect", "line", "circle", "path", "text"}
    assert not re.search(r"href|url\((?!#hatch)|@import|<script", svg)
    assert root.attrib["role"] == "img" and root.find("{*}desc").text.startswith("NOT CHECKED")
    lines = [element.text for element in root.iter("{http://www.w3.org/2000/svg}text")]
    assert not any(re.search(r"\d$", line or "") and not re.search(r"(of \d+|\d\d:\d\d|order \d+)$", line) for line in lines), lines
    assert "&lt;b&gt;nosuch" in svg and "mL" in svg and not re.search(r"\d ml\b", svg)
