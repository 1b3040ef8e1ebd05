"""The session: what comes next, what is kept, and that nothing is lost; the schedule against the library that makes it."""

from __future__ import annotations

import csv
import io
import json
import os
import pty
import select
import signal
import sqlite3
import subprocess
import sys
import time
from collections import Counter
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from cli.door import FOLDER, REPO, dosecheck, flat
from drill.bank import POOL
from fsrs import Card, Rating, Scheduler

from dosecheck.drill.kinds import KINDS
from dosecheck.drill.make import make, remake
from dosecheck.drill.mark import RIGHT, WRONG
from dosecheck.drill.progress import EXPORT, progress_of, to_csv
from dosecheck.drill.progress_plot import plot
from dosecheck.drill.question import CannotFill
from dosecheck.drill.record import VERSION, Answer, Record, delete, record_path
from dosecheck.drill.schedule import card_of, level_of, plan
from dosecheck.drill.session import LATER, Session
from dosecheck.errors import DosecheckError, FileError, InputError

START = datetime(2026, 11, 25, 8, tzinfo=UTC)


class Clock:
    """Half a minute more each time it is looked at."""

    def __init__(self) -> None:
        self.now = START

    def __call__(self) -> datetime:
        self.now += timedelta(seconds=30)
        return self.now


def session(path: Path, **more: object) -> Session:
    return Session(POOL, Record(str(path)), Clock(), **{"seed": 5, **more})


def given(kind: str = "volume", result: str = RIGHT, at: datetime = START, level: int = 1, hints: int = 0, **more: object) -> Answer:
    whole = {"question": "q", "answer": "1 mg", "slips": (), "seconds": 5, "fingerprint": "0" * 16, **more}
    return Answer(at=at, kind=kind, level=level, result=result, hints=hints, **whole)


def right(asked) -> str:
    return asked.shown_answer.replace(",", "")


# ---- what comes next ----


def test_the_card_is_the_library_s_own() -> None:
    """Wrong, hard (after a hint), good: the due times are those that fsrs gives for the same reviews, without chance."""
    scheduler, card = Scheduler(enable_fuzzing=False), Card(card_id=1, due=START)
    days = [START + timedelta(days=n) for n in (0, 1, 4, 11)]
    for day, rating in zip(days, (Rating.Again, Rating.Hard, Rating.Good, Rating.Good), strict=True):
        card, _ = scheduler.review_card(card, rating, day)
    answers = [given(result=WRONG, at=days[0]), given(hints=1, at=days[1]), given(at=days[2]), given(at=days[3])]
    assert card_of(answers).due == card.due > days[-1] + timedelta(days=2)


def test_what_is_due_comes_first_then_what_is_new_then_what_is_due_soonest() -> None:
    now = START + timedelta(days=2)
    answers = [given("volume", WRONG), given("drops", RIGHT, at=now), given("tablets", WRONG, at=START + timedelta(hours=1))]
    rows = plan(answers, ["conversion", "volume", "drops", "tablets"], now)
    assert [row.kind for row in rows] == ["volume", "tablets", "conversion", "drops"]


@pytest.mark.parametrize(
    ("results", "level"),
    [("", 1), ("rr", 1), ("rrr", 2), ("rrhr", 1), ("rrrrrr", 3), ("rrrrrrrrr", 3), ("rrrww", 1), ("rrrwrw", 2), ("ww", 1)],
)
def test_levels_rise_after_three_right_and_fall_after_two_wrong(results: str, level: int) -> None:
    """r right, h right with a hint, w wrong: each at the level that the answers before it give."""
    answers: list[Answer] = []
    for one in results:
        answers.append(given(result=WRONG if one == "w" else RIGHT, hints=one == "h", level=level_of(answers)))
    assert level_of(answers) == level


def test_after_a_wrong_answer_a_similar_question_comes_again(tmp_path: Path) -> None:
    """The same kind and level with other figures, after three others."""
    one = session(tmp_path / "r.sqlite")
    asked = one.next()
    one.answer("0.001 kg" if asked.choices == () else asked.choices[-1].word)
    kinds = []
    for _ in range(LATER + 1):
        again = one.next()
        kinds.append(again.kind)
        one.answer(right(again))
    assert kinds.index(asked.kind) == LATER and (again.kind, again.level) == (asked.kind, asked.level) and again.text != asked.text


def test_kinds_that_are_got_wrong_come_more_often(tmp_path: Path) -> None:
    """A student who gets dilutions and tablets wrong, and all else right, over sixty questions on six days."""
    path, weak, asked = tmp_path / "r.sqlite", {"strength", "tablets"}, Counter()
    clock = Clock()
    for day in range(6):
        clock.now = START + timedelta(days=day)
        one = Session(POOL, Record(str(path)), clock, seed=7)
        for _ in range(10):
            question = one.next()
            asked[question.kind] += 1
            one.skip() if question.kind in weak else one.answer(right(question))
    others = [asked[kind] for kind in KINDS if kind not in weak]
    assert min(asked[kind] for kind in weak) > max(others) and min(others) >= 1


def test_no_question_is_asked_twice_while_there_are_others(tmp_path: Path) -> None:
    one = session(tmp_path / "r.sqlite", kinds=["tablets"], level=1)
    texts = []
    for _ in range(12):
        texts.append(one.next().text)
        one.skip()
    assert len(set(texts)) >= 11


def test_the_same_seed_and_answers_give_the_same_session(tmp_path: Path) -> None:
    def asked(path: Path) -> list[str]:
        one = session(path)
        return [(one.next().id, one.answer("1 mg").result)[0] for _ in range(6)]

    assert asked(tmp_path / "a") == asked(tmp_path / "b")


def test_kinds_that_cannot_be_filled_are_passed_over_and_none_is_told(tmp_path: Path) -> None:
    from drill.test_make import Formulary, folder, medicine

    from dosecheck.drill.pool import Pool

    for name, content in folder(medicines_exampol=medicine()).items():
        (tmp_path / name).parent.mkdir(parents=True, exist_ok=True)
        (tmp_path / name).write_bytes(content)
    pool = Pool(Formulary(tmp_path))
    one = Session(pool, Record(str(tmp_path / "r")), Clock(), 5, kinds=["inhaler", "drops"])
    assert one.next().kind == "drops"
    with pytest.raises(CannotFill, match="it needs an inhaler"):
        Session(pool, Record(str(tmp_path / "r")), Clock(), 5, kinds=["inhaler"]).next()


# ---- hints ----


def test_hints_come_one_step_at_a_time_and_never_tell_the_answer(tmp_path: Path) -> None:
    """H29: the last hint asks for the last step; it does not say what it comes to."""
    for kind in KINDS:
        one = session(tmp_path / kind, kinds=[kind], level=3)
        asked = one.next()
        hints = [one.hint() for _ in asked.hints]
        assert one.hint() is None and hints == list(asked.hints) and hints[-1].endswith("?")
        if not asked.choices:
            assert not hints[-1].endswith(f"= {asked.shown_answer}")
        one.answer(right(asked))
        assert one.given[-1].hints == len(hints) and one.given[-1].result == RIGHT


# ---- the record ----


def test_what_is_kept_comes_back_and_nothing_else_is_kept(tmp_path: Path) -> None:
    path = tmp_path / "deep" / "r.sqlite"
    one = session(path)
    asked = one.next()
    one.answer("zero?")  # unreadable: may be written again
    one.hint()
    one.answer("999999 mg" if not asked.choices else asked.choices[0].word)
    (kept,) = Record(str(path)).answers()
    assert kept == one.given[0] and remake(kept.question, POOL).text == asked.text and kept.hints == 1 and kept.seconds >= 30
    assert oct(path.stat().st_mode)[-3:] == "600"
    columns = {row[1] for row in sqlite3.connect(path).execute("pragma table_info(answers)")}
    assert columns == {"number", *Answer._fields}


def test_a_read_of_no_record_makes_none(tmp_path: Path) -> None:
    assert Record(str(tmp_path / "r.sqlite")).answers() == [] and list(tmp_path.iterdir()) == []


def test_a_killed_session_loses_nothing_that_was_answered(tmp_path: Path) -> None:
    """Killed without a word after two answers; both are there."""
    args = [sys.executable, "-m", "dosecheck", "drill", "practise", "--record", str(tmp_path / "r.sqlite"), "--seed", "3"]
    args += ["--formulary", str(FOLDER), "--json"]
    running = subprocess.Popen(args, stdin=subprocess.PIPE, stdout=subprocess.PIPE, cwd=REPO, text=True)
    for _ in range(2):
        running.stdin.write('{"skip": true}\n')
        running.stdin.flush()
    while "skipped" not in (line := running.stdout.readline()) or json.loads(line)["skipped"].startswith("conversion"):
        assert line
    os.kill(running.pid, signal.SIGKILL)
    running.communicate()
    assert len(Record(str(tmp_path / "r.sqlite")).answers()) == 2


BROKEN = [
    (lambda path: path.write_bytes(b"not a database at all, but long enough to be one" * 50), "damaged, or no record"),
    (lambda path: sqlite3.connect(path).executescript("create table t (x); pragma user_version = 1;"), "not a record of dosecheck"),
    (lambda path: path.mkdir(), "cannot be used"),
]


@pytest.mark.parametrize(("spoil", "why"), BROKEN)
def test_a_file_that_is_no_record_is_left_alone(tmp_path: Path, spoil, why: str) -> None:
    path = tmp_path / "r.sqlite"
    spoil(path)
    before = path.read_bytes() if path.is_file() else b""
    for attempt in (lambda: Record(str(path)).answers(), lambda: delete(str(path))):
        with pytest.raises(FileError, match=why):
            attempt()
    assert path.exists() and (path.read_bytes() if path.is_file() else b"") == before
    said = dosecheck("drill", "record", "--record", str(path))
    assert said.status == 2 and "Traceback" not in said.err


def test_a_later_version_and_a_busy_record_are_told(tmp_path: Path) -> None:
    path = str(tmp_path / "r.sqlite")
    Record(path).add(given())
    other = sqlite3.connect(path, isolation_level=None)
    other.execute("begin exclusive")
    with pytest.raises(FileError, match="Another session has it open"):
        Record(path).add(given())
    other.execute("rollback")
    other.execute(f"pragma user_version = {VERSION + 1}")
    with pytest.raises(FileError, match="a later dosecheck"):
        Record(path)


@pytest.mark.parametrize("name", ["", "../x", "a/b", ".hidden", "a" * 41, "naïve", "a b", "-x", "a\x00"])
def test_a_learner_s_name_is_never_a_path(name: str) -> None:
    with pytest.raises(InputError, match="no name of 1 to 40"):
        record_path(name)


def test_the_place_of_the_record(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("DOSECHECK_RECORDS", "/somewhere")
    assert record_path("nurse-7") == "/somewhere/nurse-7.sqlite"
    monkeypatch.delenv("DOSECHECK_RECORDS")
    assert record_path("nurse-7").endswith(os.path.join("drill", "nurse-7.sqlite"))


def test_progress_export_and_pictures(tmp_path: Path) -> None:
    """Counts add up; a cell that a spreadsheet would run begins with an apostrophe; the picture says its numbers."""
    answers = [given(), given(hints=1), given("drops", WRONG, slips=("tenfold", "pounds+tenfold"), answer="=1+1"), given("drops", WRONG)]
    found = progress_of(answers)
    assert [(row.kind, row.right, row.asked) for row in found.kinds] == [("volume", 1, 2), ("drops", 0, 2)]
    assert [(row.slip, row.times) for row in found.slips] == [("pounds+tenfold", 1), ("tenfold", 1)]
    rows = list(csv.reader(io.StringIO(to_csv("nurse-7", answers))))
    assert tuple(rows[0]) == EXPORT and len(rows) == 5 and rows[3][4] == "'=1+1" and rows[3][6] == "tenfold;pounds+tenfold"
    pytest.importorskip("matplotlib")
    picture = plot(answers, "svg")
    assert b"1 of 2" in picture and b"tenfold" in picture and plot(answers, "png")[:4] == b"\x89PNG"
    with pytest.raises(DosecheckError, match="no answer"):
        plot([], "svg")


# ---- the commands ----


def practise(path: Path, typed: str, *more: str, **env: str):
    args = [sys.executable, "-m", "dosecheck", "drill", "practise", "--record", str(path), "--formulary", str(FOLDER), "--seed", "5", *more]
    return subprocess.run(args, input=typed.encode(), capture_output=True, cwd=REPO, env={**os.environ, **env}, check=False, timeout=60)


def test_a_session_through_a_pipe(tmp_path: Path) -> None:
    """A hint, a wrong answer, a skip, an answer that cannot be read, and the end of the input: 80 columns, no colour codes."""
    done = practise(tmp_path / "r", "?\n\n50 kg\nskip\n1O mg\n")
    said = done.stdout.decode()
    assert done.returncode == 130 and "Broken off: what you answered is kept." in said and "0 right of 2." in said
    assert "Hint: " in said and "NOT RIGHT" in said and "SKIPPED." in said and "NOT MARKED" in said and "\x1b" not in said
    assert max(len(line) for line in said.splitlines() if str(tmp_path) not in line) <= 80 and said.count("Question ") == 3
    assert len(Record(str(tmp_path / "r")).answers()) == 2 and "Traceback" not in done.stderr.decode()


def test_stop_ends_the_session(tmp_path: Path) -> None:
    done = practise(tmp_path / "r", "STOP\n")
    assert done.returncode == 0 and "No question was answered." in done.stdout.decode() and not (tmp_path / "r").exists()


NONSENSE = ["１２ mg", "9" * 10_000 + " mg", "a\x00b", "\x1b[2J", "💊", "-", "1e3 mg", "1,5 mg", "NaN mg", "--", "=cmd()", "mg"]


@pytest.mark.parametrize("text", NONSENSE)
def test_nonsense_is_never_a_traceback_and_never_right(tmp_path: Path, text: str) -> None:
    one = session(tmp_path / "r", kinds=["volume"])
    one.next()
    assert not one.answer(text).right


def test_json_lines_both_ways(tmp_path: Path) -> None:
    asked = make("volume", 1, 5, POOL)
    lines = ['{"hint": true}', "nonsense", '{"answer": "1O mL"}', json.dumps({"answer": right(asked)}), '{"stop": true}']
    done = practise(tmp_path / "r", "\n".join(lines) + "\n", "--json", "--kind", "volume")
    told = [json.loads(line) for line in done.stdout.decode().splitlines()]
    assert [next(iter(line)) for line in told] == ["questions", "question", "hint", "error", "mark", "mark", "question", "end"]
    assert told[4]["mark"]["result"] == "unreadable" and "lesson" not in told[4] and told[5]["mark"]["right"] and told[5]["lesson"]
    assert told[-1] == {"end": "done", "right": 1, "answered": 1} and done.returncode == 0


@pytest.mark.skipif(sys.platform == "win32", reason="needs a terminal of Unix")
def test_ctrl_c_at_a_terminal_keeps_what_was_answered(tmp_path: Path) -> None:
    """A real terminal: one answer, then Ctrl-C in the middle of the next."""
    main, side = pty.openpty()
    own = "import fcntl, os, sys, termios; fcntl.ioctl(0, termios.TIOCSCTTY, 0); os.execv(sys.executable, [sys.executable, *sys.argv[1:]])"
    args = [sys.executable, "-c", own, "-m", "dosecheck", "drill", "practise", "--record", str(tmp_path / "r"), "--formulary", str(FOLDER)]
    running = subprocess.Popen(args, stdin=side, stdout=side, stderr=side, cwd=REPO, start_new_session=True)
    os.close(side)
    said = _until(main, b"> ")
    os.write(main, b"skip\n")
    said += _until(main, b"Question 2")
    said += _until(main, b"> ")
    os.write(main, b"12\x03")
    said += _until(main, b"drill record")
    assert running.wait(timeout=30) == 130 and b"Broken off: what you answered is kept." in said
    os.close(main)
    assert len(Record(str(tmp_path / "r")).answers()) == 1


def _until(main: int, mark: bytes) -> bytes:
    said, end = b"", time.monotonic() + 30
    while mark not in said:
        ready, _, _ = select.select([main], [], [], 1)
        assert time.monotonic() < end, said
        said += os.read(main, 4096) if ready else b""
    return said


def test_the_record_is_shown_and_removed(tmp_path: Path) -> None:
    path = str(tmp_path / "r.sqlite")
    assert "No answer yet." in flat(dosecheck("drill", "record", "--record", path).out)
    Record(path).add(given("volume", WRONG, slips=("tenfold",)))
    said = dosecheck("drill", "record", "--record", path)
    assert (
        said.status == 0
        and "[..........] 0 of 1" in said.out
        and "1 time   tenfold" in said.out
        and max(len(line) for line in said.out.splitlines() if str(tmp_path) not in line) <= 80  # a path is as long as it is
    )
    told = json.loads(dosecheck("drill", "record", "--record", path, "--json").out)
    assert told["answers"] == 1 and told["kinds"][0]["kind"] == "volume"
    unasked = dosecheck("drill", "record", "--record", path, "--delete")
    assert unasked.status == 1 and Path(path).exists()
    assert dosecheck("drill", "record", "--record", path, "--delete", "--yes").status == 0 and list(tmp_path.iterdir()) == []
    assert "There was no record" in dosecheck("drill", "record", "--record", path, "--delete", "--yes").out


def test_a_teacher_s_own_questions(tmp_path: Path) -> None:
    own = tmp_path / "own.toml"
    own.write_text('[[question]]\nid = "a"\ntext = "SM-001 ..."\nanswer = "213 mg"\n', "utf-8")
    done = practise(tmp_path / "r", "2130 mg\n", "--own", str(own))
    said = done.stdout.decode()
    assert done.returncode == 0 and "Question 1 of 1" in said and "ten times the answer" in flat(said) and "0 right of 1." in said
