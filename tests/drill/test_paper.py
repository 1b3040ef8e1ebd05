"""A teacher's paper: read strictly, the same from the same seed, versions alike and distinct, and a key that marks right."""

from __future__ import annotations

import json
import re
from pathlib import Path

import pytest
from cli.door import dosecheck, flat
from drill.bank import FOLDER, POOL
from drill.papers import EVERY, HEAD, MIXED, OWN_ROW, papers, plan, plan_file, row
from reports.test_page import opened

from dosecheck import InputError
from dosecheck.drill.kinds import KINDS
from dosecheck.drill.mark import mark
from dosecheck.drill.paper import CannotFill, Papers, number_of, version_name
from dosecheck.drill.paper_file import read_plan
from dosecheck.drill.paper_key import key_of
from dosecheck.drill.paper_page import key_html, worksheet_html
from dosecheck.errors import FileError

AT = ("--formulary", str(FOLDER))


@pytest.fixture(scope="module")
def every(tmp_path_factory) -> Papers:
    """One question of each kind and level (of some, for a paper has at most 60)."""
    made = papers(tmp_path_factory.mktemp("every"), EVERY)
    made.version("B")
    return made


def test_the_plan_counts_its_questions_and_the_right_ones_needed(tmp_path: Path) -> None:
    told = plan(tmp_path)
    assert told.questions == 12 and told.needed == 10  # 80 % of 12 is 9.6
    assert plan(tmp_path, MIXED, HEAD.replace("80 %", "75 %")).needed == 9
    assert [own and own.id for _, own in told.places[-2:]] == ["syrup-1", "choice-1"]


def test_the_same_seed_gives_the_same_bytes(tmp_path: Path) -> None:
    first, again, other = (papers(tmp_path, seed=seed).version("B") for seed in (5, 5, 6))
    assert worksheet_html([first]) == worksheet_html([again]) and key_html([first]) == key_html([again])
    assert worksheet_html([first]) != worksheet_html([other])


def test_a_version_does_not_hang_on_which_others_are_printed(tmp_path: Path) -> None:
    made = papers(tmp_path)
    made.version("A")
    assert made.version("C") == papers(tmp_path).version("C")


def test_versions_are_distinct_and_of_equal_steps(every: Papers, tmp_path: Path) -> None:
    mixed = papers(tmp_path)
    for made, names in ((every, "AB"), (mixed, "ABC")):
        versions = [made.version(name).questions for name in names]
        for place in zip(*versions, strict=True):
            assert len({(q.kind, q.level, len(q.steps)) for q in place}) == 1
        texts = [re.sub("SM-[0-9]{3}", "", q.text) for version in versions for q in version if q.kind != "own"]
        assert len(set(texts)) == len(texts)


def test_every_answer_of_the_key_is_marked_right(every: Papers, tmp_path: Path) -> None:
    for paper in (every.version("A"), every.version("B"), papers(tmp_path).version("A")):
        for entry in key_of(paper):
            found = mark(entry.question, entry.answer)
            assert found.right and not found.flaws, (entry.question.text, entry.answer, found.said)


def test_the_ends_of_what_is_accepted_are_right_and_a_little_more_is_not(every: Papers) -> None:
    seen = 0
    for entry in key_of(every.version("A")):
        if not entry.accepted:
            continue
        seen += 1
        low, high = entry.accepted.removeprefix("from ").split(" to ")
        assert mark(entry.question, low).right and mark(entry.question, high).right, entry
        number, unit = high.split(" ", 1)
        assert (
            not mark(entry.question, f"{float(number) * 1.01 + 0.001:.4f} {unit}").right
            or entry.question.margin * 50 > entry.question.answer.value
        )
    assert seen > 10


def test_each_printed_wrong_answer_is_told_as_its_slip(every: Papers, tmp_path: Path) -> None:
    seen = set()
    for paper in (every.version("A"), every.version("B"), papers(tmp_path).version("A")):
        for entry in key_of(paper):
            for wrong in entry.wrong:
                found = mark(entry.question, wrong.answer)
                assert not found.right
                assert {(slip,) for slip in wrong.slips} <= set(found.diagnosis.slips), (entry.question.text, wrong, found.diagnosis.slips)
                seen |= set(wrong.slips)
    assert {"tenfold", "per-kg-as-dose", "no-maximum", "day-at-once", "own: you took the age"} <= seen


def test_the_worksheet_holds_no_answer(every: Papers) -> None:
    for name in "AB":
        paper = every.version(name)
        page = worksheet_html([paper])
        body = re.sub(r"\s+", " ", page.replace("\u00a0", " "))
        for entry in key_of(paper):
            asked = re.sub(r"\s+", " ", f"{entry.question.text} {entry.question.ask}")
            told = entry.question.choices or entry.answer in asked
            assert told or len(re.findall(rf"(?<![0-9.,]){re.escape(entry.answer)}(?![a-zA-Z/])", body)) <= sum(
                entry.answer in f"{q.text} {q.ask}" for q in paper.questions
            ), entry
            assert not any(step.text in body for step in entry.question.steps if "=" in step.text)
        assert "Usual wrong answers" not in page and "Source" not in page


def test_the_worksheet_says_what_a_learner_must_know(tmp_path: Path) -> None:
    paper = papers(tmp_path).version("A", "SM-L-07")
    page = worksheet_html([paper]).replace("\u00a0", " ")
    for text in (
        "12 questions, 30 minutes",
        "No calculator.",
        "80 %, that is 10 of 12",
        "local guidance comes first",
        paper.code,
        "SM-L-07",
        "Version A",
        "1000",
    ):
        assert text in page
    assert page.count(">Working</div>") == 12 and page.count(">Answer</p>") == 12
    assert "A word &lt;b&gt;of choice&lt;/b&gt;?" in page and "<b>of choice" not in page  # escaped
    for forbidden in ("<script", "src=", "http://", "https://", "url("):
        assert forbidden not in page


def test_the_code_changes_with_seed_version_plan_and_formulary(tmp_path: Path) -> None:
    first = papers(tmp_path).version("A").code
    others = {
        papers(tmp_path, seed=2).version("A").code,
        papers(tmp_path).version("B").code,
        papers(tmp_path, MIXED + row("drops", 1, 1)).version("A").code,
    }
    assert first.startswith(POOL.formulary.fingerprint[:8]) and first.endswith("-1-A") and len(others | {first}) == 4


def test_versions_are_named_like_columns() -> None:
    names = [version_name(n) for n in range(26 * 27)]
    assert names[:2] + names[25:28] + names[-1:] == ["A", "B", "Z", "AA", "AB", "ZZ"]
    assert [number_of(name) for name in names] == list(range(26 * 27))
    for bad in ("", "a", "1", "AAA", "Ä", "A" * 10_000):
        with pytest.raises(InputError, match="Versions are named"):
            number_of(bad)


def test_too_many_for_a_small_kind_is_one_sentence(tmp_path: Path, monkeypatch) -> None:
    monkeypatch.setattr("dosecheck.drill.paper.TRIES", 25)
    with pytest.raises(
        CannotFill, match=r'The kind "strength" at level 1 gives no further different question for version [A-Z]+, question [0-9]+'
    ):
        papers(tmp_path, row("strength", 1, 20)).version("C")


ALL_WRONG = """
titel = "x"
title = ""
calculator = "no"
minutes = 0
pass_mark = "120 %"
seed = -1
[[row]]
kind = "dose-by-wait"
level = 4
how_many = true
[[row]]
own = "own.toml"
ids = ["syrup-1", "nope"]
kind = "volume"
[[row]]
own = "own.toml"
ids = ["syrup-1", "nope", "syrup-1"]
[[row]]
kind = "volume"
level = 1
how_many = 2
ids = ["a"]
"""


def test_every_fault_of_a_plan_at_once(tmp_path: Path) -> None:
    with pytest.raises(InputError) as caught:
        plan(tmp_path, ALL_WRONG, "")
    fields = [fault.field for fault in caught.value.faults]
    assert fields == [
        "titel", "title", "calculator", "minutes", "seed", "pass_mark", "row 1, kind", "row 1, level", "row 1, how_many",
        "row 2, kind", "row 3, ids", "row 4, ids", "row",
    ]  # fmt: skip
    assert all(fault.write for fault in caught.value.faults)


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("", "no row of questions"),
        ("title = ", "at the end: The value cannot be read"),
        (HEAD, "no row of questions"),
        (HEAD + "row = 3", "no row of questions"),
        (HEAD + row("volume", 1, 60) + OWN_ROW, "62 questions"),
        (HEAD + '[[row]]\nown = "gone.toml"\n', "cannot be read"),
        (HEAD.replace('"80 %"', "80") + OWN_ROW, "pass_mark: It is missing, or not in quotes"),
        (HEAD.replace("80 %", "80") + OWN_ROW, 'no number with "%"'),
        ("\x00" * 50, "line 1: The line is neither a key"),
        (HEAD.replace("Week 3", "x" * 10_000) + OWN_ROW, "1 to 80 letters"),
    ],
)
def test_a_plan_that_cannot_be_read(tmp_path: Path, text: str, said: str) -> None:
    path = plan_file(tmp_path, text, "")
    told = dosecheck("drill", "paper", path, "--out", str(tmp_path / "p.html"), *AT)
    assert told.status == 2 and said in flat(told.err) and not (tmp_path / "p.html").exists()


def test_a_kind_that_the_formulary_cannot_fill(tmp_path: Path) -> None:
    """One clear sentence, exit status 4, nothing written."""
    from drill.test_make import REGIMEN, folder, medicine

    fixed = medicine(more=REGIMEN.replace("15 mg/kg", "100 units").replace('["4 g"]', '{ none = "invented" }'))
    for name, content in folder(medicines_exampol=fixed).items():
        (tmp_path / "f" / name).parent.mkdir(exist_ok=True, parents=True)
        (tmp_path / "f" / name).write_bytes(content)
    said = dosecheck("drill", "paper", plan_file(tmp_path), "--out", str(tmp_path / "p.html"), "--formulary", str(tmp_path / "f"))
    assert said.status == 4 and flat(said.err).startswith('This formulary cannot fill the kind "dose-by-weight" at level 2')
    assert not said.out and not (tmp_path / "p.html").exists()


def test_the_command_writes_a_worksheet_and_a_key(tmp_path: Path) -> None:
    out, key = tmp_path / "p.html", tmp_path / "k.html"
    said = dosecheck("drill", "paper", plan_file(tmp_path), "--out", str(out), "--key", str(key), "--version", "A", "--version", "B", *AT)
    assert said.status == 0 and not said.err and max(map(len, said.out.splitlines())) < 80
    made = papers(tmp_path)
    both = [made.version("A"), made.version("B")]
    assert out.read_text("utf-8") == worksheet_html(both) and key.read_text("utf-8") == key_html(both)
    assert all(paper.code in said.out for paper in both)


def test_json_tells_answers_only_with_a_key(tmp_path: Path) -> None:
    path = plan_file(tmp_path)
    asked = json.loads(dosecheck("drill", "paper", path, "--json", *AT).out)
    assert [q["number"] for q in asked["papers"][0]["questions"]] == list(range(1, 13)) and "key" not in asked["papers"][0]
    told = json.loads(dosecheck("drill", "paper", path, "--json", "--key", str(tmp_path / "k.html"), *AT).out)
    assert told["papers"][0]["key"][10]["answer"] == "213 mg" and told["needed"] == 10


def test_a_version_for_each_learner(tmp_path: Path) -> None:
    (tmp_path / "class.txt").write_text("\nSM-L-01\n SM-L-02 \n\nSM-L-03", "utf-8")
    said = dosecheck("drill", "paper", plan_file(tmp_path), "--learners", str(tmp_path / "class.txt"), "--json", *AT)
    told = json.loads(said.out)["papers"]
    assert [(paper["learner"], paper["version"]) for paper in told] == [("SM-L-01", "A"), ("SM-L-02", "B"), ("SM-L-03", "C")]


@pytest.mark.parametrize(
    ("text", "said"), [("", "There are 0."), ("a\nb\na", "stands twice"), ("=1+1", "no id of a learner"), ("x" * 41, "no id of a learner")]
)
def test_learners_that_cannot_be_read(tmp_path: Path, text: str, said: str) -> None:
    (tmp_path / "class.txt").write_text(text, "utf-8")
    told = dosecheck("drill", "paper", plan_file(tmp_path), "--learners", str(tmp_path / "class.txt"), "--json", *AT)
    assert told.status == 2 and said in told.out + told.err


@pytest.mark.parametrize(
    ("more", "said"),
    [
        ((), "Nothing to write"),
        (("--out", "p.html", "--key", "./p.html"), "name the same file"),
        (("--out", "p.docx"), "Use a .pdf or a .html file"),
        (("--json", "--version", "1"), "Versions are named"),
        (("--json", "--version", "A", "--learners", "x"), "Write --version or --learners"),
        (("--json", "--learners", "/nowhere/x"), "cannot be read"),
    ],
)
def test_options_that_do_not_fit(tmp_path: Path, more: tuple[str, ...], said: str) -> None:
    told = dosecheck("drill", "paper", plan_file(tmp_path), *more, *AT)
    assert told.status == 2 and said in flat(told.out + told.err)


def test_the_paper_of_the_help_is_a_paper(tmp_path: Path) -> None:
    text = dosecheck("drill", "paper", "--help").out
    assert max(map(len, text.splitlines())) <= 80
    lines = [line.strip() for line in text.splitlines()]
    toml = "\n".join(
        lines[lines.index('title      = "Weights and volumes"') : lines.index('ids        = ["syrup-1"]      # left out: all of them') + 1]
    )
    assert plan(tmp_path, toml, "").questions == 4


def test_not_toml(tmp_path: Path) -> None:
    (tmp_path / "paper.json").write_text("{}", "utf-8")
    said = dosecheck("drill", "paper", str(tmp_path / "paper.json"), "--json", *AT)
    assert said.status == 2 and "ends in .toml" in flat(said.err)
    with pytest.raises(FileError):
        read_plan(str(tmp_path / "none.toml"))


@pytest.mark.usefixtures("pango")
def test_the_pdf_is_a4_tagged_of_11_points_or_more_and_splits_no_question(tmp_path: Path) -> None:
    from dosecheck.printing.pdf import VARIANT, to_pdf, weasyprint

    paper = papers(tmp_path, row("dose-by-weight", 3, 3) + row("right-or-not", 2, 4)).version("A")
    html = worksheet_html([paper])
    content = to_pdf(html)
    assert content == to_pdf(html)
    assert b"pdfuaid" in opened(content) and b"/Lang (en-GB)" in opened(content)
    pages = weasyprint()(string=html).render(**VARIANT).pages
    assert {(round(page.width), round(page.height)) for page in pages} == {(794, 1123)}
    boxes = [sum(box.element_tag == "article" for box in page._page_box.descendants()) for page in pages]
    assert sum(boxes) == len(paper.questions)  # a question on two pages would be two boxes
    sizes = {round(box.style["font_size"], 2) for page in pages for box in page._page_box.descendants() if getattr(box, "text", "").strip()}
    assert min(sizes) >= 9 * 96 / 72 - 0.1  # head and foot; the rest:
    body = {
        round(box.style["font_size"] * 72 / 96, 1)
        for page in pages for part in page._page_box.children if part.element_tag == "html"
        for box in part.descendants() if getattr(box, "text", "").strip()
    }  # fmt: skip
    assert min(body) >= 11


@pytest.mark.usefixtures("pango")
def test_printed_on_both_sides_no_sheet_belongs_to_two_papers(tmp_path: Path) -> None:
    from dosecheck.printing.pdf import VARIANT, weasyprint

    made = papers(tmp_path, row("conversion", 1, 3))
    pages = weasyprint()(string=worksheet_html([made.version("A"), made.version("B")])).render(**VARIANT).pages
    starts = [n for n, page in enumerate(pages) if any(box.element_tag == "h1" for box in page._page_box.descendants())]
    assert len(starts) == 2 and not any(n % 2 for n in starts)


def test_every_kind_has_room_in_a_plan(tmp_path: Path) -> None:
    assert plan(tmp_path, EVERY).questions == len(KINDS) * 3 <= 60
