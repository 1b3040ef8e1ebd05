"""The class view: every answer marked again, every row counted, statistics as reckoned by hand, the persistent slip found."""

from __future__ import annotations

import csv
import io
import json
import random
from datetime import UTC, datetime
from decimal import Decimal
from fractions import Fraction
from pathlib import Path

import pytest
from cli.door import dosecheck, flat
from drill.bank import FOLDER, POOL, question
from drill.papers import MIXED, papers, plan_file, row

from dosecheck.drill.class_page import to_csv, to_html
from dosecheck.drill.class_tally import FAILED, NO_MARK, OPEN, PASSED
from dosecheck.drill.classroom import ClassView, see_class
from dosecheck.drill.item_stats import difficulty, discrimination
from dosecheck.drill.paper import Papers, version_name
from dosecheck.drill.paper_key import key_of
from dosecheck.drill.progress import EXPORT
from dosecheck.drill.progress import to_csv as export
from dosecheck.drill.record import Answer
from dosecheck.errors import FileError

AT = ("--formulary", str(FOLDER))
HEAD = ["learner", "version", "number", "answer"]


def table(folder: Path, rows: list[tuple], name: str = "answers.csv", head: list[str] = HEAD) -> str:
    out = io.StringIO(newline="")
    csv.writer(out).writerows([head, *rows])
    (folder / name).write_text(out.getvalue(), "utf-8")
    return str(folder / name)


def seen(folder: Path, rows: list[tuple], made: Papers | None = None) -> ClassView:
    return see_class([table(folder, rows)], POOL, made or papers(folder))


def answers(made: Papers, version: str, **wrong: str) -> list[str]:
    """The key's answers, some of them put wrong: q3="28 mg"."""
    return [wrong.get(f"q{entry.number}", entry.answer) for entry in key_of(made.version(version))]


def rows_of(learner: str, version: str, given: list[str]) -> list[tuple]:
    return [(learner, version, number, text) for number, text in enumerate(given, 1)]


def slipped(made: Papers, version: str, slip: str) -> list[str]:
    """Right but where that slip, and no other, gives the answer."""
    given = []
    for entry in key_of(made.version(version)):
        mine = [wrong.answer for wrong in entry.wrong if wrong.slips == (slip,)]
        given.append(mine[0] if mine else entry.answer)
    return given


@pytest.fixture(scope="module")
def thirty(tmp_path_factory) -> ClassView:
    """30 learners, three versions; every third forgets the maximum each time, the others slip here and there."""
    folder = tmp_path_factory.mktemp("thirty")
    made, chance, rows = papers(folder), random.Random(3), []
    for n in range(30):
        version = version_name(n % 3)
        if n % 3 == 0:
            given = slipped(made, version, "weight-divided")
        else:
            given = [
                chance.choice(entry.wrong).answer if entry.wrong and chance.random() < 0.1 else entry.answer
                for entry in key_of(made.version(version))
            ]
        rows += rows_of(f"SM-L-{n + 1:02d}", version, given)
    return seen(folder, rows, made)


def test_the_persistent_slip_is_named_most_common(thirty: ClassView) -> None:
    first, second = thirty.slips[:2]
    assert first.slip == "weight-divided" and first.learners >= 10 and first.answers > second.answers
    assert thirty.share_of(first) == f"{round(first.learners * 100 / 30)} %"
    assert thirty.next.startswith(f'Teach next the slip "weight-divided", made by {first.learners} of 30 learners')
    assert all("weight-divided" in one.slips for one in thirty.learners if int(one.learner[-2:]) % 3 == 1)


def test_scores_add_up(thirty: ClassView) -> None:
    assert thirty.rows == thirty.marked == 30 * 12 and not thirty.refused and not thirty.unread
    right = sum(one.right for one in thirty.learners)
    assert right == sum(item.right for item in thirty.items) == sum(kind.right for kind in thirty.kinds) < 360
    assert all((one.verdict == PASSED) is (one.right >= 10) for one in thirty.learners)


def test_the_hardest_kind_comes_first(thirty: ClassView) -> None:
    """The slip takes every weight of the ten, so the kinds with a weight are the hardest."""
    shares = [kind.difficulty for kind in thirty.kinds]
    assert shares == sorted(shares) and {kind.kind for kind in thirty.kinds[:2]} == {"dose-by-weight", "maximum"}


# item statistics, each reckoned by hand
X = (1, 1, 1, 1, 1, 0, 0, 0, 0, 0)
Y = (4, 4, 3, 3, 1, 2, 2, 1, 0, 0)  # sums: x 5, y 20, xy 15, x^2 5, y^2 60


def test_discrimination_by_hand() -> None:
    """(10 x 15 - 5 x 20) / sqrt((10 x 5 - 5^2) (10 x 60 - 20^2)) = 50 / sqrt(5000) = 0.7071..."""
    assert discrimination(list(zip(X, Y, strict=True))) == Decimal("0.71")
    assert discrimination([(1 - x, y) for x, y in zip(X, Y, strict=True)]) == Decimal("-0.71")
    assert discrimination([(x, 3 * x) for x in X]) == Decimal("1.00")
    assert discrimination([(x, 2) for x in X]) is None and discrimination([(1, y) for y in Y]) is None
    assert discrimination(list(zip(X, Y, strict=True))[:9]) is None  # too few to say


def test_difficulty_by_hand() -> None:
    assert difficulty(3, 5) == Fraction(3, 5) and difficulty(4, 4) is None


def test_the_item_is_left_out_of_its_own_total(tmp_path: Path) -> None:
    """Ten learners, three questions: x and y of question 1 as below; with question 1 in the total r would be higher."""
    made = papers(tmp_path, row("dose-by-weight", 1, 3))
    right = answers(made, "A")
    patterns = ["111", "110", "101", "111", "100", "011", "010", "001", "000", "011"]
    rows = []
    for n, pattern in enumerate(patterns):
        rows += rows_of(f"L{n}", "A", [text if bit == "1" else "" for text, bit in zip(right, pattern, strict=True)])
    view = seen(tmp_path, rows, made)
    assert [item.right for item in view.items] == [5, 6, 6]
    assert [item.difficulty for item in view.items] == [Fraction(1, 2), Fraction(3, 5), Fraction(3, 5)]
    # x: 5 right; y = 2 1 1 2 0 | 2 1 1 0 2: sum 12, squares 20, xy 6.  (60 - 60) / ... = 0
    assert view.items[0].discrimination == 0
    # question 2: x = 1 1 0 1 0 1 1 0 0 1 (6); y = 2 1 2 2 1 1 0 1 0 1 (11; squares 17); xy = 2+1+2+1+0+1 = 7
    # (70 - 66) / sqrt((60 - 36) (170 - 121)) = 4 / sqrt(1176) = 0.1166
    assert view.items[1].discrimination == Decimal("0.12")


def test_pass_open_and_not(tmp_path: Path) -> None:
    """10 of 12 pass.  Nine right with a row missing, or an answer that cannot be read, is open."""
    made = papers(tmp_path)
    wrong = {f"q{n}": "" for n in range(1, 4)}
    nine = answers(made, "A", **wrong)
    rows = rows_of("all", "A", answers(made, "A")) + rows_of("nine", "A", nine)
    rows += rows_of("row", "A", nine)[1:] + rows_of("comma", "A", answers(made, "A", **(wrong | {"q3": "1,234 mg"})))
    view = seen(tmp_path, rows, made)
    assert {one.learner: one.verdict for one in view.learners} == {"all": PASSED, "nine": FAILED, "row": OPEN, "comma": OPEN}
    assert [(one.learner, one.answer) for one in view.unread] == [("comma", "1,234 mg")]
    assert {one.learner: one.missing for one in view.learners}["row"] == 1
    assert "Too few learners to say" in view.next


def test_number_without_unit_is_not_right(tmp_path: Path) -> None:
    made = papers(tmp_path)
    number = answers(made, "A")[0].split()[0]
    assert seen(tmp_path, rows_of("L", "A", answers(made, "A", q1=number)), made).learners[0].right == 11


def test_each_version_is_marked_by_its_own_figures(tmp_path: Path) -> None:
    made = papers(tmp_path)
    swapped = seen(tmp_path, rows_of("L", "B", answers(made, "A")), made).learners[0]
    assert swapped.right < 8 and seen(tmp_path, rows_of("L", "B", answers(made, "B")), made).learners[0].right == 12
    code = made.version("B").code
    assert seen(tmp_path, rows_of("L", code, answers(made, "B")), made).codes == (code,)


BAD = [
    ("", "A", 1, "3 mg", "names no learner"),
    ("L", "a", 1, "3 mg", "Versions are named"),
    ("L", "00000000-0000-1-A", 1, "3 mg", "another paper, seed or formulary"),
    ("L", "A", 0, "3 mg", "no question of that number"),
    ("L", "A", "01", "3 mg", "no question of that number"),
    ("L", "A", "１", "3 mg", "no question of that number"),  # noqa: RUF001
    ("good", "B", 3, "3 mg", "has version A above"),
    ("good", "A", 1, "3 mg", "has answered this question above"),
    ("L", "A", 1, "x" * 1001, "more than 1,000 letters"),
    ("L", "A", 1, "x" * 200_000, "more than 100,000 bytes"),
]


def test_broken_rows_one_message_each_and_every_row_counted(tmp_path: Path) -> None:
    made = papers(tmp_path)
    rows = rows_of("good", "A", answers(made, "A")) + [bad[:4] for bad in BAD]
    path = table(tmp_path, rows)
    with open(path, "ab") as file:
        file.write(b'L,A,2\nL,A,2,3 mg,more\n\nL,A,2,3"mg\nL,A,2,\xff\n')
    view = see_class([path], POOL, made)
    assert len(view.refused) == len(BAD) + 4 and view.marked == 12 and view.rows == 12 + len(view.refused)
    by_line = {fault.field: str(fault) for fault in view.refused}
    for number, bad in enumerate(BAD, 14):
        assert bad[4] in by_line[f"answers.csv, line {number}"]
    assert [int(fault.field.rpartition(" ")[2]) for fault in view.refused] == [*range(14, 26), 27, 28]
    assert view.learners[0].right == 12


@pytest.mark.parametrize("nonsense", ["１２ mg", "9" * 900 + " mg", "\x1b[2J", "=cmd()", "-", "NaN mg", "1e3 mg", "1,5 mg", "💊"])  # noqa: RUF001
def test_nonsense_is_to_be_looked_at_by_hand(tmp_path: Path, nonsense: str) -> None:
    view = seen(tmp_path, [("L", "A", 1, nonsense)])
    assert view.marked == len(view.unread) == 1 and view.learners[0].right == 0


def test_too_few_to_say(tmp_path: Path) -> None:
    made = papers(tmp_path)
    four = [r for n in range(4) for r in rows_of(f"L{n}", "A", slipped(made, "A", "tenfold"))]
    view = seen(tmp_path, four, made)
    assert view.next.startswith("Too few learners") and view.share_of(view.slips[0]) == "too few to say"
    assert all(item.difficulty is None and item.discrimination is None and view.why_none(item) == "too few to say" for item in view.items)


# learners' own exports

ASKED = next(q for q in (question("dose-by-weight", 1, seed) for seed in range(9)) if "," not in q.shown_answer)


def given(asked: str, kind: str, answer: str, result: str, slips: tuple[str, ...] = (), hints: int = 0) -> Answer:
    return Answer(datetime(2026, 5, 4, tzinfo=UTC), asked, kind, 1, answer, result, slips, hints, 20, "")


def exported(folder: Path, learner: str, found: list[Answer]) -> str:
    (folder / f"{learner}.csv").write_text(export(learner, found), "utf-8")
    return str(folder / f"{learner}.csv")


def test_exports_are_marked_again(tmp_path: Path) -> None:
    """A result that was written by hand does not count."""
    right, unit = ASKED.shown_answer.split(" ")
    tenfold = f"{Fraction(right) * 10} {unit}"
    claimed = given(ASKED.id, ASKED.kind, tenfold, "right")
    view = see_class([exported(tmp_path, "SM-L-01", [claimed])], POOL, None)
    assert (view.learners[0].right, view.learners[0].of, view.learners[0].verdict) == (0, 1, NO_MARK)
    assert view.slips[0].slip == "tenfold" and not view.told


def test_an_answer_with_a_hint_is_not_right_alone(tmp_path: Path) -> None:
    view = see_class(
        [exported(tmp_path, "L", [given(ASKED.id, ASKED.kind, ASKED.shown_answer, "right", hints=n) for n in (0, 2)])], POOL, None
    )
    assert view.learners[0].right == 1 and view.items[0].item == "dose-by-weight 1"


def test_of_another_formulary_the_told_result_is_taken_and_said(tmp_path: Path) -> None:
    asked = ASKED.id[:-8] + "00000000"
    found = [given(asked, "dose-by-weight", "1 mg", "right"), given("syrup-1", "own", "2 mg", "wrong", ("tenfold+pounds",))]
    path = exported(tmp_path, "L", [*found, given("nope", "volume", "2 mg", "splendid")])
    view = see_class([path], POOL, None)
    assert (view.told, view.marked, len(view.refused)) == (2, 2, 1) and view.learners[0].right == 1
    assert {slip.slip for slip in view.slips} == {"tenfold", "pounds"} and [i.item for i in view.items] == ["dose-by-weight 1", "syrup-1"]
    assert "no result is told" in str(view.refused[0])
    assert "could not be marked again" in flat(dosecheck("drill", "class", path, *AT).out)


def test_formula_like_text_of_an_export_comes_back_as_it_was(tmp_path: Path) -> None:
    view = see_class([exported(tmp_path, "L", [given(ASKED.id, ASKED.kind, "-5 mg", "wrong")])], POOL, None)
    assert [one.answer for one in view.unread] == ["-5 mg"]


# doors


def test_every_face_tells_the_same(tmp_path: Path) -> None:
    path = plan_file(tmp_path)
    made = papers(tmp_path)
    rows = rows_of("=SUM(A1)", "A", answers(made, "A")) + rows_of("<b>x", "B", slipped(made, "B", "tenfold")) + [("y", "A", 99, "")]
    file = table(tmp_path, rows)
    command = ("drill", "class", file, "--paper", path, *AT)
    told = json.loads(dosecheck(*command, "--json").out)
    assert told["rows"] == {"read": 25, "marked": 24, "refused": 1, "told": 0} and told["needed"] == 10
    said = dosecheck(*command, "--out", str(tmp_path / "c.html"))
    assert said.status == 1 and max(len(line) for line in said.out.splitlines() if str(tmp_path) not in line) < 80
    assert told["next"] in flat(said.out) and "answers.csv, line 26" in flat(said.out)
    page = (tmp_path / "c.html").read_text("utf-8")
    assert told["next"].replace('"', "&#34;") in page and "&lt;b&gt;x" in page and "<b>x" not in page and "local guidance" in page
    for forbidden in ("<script", "src=", "http://", "https://", "url("):
        assert forbidden not in page
    dosecheck(*command, "--out", str(tmp_path / "c.csv"))
    cells = list(csv.reader((tmp_path / "c.csv").read_text("utf-8").splitlines()))
    assert [line[0] for line in cells] == ["learner", "<b>x", "'=SUM(A1)"] and cells[2][6] == "passed"


def test_every_row_marked_is_status_0(tmp_path: Path) -> None:
    made = papers(tmp_path)
    file = table(tmp_path, rows_of("L", "A", answers(made, "A")))
    assert dosecheck("drill", "class", file, "--paper", plan_file(tmp_path), *AT).status == 0


def test_the_same_seed_is_needed(tmp_path: Path) -> None:
    made = papers(tmp_path, seed=7)
    command = ("drill", "class", table(tmp_path, rows_of("L", "A", answers(made, "A"))), "--paper", plan_file(tmp_path), "--json", *AT)
    assert json.loads(dosecheck(*command, "--seed", "7").out)["learners"][0]["right"] == 12
    assert json.loads(dosecheck(*command).out)["learners"][0]["right"] < 8


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("", "no header line"),
        ("learner,version,number\nL,A,1\n", "lacks the column answer"),
        ("learner;version;number;answer\n", "separated by semicolons"),
        ("learner,version,number,answer\nL,A,1,3 mg\n", "none is named"),
        ('learner,version,number,answer\nL,A,1,"3 mg\n', "never closed"),
        ("PK\x03\x04", "spreadsheet"),
    ],
)
def test_a_table_that_cannot_be_read(tmp_path: Path, text: str, said: str) -> None:
    (tmp_path / "answers.csv").write_text(text, "utf-8")
    told = dosecheck("drill", "class", str(tmp_path / "answers.csv"), *AT)
    assert told.status == 2 and said in flat(told.err)


def test_both_sorts_together_are_refused(tmp_path: Path) -> None:
    files = [table(tmp_path, [("L", "A", 1, "3 mg")]), exported(tmp_path, "M", [given(ASKED.id, ASKED.kind, "3 mg", "wrong")])]
    with pytest.raises(FileError, match="come together"):
        see_class(files, POOL, papers(tmp_path))


def test_an_empty_class_says_so(tmp_path: Path) -> None:
    view = seen(tmp_path, [])
    assert view.rows == 0 and "Too few learners to say what to teach next: 0" in view.next
    assert "0 rows read" in to_html(view) and to_csv(view).count("\n") == 1


def test_columns_of_an_export_are_those_of_the_record() -> None:
    assert {"learner", "question", "kind", "level", "answer", "result", "slips", "hints"} <= set(EXPORT)


@pytest.mark.usefixtures("pango")
def test_the_page_as_a_pdf(tmp_path: Path, thirty: ClassView) -> None:
    from dosecheck.printing.pdf import to_pdf

    assert to_pdf(to_html(thirty)).startswith(b"%PDF-")


def test_mixed_is_what_the_figures_here_go_by() -> None:
    assert MIXED.count("[[row]]") == 5
