"""Bad inputs at the command line, by their numbers: refused with what to write (exit 2), or loudly not checked (4)."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest
from cli.door import BASE, FOLDER, REPO, dosecheck, flat, options, order, spawn

REFUSED, NOT_CHECKED = 2, 4

# number: field, texts, words of the message
NUMBERS = {
    "B001": ("weight", ["12,5 kg", "12,5"], "point"),
    "B003": ("dose", ["1.234,5 mg"], "comma"),
    "B004": ("dose", ["1 000 mg", "1\u00a0000 mg", "1\u2009000 mg"], ""),
    "B005": ("dose", [".5 mg"], "0.5"),
    "B006": ("dose", ["1O mg", "l0 mg", "I5 mg"], "letter"),
    "B007": ("weight", ["\uff11\uff12 kg", "\u0661\u0662 kg"], "U+"),
    "B008": ("weight", ["1_0 kg"], "digits"),
    "B009": ("weight", ["nan kg", "NaN kg", "sNaN kg"], ""),
    "B010": ("dose", ["inf mg", "-inf mg", "Infinity mg", "1e400 mg"], ""),
    "B011": ("dose", ["1e999999 mg"], "exponent"),
    "B012": ("dose", ["1e3 mg"], "1000"),
    "B013": ("dose", ["0x10 mg", "010 mg", "1b mg"], ""),
    "B014": ("weight", ["0 kg", "0.0 kg", "-0 kg"], "above zero"),
    "B015": ("dose", ["9" * 400 + " mg", "9" * 20 + " mg"], ""),
    "B016": ("dose", ["\u22125 mg", "\u20135 mg", "+5 mg", "-5 mg"], ""),
    "B017": ("dose", ["\u00bd tab", "1/2 tablets", "1\u00bd tablets"], ""),
    "B018": ("dose", ["~15 mg", "about 15 mg", "15? mg", "<15 mg"], ""),
    "B019": ("dose", ["5%", "1:1000", "1 in 1000"], ""),
    "B020": ("dose", ["15"], "no unit"),
    "B021": ("dose", ["15 mgs", "15 mg.", "15 Mg", "15 MG", "15 mG"], '"mg"'),
    "B024": ("dose", ["5 cc", "1 tsp", "1 amp", "1 tab", "1 spoon", "1 vial"], ""),
    "B026": ("dose", ["10 U", "10U", "10IU", "10 iu"], '"units" in full'),
    "B030": ("weight", ["10 kg 500", "1 st 8", "14.2 kgs", "14.2 KG"], ""),
    "B037": ("every", ["q4-6h", "prn", "OD", "QOD", "6/24", "bd", "TDS", "4-6 hours", "0 hours", "8"], ""),
    "B038": ("born", ["21-04-03", "2021-4-3", "20210403", "2021-W14-6", "03/04/2021", "3 April 2021"], "year-month-day"),
    "B039": ("born", ["2023-02-29", "2024-02-30", "2021-13-01", "0000-00-00"], "no such"),
    "B040": ("born", ["2026-05-05", "2031-01-01"], "after the date of the order"),
    "B041": ("born", ["1901-05-01", "2068-05-01"], ""),
    "B042": ("age", ["18", "3"], "months"),
    "B043": ("age", ["2.5 years", "2y6m", "30/12", "5/7", "18 mo", "2 years 14 months"], ""),
    "B046": ("born", ["2021-04-03T23:30:00-08:00", "2021-04-03 00:00"], "year-month-day"),
}  # fmt: skip
REFUSALS = [(number, field, text, words) for number, (field, texts, words) in NUMBERS.items() for text in texts]


@pytest.mark.parametrize(
    ("number", "field", "text", "words"), REFUSALS, ids=[f"{number}-{ascii(text)[:30]}" for number, _, text, _ in REFUSALS]
)
def test_refused_with_what_to_write(number: str, field: str, text: str, words: str) -> None:
    """Exit 2; the message names the field and says what to write; nothing is answered; JSON says the same."""
    changes: dict[str, Any] = {field: text} | ({"age": None} if field == "born" else {})
    said = order(**changes)
    assert said.status == REFUSED and said.out == ""
    assert f"  - {field}" in said.err and words in flat(said.err) and "Nothing was checked" in said.err
    assert all(char.isprintable() or char == "\n" for char in said.err)
    told = order("--json", **changes)
    (fault,) = json.loads(told.out)["errors"]
    assert told.status == REFUSED and set(fault) == {"field", "given", "why", "write"}
    assert fault["field"] == field and fault["why"] and fault["write"] and len(fault["given"]) < 250


NOT_THERE = {
    "B009": [{"weight": "nan"}, {"weight": "NaN"}],
    "B024": [{"dose": "5 drops"}, {"dose": "2 puffs"}],
    "B025": [{"medicine": "salbutamol", "route": "nebulised", "for": "asthma attack", "dose": "2 puffs"}, {"dose": "2 puffs"}],
    "B026": [{"dose": "10 units"}, {"dose": "10 IU"}],
    "B031": [{"medicine": name} for name in ("", "   ", "-", "TBC")],
    "B032": [{"medicine": "paracetmol"}],
    "B033": [{"medicine": "p\u0430racetamol"}],
    "B035": [{"medicine": "co-trimoxazole", "for": None, "dose": "5 mL"}, {"medicine": "co-trimoxazole", "for": None, "dose": "240 mg"}],
    "B036": [{"route": "PO/IV"}, {"route": "PO or PR"}, {"route": "oral or rectal"}],
    "B037": [{"every": None, "as_needed": True}],
    "B041": [{"born": "1921-05-01", "age": None}],
}
LOUD = [(number, changes) for number, rows in NOT_THERE.items() for changes in rows]


@pytest.mark.parametrize(("number", "changes"), LOUD, ids=[f"{number}-{ascii(list(changes.values()))[:40]}" for number, changes in LOUD])
def test_not_checked_and_loud(number: str, changes: dict[str, Any]) -> None:
    """Exit 4; the first words are that it was not checked; no limit of anything else was used; a reason is given."""
    said = order(**changes)
    assert said.status == NOT_CHECKED and said.out.startswith("NOT CHECKED") and "Why" in said.out
    answer = json.loads(order("--json", **changes).out)
    assert answer["outcome"] == "not-checked" and len(answer["not_checked"]) > 1
    assert (answer["limits"] == [] and answer["one_dose"] == "") or number in ("B009", "B037")


@pytest.mark.parametrize("name", ["para\u200bcetamol", "para\u00a0cetamol", "paracetamol\u202e", "para\tcetamol"])
def test_b033_b034_hidden_characters(name: str) -> None:
    """A hidden character inside a name is refused and named by its code."""
    said = order(medicine=name)
    assert said.status == REFUSED and "  - medicine" in said.err
    assert any(f"U+{ord(char):04X}" in said.err for char in name if not char.isprintable() or char == "\u00a0")


def test_b022_two_micro_signs() -> None:
    """Both are micrograms, with equal answers, printed in the one safe form."""
    answers = [order("--json", dose=f"210000 {sign}g").out for sign in ("\u00b5", "\u03bc", "mc")]
    assert len(set(answers)) == 1 and json.loads(answers[0])["outcome"] == "within"
    assert "\u00b5" not in answers[0] and "\u03bc" not in answers[0]
    assert json.loads(order("--json", medicine="salbutamol", route="intravenous", dose="5 \u00b5g/kg").out)["understood"][
        "dose"
    ].startswith("5 micrograms/kg")


def test_b023_a_byte_that_is_not_utf8() -> None:
    """A Latin-1 micro sign among the arguments never becomes grams."""
    args = [part.encode() for part in ("order", "--formulary", str(FOLDER), *options({**BASE, "dose": None}), "--dose")]
    done = subprocess.run([sys.executable, "-m", "dosecheck", *args, b"210 \xb5g"], capture_output=True, cwd=REPO, check=False, timeout=60)
    assert done.returncode == REFUSED and b"dose" in done.stderr and b"Traceback" not in done.stderr
    done = subprocess.run(
        [sys.executable, "-m", "dosecheck", *args, b"210 mg", b"--condition", b"\xb5"],
        capture_output=True,
        cwd=REPO,
        check=False,
        timeout=60,
    )
    assert done.returncode == REFUSED and b"condition" in done.stderr and b"Traceback" not in done.stderr


def test_b027_a_figure_per_kg_for_a_dose() -> None:
    """200 mg/kg meant as 200 mg: a stop, with the computed dose and the multiple of the maximum in words."""
    said = order(dose="200 mg/kg")
    assert said.status == 3 and "2,840 mg" in flat(said.out) and "times the" in flat(said.out)
    assert "the figure per kg and the dose itself were mixed up" in flat(said.out)


def test_b029_pounds() -> None:
    """33 lb is never 33 kg: the exact factor, with both figures shown."""
    told = json.loads(order("--json", weight="33 lb").out)
    assert told["understood"]["weight"] == "33 lb (about 14.97 kg)"
    assert order(weight="22lb 4oz").status in (0, 1, 3)


def test_b032_a_near_name_is_a_question() -> None:
    """The suggestion is shown as one, and none of its figures is used."""
    said = order(medicine="paracetmol")
    assert "Did you mean paracetamol?" in flat(said.out) and "mg/kg" not in said.out


def test_b034_case_and_outer_spaces() -> None:
    """Case and outer spaces do not matter: equal answers."""
    answers = {order("--json", medicine=name).out for name in ("paracetamol", "Paracetamol ", "PARACETAMOL", " paracetamol")}
    assert len(answers) == 1


def test_b035_every_ingredient_of_a_combination() -> None:
    """With the product in hand each ingredient is accounted for."""
    mixed = {"medicine": "co-trimoxazole", "for": "urinary infection", "every": "12 hours", "product": "oral-liquid-40-200-in-5"}
    told = json.loads(order("--json", **mixed, dose="5 mL").out)
    assert told["limits"] and told["outcome"] != "not-checked"
    assert json.loads(order("--json", **mixed, dose="40 mg of trimethoprim").out)["outcome"] == told["outcome"]
    assert json.loads(order("--json", **mixed, dose="40 mg").out)["findings"][0]["code"] == "basis-missing"


def test_b037_a_range_is_judged_at_its_shortest_end() -> None:
    """Every 4 to 6 hours is up to six doses in 24 hours."""
    told = json.loads(order("--json", every="4 to 6 hours").out)
    assert told["outcome"] == "stop" and "too-many-doses" in {f["code"] for f in told["findings"]}
    assert order(every="4 to 6 hours", at_most="4").status == 0


def test_b044_age_and_date_of_birth_disagree() -> None:
    """Neither is chosen: both are shown."""
    said = order(age="6 years", born="2025-11-04")
    assert (
        said.status == REFUSED and "  - age" in said.err and "6 years" in said.err and "2025-11-04" in said.err and "6 months" in said.err
    )


@pytest.mark.parametrize(("on", "age"), [("2025-02-28", "11 months"), ("2025-03-01", "12 months")])
def test_b045_a_child_of_29_february(on: str, age: str) -> None:
    """One documented birthday: 1 March in a common year."""
    assert json.loads(order("--json", age=None, born="2024-02-29", on=on).out)["understood"]["age"] == age


def test_all_faults_come_at_once() -> None:
    """Three bad fields, three lines."""
    said = order(dose="1,5 mg", weight="0 kg", age="18")
    assert said.status == REFUSED and said.err.count("\n  - ") == 3


# ---- the command line itself ----


@pytest.mark.parametrize("args", [(), ("order",), ("dose",), ("batch",), ("formulary",), ("formulary", "show"), ("formulary", "copy")])
def test_b095_nothing_given(args: tuple[str, ...]) -> None:
    """Usage, a status that is no all-clear, and nothing checked."""
    said = dosecheck(*args)
    assert said.status == REFUSED and "WITHIN" not in said.out + said.err
    assert "Usage" in said.out + said.err or "Nothing to check" in said.err


@pytest.mark.parametrize("flag", ["--wieght", "--wei", "--weigh", "--Weight", "--weights"])
def test_b096_unknown_and_shortened_options(flag: str) -> None:
    """Neither is taken for the option; the nearest one is named."""
    said = order(flag, "12 kg", weight=None)
    assert said.status == REFUSED and said.out == "" and f"No such option '{flag}'" in said.err and "'--weight'" in said.err


@pytest.mark.parametrize("field", [name for name in BASE if name != "medicine"] + ["medicine"])
def test_b097_an_option_given_twice(field: str) -> None:
    """The last one is not kept in silence, even when both say the same."""
    said = order(f"--{field}", BASE[field])
    assert said.status == REFUSED and f"--{field} is given twice" in said.err and said.out == ""


@pytest.mark.parametrize("text", ["-12", "-12 kg", "-0.5 kg"])
def test_b098_a_negative_weight(text: str) -> None:
    """Not taken for an option: it must be above zero."""
    said = order(weight=text)
    assert said.status == REFUSED and "weight" in said.err and "above zero" in said.err


@pytest.mark.parametrize(("text", "status"), [("nan", NOT_CHECKED), ("1_0", REFUSED), ("inf", REFUSED), ("1e1", REFUSED), ("12", REFUSED)])
def test_b099_what_float_would_accept(text: str, status: int) -> None:
    """No weight: refused, or missing."""
    assert order(weight=text).status == status


@pytest.mark.parametrize("name", ["nosuch.toml", "nosuch", "a-file.toml", "empty", "."])
def test_b100_no_fallback_for_a_formulary(name: str, tmp_path: Path) -> None:
    """A formulary that cannot be used is refused by name; another is never used in its stead."""
    (tmp_path / "a-file.toml").write_text("x = 1")
    (tmp_path / "empty").mkdir()
    said = dosecheck("order", "--formulary", str(tmp_path / name), *options(BASE))
    assert said.status == REFUSED and str(tmp_path / name) in said.err and said.out == "" and "policy.toml" in said.err


def test_b100_broken_and_unreadable_ones(tmp_path: Path) -> None:
    """So are a folder with a broken file, and one whose file is a folder; every fault is named with its place."""
    dosecheck("formulary", "copy", str(tmp_path / "mine"))
    file = tmp_path / "mine" / "medicines" / "paracetamol.toml"
    file.write_text(file.read_text("utf-8").replace('"15 mg/kg"', '"15 mgkg"'), "utf-8")
    said = dosecheck("order", "--formulary", str(tmp_path / "mine"), *options(BASE))
    assert said.status == REFUSED and "paracetamol.toml" in said.err and "15 mgkg" in said.err and said.out == ""
    file.unlink()
    file.mkdir()
    said = dosecheck("order", "--formulary", str(tmp_path / "mine"), *options(BASE))
    assert said.status == REFUSED and "paracetamol.toml" in said.err


def test_b101_two_formularies() -> None:
    """Two are refused, whether they agree or not."""
    said = order("--formulary", str(FOLDER))
    assert said.status == REFUSED and "--formulary is given twice" in said.err


@pytest.mark.parametrize(
    "args",
    [("order", "--formulary", str(FOLDER), *options(BASE)), ("codes",), ("formulary", "show", "paracetamol", "--formulary", str(FOLDER))],
)
def test_b102_a_closed_pipe(args: tuple[str, ...]) -> None:
    """Quiet, and not the status of an answer."""
    process = subprocess.Popen([sys.executable, "-m", "dosecheck", *args], stdout=subprocess.PIPE, stderr=subprocess.PIPE, cwd=REPO)
    process.stdout.close()
    error = process.stderr.read()
    process.stderr.close()
    assert process.wait(60) == REFUSED and error == b""


@pytest.mark.parametrize("name", ["-", "/dev/null", "nosuch.csv", "."])
def test_b103_no_file_to_read(name: str, tmp_path: Path) -> None:
    """No hang on a closed or empty input: a message and no result."""
    said = spawn("batch", name, "--out", str(tmp_path / "out.csv"))
    assert said.status == REFUSED and "Traceback" not in said.err and said.err and not list(tmp_path.iterdir())


def test_b105_time_zones() -> None:
    """The same dates give the same answer on either side of the date line."""
    args = ("order", "--json", "--formulary", FOLDER, *options({**BASE, "age": None, "born": "2023-05-04"}))
    assert len({spawn(*args, TZ=zone) for zone in ("<+14>-14", "<-12>12")}) == 1


def test_b106_a_clock_before_the_birth() -> None:
    """With a date of the order before the birth there is no age to go by."""
    said = order(age=None, born="2023-05-04", on="1970-01-01")
    assert said.status == REFUSED and "after the date of the order" in said.err


def test_b107_one_row_refused_among_many(tmp_path: Path) -> None:
    """The summary counts within and refused apart, and the status is no all-clear."""
    row = "paracetamol,oral,pain,210 mg,6 hours,14.2 kg,3 years\n"
    (tmp_path / "orders.csv").write_text("medicine,route,for,dose,every,weight,age\n" + row * 999 + row.replace("14.2 kg", "0 kg"), "utf-8")
    said = dosecheck("batch", str(tmp_path / "orders.csv"), "--out", str(tmp_path / "out.csv"), "--formulary", str(FOLDER))
    assert said.status == REFUSED
    lines = [line.split() for line in said.out.splitlines()]
    assert ["999", "within"] in lines and ["1", "not-checked"] in lines and "1 could not be read" in said.out


def test_no_size_is_offered_while_the_weight_is_in_doubt() -> None:
    """H02, H03: 33 lb taken as 33 kg at 3 years; the query stands, and nothing invites a dose by that weight."""
    told = {"product": "oral-liquid-120-in-5", "none_given": True}
    doubted, right = order(weight="33 kg", **told), order(weight="14.2 kg", **told)
    assert "Next dose" in right.out and "the most that can be measured is" in flat(right.out)
    assert doubted.status != 0 and "would fit if the figure is in pounds" in flat(doubted.out)
    assert "; at most 213 mg then" in flat(right.out) and "mg then" not in flat(doubted.out)
    assert "the most that can be measured is" not in flat(doubted.out)
    assert flat(doubted.out).count("weigh the child first") == 2


def test_nor_does_the_dose_command_offer_a_size() -> None:
    """The figures of the formulary stand, what they come to by a doubtful weight does not; the status says to ask."""
    told = {name: BASE[name] for name in ("medicine", "route", "for", "age", "on")}
    asked = ("dose", "--formulary", str(FOLDER), *options({**told, "weight": "60 kg"}))
    said, data = dosecheck(*asked), json.loads(dosecheck(*asked, "--json").out)
    assert said.status == 1 and "hard to believe" in said.out and "15 mg/kg" in said.out
    assert "900 mg" not in said.out and "mL =" not in said.out
    assert all(not f["high"] and not f["working"] and not any(p["measured"] for p in f["products"]) for f in data["figures"])
    assert dosecheck("dose", "--formulary", str(FOLDER), *options({**told, "weight": "14.2 kg"})).status == 0


def test_a_low_dose_is_not_held_against_a_size_by_a_doubtful_weight() -> None:
    doubted, right = order(weight="60 kg", dose="240 mg"), order(weight="14.2 kg", dose="150 mg")
    assert "low end of 13.5 mg/kg" in flat(doubted.out) and "810 mg at 60 kg" not in flat(doubted.out)
    assert "which is 191.7 mg at 14.2 kg" in flat(right.out)


def test_the_next_dose_is_withheld_with_its_reason() -> None:
    data = json.loads(order("--json", weight="60 kg", none_given=True).out)
    assert data["next_dose"] is None and "weigh the child first" in data["next_dose_withheld"]
    assert json.loads(order("--json", none_given=True).out)["next_dose_withheld"] == ""
