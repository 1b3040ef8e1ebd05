"""The page as it runs: figures read anew, the journal on and broken, and the command that starts it."""

from __future__ import annotations

import asyncio
import os
import shutil
import signal
import subprocess
import sys
import threading
import time
from pathlib import Path
from typing import Any
from urllib.request import urlopen

import pytest
from web.ward import FOLDER, FORM, ORDER, client, free_port, post

from dosecheck.errors import FileError
from dosecheck.formulary.load import Formulary
from dosecheck.journal import Journal
from dosecheck.web.app import make_app
from dosecheck.web.settings import Settings
from dosecheck.web.site import Figures

REPO = FOLDER.parent


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    shutil.copytree(FOLDER, tmp_path / "formulary")
    return tmp_path / "formulary"


def edit(folder: Path, share: str) -> None:
    """How far above a maximum an order is a query; written beside and then replaced, as an editor does it."""
    path = folder / "policy.toml"
    head, _, rest = path.read_text("utf-8").partition("[query_up_to]\nvalue  = ")
    beside = path.with_suffix(".new")
    beside.write_text(f'{head}[query_up_to]\nvalue  = "{share}"{rest[rest.index(chr(10)) :]}', "utf-8")
    os.replace(beside, path)


def test_h27_a_changed_folder_is_read_whole(folder: Path) -> None:
    """H27, B093: an edit changes fingerprint and answers together; each answer carries the print of the figures it used."""
    figures = Figures(folder)
    before = figures.now
    figures.look()
    assert figures.now is before
    path = folder / "medicines" / "paracetamol.toml"
    path.write_text(path.read_text("utf-8") + "\n# a note\n", "utf-8")
    figures.look()
    assert (
        figures.now is not before and figures.now.fingerprint == Formulary(folder).fingerprint != before.fingerprint and not figures.trouble
    )


def test_h11_a_broken_edit_leaves_the_last_whole_figures_and_says_so(folder: Path) -> None:
    """H11: half an edit is never used; every answer then says that the figures are those read before."""
    app = make_app(Settings(formulary=folder))
    ward, site = client(app=app), app.app.state.site
    before = site.formulary.fingerprint
    path = folder / "medicines" / "paracetamol.toml"
    whole = path.read_text("utf-8")
    path.write_text(whole + "\n[[regimen]]\nid = ", "utf-8")
    site.figures.look()
    told = ward.post("/api/order", json=ORDER).json()
    assert told["formulary"]["fingerprint"] == before and "cannot be used" in told["trouble"] and before in told["trouble"]
    for page in (
        ward.get("/").text,
        post(ward, "/order", FORM).text,
        post(ward, "/order", FORM, headers={"x-dosecheck-part": "answer"}).text,
    ):
        assert page.count('class="trouble"') == 1
    child = {"child": "SM-014", "weight": "14.2 kg", "weight_is": "measured", "age": "3 years 2 months"}
    assert before in ward.post("/api/sheet", json=child).json()["doubts"][0]
    assert "cannot be used" in post(ward, "/sheet", child, "/sheet").text
    chart = {"now": "2026-05-04 14:30+01:00", "doses_given": "none", "child": {"weight": "14.2 kg", "age": "3 years"}, "order": []}
    for address, asked in (("/api/chart", chart), ("/api/sums/drops", {"rate": "100 mL/h", "set": "20 drops/mL"})):
        assert before in ward.post(address, json=asked).json()["trouble"], address
    path.write_text(whole, "utf-8")
    site.figures.look()
    assert "trouble" not in ward.post("/api/order", json=ORDER).json()


def test_h11_a_fault_while_reading_ends_no_watch(monkeypatch: pytest.MonkeyPatch, folder: Path) -> None:
    """Whatever goes wrong while a changed folder is read: it is said on every answer, and the next change is looked at again."""
    figures = Figures(folder)
    path = folder / "medicines" / "paracetamol.toml"

    def broken(*_: Any) -> None:
        raise RecursionError

    with monkeypatch.context() as bad:
        bad.setattr(Figures, "_read", broken)
        path.write_text(path.read_text("utf-8") + "\n# a note\n", "utf-8")
        figures.look()
    assert figures.now.fingerprint in figures.trouble and "cannot be read" in figures.trouble
    path.write_text(path.read_text("utf-8") + "\n# another\n", "utf-8")
    figures.look()
    assert not figures.trouble


def test_h27_answers_while_the_folder_is_being_replaced(folder: Path) -> None:
    """H27, B093: an answer given in the middle of an edit has one print, and the outcome that belongs to it."""
    app = make_app(Settings(formulary=folder))
    site = app.app.state.site
    seen: set[tuple[str, str]] = set()
    done = threading.Event()

    def look() -> None:
        while not done.is_set():
            site.figures.look()

    looking = threading.Thread(target=look)
    looking.start()
    ward = client(app=app)
    for share in ("50 %", "10 %", "50 %"):
        edit(folder, share)
        before = site.formulary
        while site.formulary is before:
            told = ward.post("/api/order", json={**ORDER, "dose": "250 mg"}).json()  # 17.6 mg/kg of at most 15
            seen.add((told["formulary"]["fingerprint"], told["outcome"]))
    done.set()
    looking.join()
    assert sorted(outcome for _, outcome in seen) == ["query", "stop"] and len({print_ for print_, _ in seen}) == 2


def test_a_formulary_that_cannot_be_used_starts_nothing(tmp_path: Path) -> None:
    done = subprocess.run(
        [sys.executable, "-m", "dosecheck", "serve", "--formulary", str(tmp_path)], capture_output=True, text=True, cwd=REPO, check=False
    )
    assert done.returncode == 2 and "policy.toml" in done.stderr and "Traceback" not in done.stderr


def test_the_journal_keeps_what_was_asked_and_answered(tmp_path: Path) -> None:
    """With the journal on: the fields as told, the fingerprint, the whole answer; the page says under which number."""
    ward = client(Settings(formulary=FOLDER, journal=tmp_path / "journal.db"))
    told = ward.post("/api/order", json=ORDER).json()
    page = post(ward, "/order", FORM).text
    entries = list(Journal(tmp_path / "journal.db", new=False).entries())
    assert "entry 2" in page and told["journal"] == "In the journal as entry 1." and [e.kind for e in entries] == ["order", "order"]
    assert '"14.2 kg"' in entries[1].asked and entries[0].asked == entries[1].asked and '"outcome":"within"' in entries[0].answer
    assert entries[0].fingerprint == told["formulary"]["fingerprint"] and Journal(tmp_path / "journal.db", new=False).verify() is None


def test_nothing_is_kept_without_the_journal(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """H33: an order leaves no file."""
    monkeypatch.chdir(tmp_path)
    post(client(), "/order", FORM)
    assert not list(tmp_path.iterdir())


def test_a_journal_that_cannot_be_written_is_said(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The answer stands, and beside it that it is not in the journal; never silence."""
    ward = client(Settings(formulary=FOLDER, journal=tmp_path / "journal.db"))

    def full(*_: Any, **__: Any) -> int:
        raise FileError("journal.db", "No space left on device.", "")

    monkeypatch.setattr(Journal, "add", full)
    assert "NOT IN THE JOURNAL" in post(ward, "/order", FORM).text
    assert "NOT IN THE JOURNAL" in ward.post("/api/order", json=ORDER).json()["journal"]


@pytest.mark.skipif(os.name != "posix", reason="signals are sent as on POSIX")
def test_the_command(tmp_path: Path) -> None:
    """It says where it is, what that means and what is kept; one Ctrl-C ends it quietly."""
    port = str(free_port())
    words = [
        sys.executable,
        "-m",
        "dosecheck",
        "serve",
        "--port",
        port,
        "--formulary",
        str(FOLDER),
        "--journal",
        str(tmp_path / "journal.db"),
    ]
    running = subprocess.Popen(
        words, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, cwd=REPO, env={**os.environ, "PYTHONUNBUFFERED": "1"}
    )
    said = [running.stdout.readline() for _ in range(3)]
    assert f"http://127.0.0.1:{port}/" in said[0] and "on this machine" in said[1] and "journal is kept" in said[2]
    for _ in range(100):
        try:
            assert b"Check an order" in urlopen(f"http://127.0.0.1:{port}/", timeout=5).read()
            break
        except OSError:
            time.sleep(0.1)
    running.send_signal(signal.SIGINT)
    out, err = running.communicate(timeout=20)
    assert running.returncode == 0 and "Stopped." in out and "Traceback" not in err


def test_an_address_that_is_taken(tmp_path: Path) -> None:
    import socket

    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        port = str(taken.getsockname()[1])
        words = [sys.executable, "-m", "dosecheck", "serve", "--port", port, "--formulary", str(FOLDER)]
        done = subprocess.run(words, capture_output=True, text=True, cwd=REPO, check=False, timeout=60)
    assert done.returncode == 2 and "--port" in done.stderr and "Traceback" not in done.stderr


def test_nobody_waits_for_somebody_elses_disk(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A journal that is slow to write keeps only its own answer waiting."""

    site = make_app(Settings(formulary=FOLDER, journal=tmp_path / "journal.db")).app.state.site
    slow = threading.Event()
    monkeypatch.setattr(Journal, "add", lambda *_, **__: slow.wait(10) and 1)

    async def both() -> list[str]:
        waiting = asyncio.ensure_future(site.keep("order", {}, {}, site.formulary))
        await asyncio.sleep(0.05)
        assert not waiting.done()  # and yet we are here
        slow.set()
        return [await waiting]

    assert asyncio.run(both()) == ["In the journal as entry 1."]
