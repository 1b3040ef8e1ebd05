"""Nothing lost: refused rows put aside and mended, a run that is killed or cannot write and goes on, never half a result."""

from __future__ import annotations

import errno
import hashlib
import json
import os
import random
import signal
import subprocess
import sys
import time
from datetime import date
from pathlib import Path

import polars as pl
import pytest
from click.testing import CliRunner

from dosecheck import FileError, Formulary
from dosecheck.batch import csv_cut, pipeline, tables_in
from dosecheck.batch import work as work_module
from dosecheck.batch.run import Batch, run_batch
from dosecheck.batch.texts import RESULTS
from dosecheck.cli import cli

FOLDER = Path(__file__).parents[2] / "formulary"
FORMULARY = Formulary(FOLDER)
TODAY = date(2026, 5, 4)
HEADER = "order_id,child_id,medicine,route,for,dose,every,weight,age,ward"
GOOD = "A1,SM-001,paracetamol,oral,pain,210 mg,6 hours,14.2 kg,3 years,north"
STOP = "A2,SM-002,paracetamol,oral,pain,2100 mg,6 hours,14.2 kg,3 years,south"
BAD = {
    b"A3,SM-003,paracetamol\n": GOOD,
    GOOD.replace("210 mg", "210").encode() + b"\r\n": GOOD,
    GOOD.replace("north", "n\xb5rth").encode("latin-1") + b"\n": GOOD.replace("north", "n\u00b5rth"),
    STOP.replace("south", '"two\nlines"').replace("2100 mg", "2,1 g").encode() + b"\n": STOP.replace("south", '"two\nlines"'),
    GOOD.replace("north", 'no"rth').encode() + b"\n": GOOD,
    GOOD.replace("210 mg", "21\x000 mg").encode() + b"\n": GOOD,
}


@pytest.fixture
def small(monkeypatch: pytest.MonkeyPatch) -> None:
    """Many chunks of a few rows; the first read, which holds the header, is of a few rows too."""
    monkeypatch.setattr(csv_cut, "HEADER_BYTES", 200)
    monkeypatch.setattr(csv_cut, "CHUNK_BYTES", 400)
    monkeypatch.setattr(pipeline, "ENOUGH_ROWS", 4)


def put(folder: Path, *rows: str | bytes, name: str = "orders.csv", header: str = HEADER) -> Path:
    path = folder / name
    path.write_bytes(b"".join(row if isinstance(row, bytes) else row.encode() + b"\n" for row in (header, *rows)))
    return path


def run(folder: Path, orders: Path, out: str = "results.csv", **options):
    return run_batch(orders, folder / out, FORMULARY, TODAY, **options)


def files(folder: Path) -> dict[str, str]:
    return {path.name: hashlib.sha256(path.read_bytes()).hexdigest() for path in folder.iterdir() if path.is_file()}


def rows_of(path: Path) -> list[tuple]:
    return pl.read_csv(path, infer_schema=False).rows()


def test_refused_rows_stand_aside_byte_for_byte(tmp_path: Path, small: None) -> None:
    orders = put(tmp_path, GOOD, *(row for bad in BAD for row in (bad, b"\n", STOP)), header="\n" + HEADER)
    summary = run(tmp_path, orders)
    assert summary.aside == tmp_path / "results.refused.csv" and summary.refused == len(BAD)
    assert summary.aside.read_bytes() == HEADER.encode() + b"\n" + b"".join(BAD)
    why = pl.read_csv(tmp_path / "results.refused.why.csv")
    given, here = orders.read_bytes().split(b"\n"), summary.aside.read_bytes().split(b"\n")
    assert len(why) == len(BAD) and all("NOT CHECKED" in text for text in why["why"])
    for line_here, line in why.select("line_here", "line_in_orders").iter_rows():
        assert here[line_here - 1] == given[line - 1] and here[line_here - 1]


def test_mended_and_fed_back_the_two_results_are_that_of_a_whole_file(tmp_path: Path) -> None:
    run(tmp_path, put(tmp_path, GOOD, *BAD, STOP))
    aside = tmp_path / "results.refused.csv"
    text = aside.read_bytes()
    run(tmp_path, aside, "again.csv")
    assert (tmp_path / "again.refused.csv").read_bytes() == text  # unmended it comes back as it was
    for bad, right in BAD.items():
        text = text.replace(bad, right.encode() + b"\n", 1)
    aside.write_bytes(text)
    assert run(tmp_path, aside, "mended.csv").refused == 0
    run(tmp_path, put(tmp_path, GOOD, *BAD.values(), STOP, name="right.csv"), "whole.csv")
    answered = [row for row in rows_of(tmp_path / "results.csv") if "unreadable" not in row]
    assert sorted(answered + rows_of(tmp_path / "mended.csv")) == sorted(rows_of(tmp_path / "whole.csv"))


@pytest.mark.parametrize("form", ["jsonl", "parquet"])
def test_refused_rows_of_other_forms_can_be_fed_back(tmp_path: Path, form: str) -> None:
    keys = HEADER.split(",")
    bad = [GOOD.replace("210 mg", "210"), GOOD.replace("210 mg", "21\x000 mg")]
    table = pl.DataFrame([line.split(",") for line in (GOOD, *bad, STOP)], schema=keys, orient="row")
    orders = tmp_path / f"orders.{form}"
    table.write_parquet(orders) if form == "parquet" else table.write_ndjson(orders)
    aside = run(tmp_path, orders).aside
    assert aside.suffix == (".csv" if form == "parquet" else ".jsonl")
    if form == "jsonl":
        assert aside.read_bytes().splitlines() == orders.read_bytes().splitlines()[1:3]
    else:
        assert aside.read_bytes() == "\n".join((HEADER, *bad, "")).encode()
    text = aside.read_bytes().replace(b"\\u0000", b"").replace(b"\0", b"").replace(b'210"', b'210 mg"').replace(b",210,", b",210 mg,")
    aside.write_bytes(text)
    assert run(tmp_path, aside, "mended.csv").outcomes["within"] == 2


def test_no_file_aside_without_refused_rows_and_an_old_one_is_emptied(tmp_path: Path) -> None:
    run(tmp_path, put(tmp_path, GOOD))
    assert sorted(files(tmp_path)) == ["orders.csv", "results.csv", "results.csv.ledger.json"]
    run(tmp_path, put(tmp_path, GOOD, b"A3\n"), refused=tmp_path / "mine.csv")
    assert (tmp_path / "mine.csv").exists() and (tmp_path / "mine.why.csv").exists()
    assert run(tmp_path, put(tmp_path, GOOD), refused=tmp_path / "mine.csv").aside is None
    assert (tmp_path / "mine.csv").read_text() == HEADER + "\n"


def test_refused_rows_never_go_over_the_orders(tmp_path: Path) -> None:
    orders = put(tmp_path, GOOD, name="results.refused.csv")
    with pytest.raises(FileError, match="replace the file of orders"):
        run(tmp_path, orders)
    assert os.listdir(tmp_path) == ["results.refused.csv"]


MANY = [row for n in range(12) for row in (GOOD, STOP.replace("A2", f"B{n}"), *list(BAD)[n % 6 : n % 6 + 1])]
FEW = MANY[:15]  # three chunks
FORMS = ["results.csv", "results.csv.gz", "results.parquet", "results.arrow"]
MORE = ["results.jsonl", "results.tsv.zst", "results.arrows"]


class Killed(BaseException):
    """Stands for a kill: nothing that would tidy up is run."""


def kill_at(monkeypatch: pytest.MonkeyPatch, step: str, count: int) -> None:
    """The program ends at the n-th call of a step, and what would tidy up does not run."""
    calls = [0]
    real = getattr(os, step)

    def ended(*arguments: object, **options: object) -> object:
        calls[0] += 1
        if calls[0] >= count:
            raise Killed
        return real(*arguments, **options)

    monkeypatch.setattr(os, step, ended)
    monkeypatch.setattr(work_module.Work, "_remove", lambda self: None)


@pytest.mark.parametrize("out", FORMS)
def test_killed_at_each_step_it_goes_on_to_the_same_bytes(tmp_path: Path, out: str, small: None) -> None:
    (tmp_path / "whole").mkdir()
    orders = put(tmp_path, *FEW)
    run(tmp_path / "whole", orders, out)
    whole = files(tmp_path / "whole")
    assert len(whole) == 4
    for step in ("fsync", "replace"):
        kills = 0
        while True:
            folder = tmp_path / f"{step}{kills}"
            folder.mkdir()
            try:
                with pytest.MonkeyPatch.context() as patch:
                    kill_at(patch, step, kills + 1)
                    run(folder, orders, out)
                break  # it was not killed: there are no more such steps
            except Killed:
                kills += 1
            assert (folder / f"{out}.unfinished").is_dir()
            summary = run(folder, orders, out, resume=True)
            assert files(folder) == whole and [path.name for path in folder.iterdir() if path.is_dir()] == []
            assert summary.rows == len(FEW)
        assert kills >= 7


def stopped(folder: Path, orders: Path, out: str = "results.csv", rows: int = 12) -> None:
    def stop(done: int) -> None:
        if done > rows:
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        run(folder, orders, out, progress=stop)


def test_an_unfinished_run_is_never_thrown_away_in_silence(tmp_path: Path, small: None) -> None:
    orders = put(tmp_path, *MANY)
    stopped(tmp_path, orders)
    before = files(tmp_path / "results.csv.unfinished")
    with pytest.raises(FileError, match=r"stopped after \d+ rows.*--resume.*delete that folder"):
        run(tmp_path, orders)
    assert files(tmp_path / "results.csv.unfinished") == before and not (tmp_path / "results.csv").exists()
    assert run(tmp_path, orders, resume=True).gone_on > 0


def test_it_goes_on_only_with_the_same_run(tmp_path: Path, small: None) -> None:
    orders = put(tmp_path, *MANY)
    stopped(tmp_path, orders)
    with pytest.raises(FileError, match=r"undated_rows was '2026-05-04' and is '2026-05-05'"):
        run_batch(orders, tmp_path / "results.csv", FORMULARY, date(2026, 5, 5), resume=True)
    os.utime(orders, (1, 1))
    with pytest.raises(FileError, match="orders was"):
        run(tmp_path, orders, resume=True)
    assert (tmp_path / "results.csv.unfinished").is_dir()


def test_answered_rows_are_not_answered_again(tmp_path: Path, small: None, monkeypatch: pytest.MonkeyPatch) -> None:
    orders = put(tmp_path, *MANY)
    stopped(tmp_path, orders, rows=20)
    seen = []
    real = Batch.facts
    monkeypatch.setattr(Batch, "facts", lambda batch, rows: seen.append(len(rows)) or real(batch, rows))
    summary = run(tmp_path, orders, resume=True)
    assert sum(seen) == len(MANY) - summary.gone_on < len(MANY) - 10


def test_the_command_goes_on_with_the_day_on_which_the_run_began(tmp_path: Path, small: None) -> None:
    orders = put(tmp_path, *MANY)
    stopped(tmp_path, orders)  # on 2026-05-04, which is not today
    said = CliRunner().invoke(cli, ["batch", str(orders), "--out", str(tmp_path / "results.csv"), "--formulary", str(FOLDER), "--resume"])
    assert "were answered before the run was stopped" in said.output.replace("\n", " ")
    assert '"undated_rows": "2026-05-04"' in (tmp_path / "results.csv.ledger.json").read_text("utf-8")


@pytest.mark.parametrize("out", FORMS + MORE)
def test_killed_again_and_again_at_any_chunk(tmp_path: Path, out: str, small: None) -> None:
    """Seeded: each time a few chunks more, or none, and the end of the file half written."""
    (tmp_path / "whole").mkdir()
    orders = put(tmp_path, *MANY)
    run(tmp_path / "whole", orders, out)
    moments = random.Random(out)
    kills = 0
    for n in range(4):
        folder = tmp_path / f"{n}"
        folder.mkdir()
        while not (folder / out).exists():
            try:
                with pytest.MonkeyPatch.context() as patch:
                    kill_at(patch, "fsync", moments.randint(1, 16))
                    run(folder, orders, out, resume=True)
            except Killed:
                kills += 1
                with open(folder / f"{out}.unfinished" / "rows", "ab") as rows:
                    rows.write(moments.randbytes(moments.randint(0, 40)))
        assert files(folder) == files(tmp_path / "whole")
    assert kills >= 4


@pytest.mark.parametrize("out", FORMS)
def test_codes_of_parquet_orders_go_on_as_codes(tmp_path: Path, out: str, small: None, monkeypatch: pytest.MonkeyPatch) -> None:
    """Parquet keeps texts as codes; a run that goes on takes them from other groups of rows, and writes the same bytes."""
    monkeypatch.setattr(tables_in, "ENOUGH_ROWS", 5)
    (tmp_path / "whole").mkdir()
    rows = [line.split(",") for line in (GOOD, STOP, GOOD.replace("north", ""), GOOD.replace("210 mg", "210"))] * 9
    orders = tmp_path / "orders.parquet"
    pl.DataFrame(rows, schema=HEADER.split(","), orient="row").write_parquet(orders, row_group_size=3)
    run(tmp_path / "whole", orders, out)
    stopped(tmp_path, orders, out, rows=20)
    assert 0 < run(tmp_path, orders, out, resume=True).gone_on < len(rows)
    orders.unlink()
    assert files(tmp_path) == files(tmp_path / "whole")


@pytest.mark.parametrize("out", FORMS)
def test_rows_that_are_checked_by_columns_go_on_to_the_same_bytes(tmp_path: Path, out: str, small: None) -> None:
    """Each chunk brings answers that the chunks before did not have; a run that goes on has not seen theirs."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(csv_cut, "CHUNK_BYTES", 20_000)
        patch.setattr(pipeline, "ENOUGH_ROWS", 200)
        other = GOOD.replace("paracetamol", "ibuprofen").replace("210 mg", "140 mg").replace("6 hours", "8 hours")
        kinds = (GOOD, STOP, other, GOOD.replace("6 hours", "4 hours"), other.replace("140", "1400"), GOOD.replace("210", "100"))
        orders = put(tmp_path, *(row for kind in kinds for row in [kind] * 300))
        (tmp_path / "whole").mkdir()
        assert run(tmp_path / "whole", orders, out).slow < 300
        for rows in (400, 1000):
            stopped(tmp_path, orders, out, rows=rows)
            assert 0 < run(tmp_path, orders, out, resume=True).gone_on < 1800
            assert (tmp_path / out).read_bytes() == (tmp_path / "whole" / out).read_bytes()


DAMAGES = {
    "cut": lambda text: text[:-1],
    "none": lambda text: b"",
    "a byte": lambda text: text[: len(text) // 2] + bytes([text[len(text) // 2] ^ 1]) + text[len(text) // 2 + 1 :],
}


@pytest.mark.parametrize("damage", DAMAGES)
@pytest.mark.parametrize("part", ["rows", "refused", "why"])
@pytest.mark.parametrize("out", ["results.csv", "results.parquet", "results.arrow"])
def test_a_part_that_was_damaged_is_not_gone_on_with(tmp_path: Path, out: str, part: str, damage: str, small: None) -> None:
    orders = put(tmp_path, *MANY)
    stopped(tmp_path, orders, out)
    part_of = tmp_path / f"{out}.unfinished" / part
    noted, _ = json.loads(part_of.with_name("state.json").read_bytes())["prints"][part]
    part_of.write_bytes(DAMAGES[damage](part_of.read_bytes()[:noted]))
    with pytest.raises(FileError, match=f"damaged: {part} (is too short|was changed).*Delete that folder"):
        run(tmp_path, orders, out, resume=True)
    assert part_of.exists() and not (tmp_path / out).exists()


@pytest.mark.parametrize(
    "text", [b"", b"{", b"[]", b"7", b"{}", b'{"settings": 1}', b'{"settings": {}, "done": 2, "lengths": {"rows": 10}}']
)
@pytest.mark.parametrize("resume", [True, False])
def test_what_was_written_down_cannot_be_read(tmp_path: Path, text: bytes, resume: bool, small: None) -> None:
    orders = put(tmp_path, *MANY)
    stopped(tmp_path, orders)
    (tmp_path / "results.csv.unfinished" / "state.json").write_bytes(text)
    before = files(tmp_path / "results.csv.unfinished")
    with pytest.raises(FileError, match=r"results\.csv\.unfinished (is damaged|was another).*elete that folder"):
        run(tmp_path, orders, resume=resume)
    assert files(tmp_path / "results.csv.unfinished") == before


def test_killed_while_the_state_was_being_written(tmp_path: Path, small: None) -> None:
    """Half a state is left in the folder, which goes away with it all the same."""
    orders = put(tmp_path, *MANY)
    stopped(tmp_path, orders)
    (tmp_path / "results.csv.unfinished" / ".state.json.0123abcd.part").write_bytes(b"{")
    run(tmp_path, orders, resume=True)
    assert not (tmp_path / "results.csv.unfinished").exists()


@pytest.mark.parametrize(("key", "value"), [("program", "dosecheck 0.3.0"), ("libraries", "polars 1.30.0, pyarrow 17.0.0")])
def test_a_run_of_another_version_is_not_gone_on_with(tmp_path: Path, key: str, value: str, small: None) -> None:
    orders = put(tmp_path, *MANY)
    stopped(tmp_path, orders, "results.parquet")
    state = tmp_path / "results.parquet.unfinished" / "state.json"
    told = json.loads(state.read_bytes())
    told["settings"][key] = value
    del told["prints"]  # another version may have written other things down
    state.write_text(json.dumps(told), "utf-8")
    with pytest.raises(FileError, match=f"{key} was '{value}' and is '.*Run as before, or delete that folder"):
        run(tmp_path, orders, "results.parquet", resume=True)
    assert state.exists()


def test_a_form_that_cannot_go_on_says_so(tmp_path: Path) -> None:
    with pytest.raises(FileError, match="cannot be gone on with"):
        run(tmp_path, put(tmp_path, GOOD), "results.xlsx", resume=True)


@pytest.mark.parametrize("out", ["results.csv", "results.jsonl.gz", "results.parquet", "results.xlsx"])
def test_each_operation_on_the_disk_fails_in_turn(tmp_path: Path, out: str, small: None) -> None:
    """Whatever fails, and however far it came: one error, the earlier result as it was or the whole new one, and on it goes."""
    orders = put(tmp_path, *MANY)
    (tmp_path / "whole").mkdir()
    run(tmp_path / "whole", orders, out)
    whole = files(tmp_path / "whole")
    for step in ("fsync", "replace", "mkdir"):
        for count in (1, 3, 8, 12):
            folder = tmp_path / f"{step}{count}"
            folder.mkdir()
            (folder / out).write_bytes(b"earlier")
            calls, real = [0], getattr(os, step)

            def full(*arguments: object, real=real, calls=calls, count=count, **options: object) -> object:
                calls[0] += 1
                if calls[0] == count:
                    raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))
                return real(*arguments, **options)

            with pytest.MonkeyPatch.context() as patch:
                patch.setattr(os, step, full)
                try:
                    run(folder, orders, out)
                except FileError as error:
                    assert "No space left" in str(error)
                    assert (folder / out).read_bytes() == b"earlier"
                    unfinished = (folder / f"{out}.unfinished").is_dir()
                    assert unfinished == ("--resume" in str(error)) or step == "replace"
            run(folder, orders, out, resume=(folder / f"{out}.unfinished").is_dir())
            assert files(folder) == whole


@pytest.mark.parametrize("out", ["results.csv", "results.parquet", "results.arrow"])
def test_killed_for_real_at_some_moments(tmp_path: Path, out: str) -> None:
    """SIGKILL at seeded moments; then on to the end, the same bytes as of an undisturbed run."""
    orders = put(tmp_path, *MANY * 800)
    call = [sys.executable, "-c", _RUN.format(folder=str(FOLDER)), str(orders)]
    (tmp_path / "whole").mkdir()
    start = time.monotonic()
    subprocess.run([*call, str(tmp_path / "whole" / out), ""], check=True, env=_here())
    took, moments = time.monotonic() - start, random.Random(7)
    folder = tmp_path / "killed"
    folder.mkdir()
    for _ in range(2):
        task = subprocess.Popen([*call, str(folder / out), "resume"], env=_here())
        time.sleep(took * moments.uniform(0.4, 0.95))
        task.send_signal(signal.SIGKILL)
        task.wait()
    subprocess.run([*call, str(folder / out), "resume"], check=True, env=_here())
    assert files(folder) == files(tmp_path / "whole") and len(list(folder.iterdir())) == 4


_RUN = """
import sys
from datetime import date
from dosecheck import Formulary
from dosecheck.batch import csv_cut, pipeline
from dosecheck.batch.run import run_batch
csv_cut.CHUNK_BYTES, pipeline.ENOUGH_ROWS = 40_000, 1_000
run_batch(sys.argv[1], sys.argv[2], Formulary({folder!r}), date(2026, 5, 4), resume=bool(sys.argv[3]))
"""


def _here() -> dict[str, str]:
    return dict(os.environ, PYTHONPATH=os.pathsep.join(filter(None, sys.path)))


def test_the_results_columns_are_those_of_one_run(tmp_path: Path) -> None:
    """A result is that of an undisturbed run also in its columns."""
    run(tmp_path, put(tmp_path, GOOD))
    assert pl.read_csv(tmp_path / "results.csv", infer_schema=False).columns == [*HEADER.split(","), *RESULTS]


def test_refused_rows_of_several_files_stand_in_one(tmp_path: Path) -> None:
    (tmp_path / "orders").mkdir()
    bad = list(BAD)
    put(tmp_path / "orders", GOOD, bad[0], STOP, name="a.csv")
    put(tmp_path / "orders", bad[1], GOOD, bad[3], name="b.csv")
    summary = run(tmp_path, tmp_path / "orders")
    assert summary.aside.read_bytes() == HEADER.encode() + b"\n" + bad[0] + bad[1] + bad[3]
    why = pl.read_csv(tmp_path / "results.refused.why.csv")
    assert why.select("line_here", "file", "line_in_orders").rows() == [(2, "a.csv", 3), (3, "b.csv", 2), (4, "b.csv", 4)]
