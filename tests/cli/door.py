"""How these tests knock: `dosecheck(...)` in this process, through the very door of the command; `spawn` in a new one."""

from __future__ import annotations

import io
import os
import subprocess
import sys
from contextlib import redirect_stderr, redirect_stdout
from pathlib import Path
from typing import Any, NamedTuple
from unittest import mock

from dosecheck.cli import run

FOLDER = Path(__file__).parents[2] / "formulary"
REPO = FOLDER.parent
BASE = {
    "medicine": "paracetamol",
    "route": "oral",
    "for": "pain",
    "dose": "210 mg",
    "every": "6 hours",
    "weight": "14.2 kg",
    "age": "3 years",
    "on": "2026-05-04",
}


class Said(NamedTuple):
    status: int
    out: str
    err: str


def dosecheck(*args: str) -> Said:
    """Runs one command; a traceback would come through as an exception."""
    out, err = io.StringIO(), io.StringIO()
    with mock.patch.object(sys, "argv", ["dosecheck", *args]), redirect_stdout(out), redirect_stderr(err):
        try:
            run()
        except SystemExit as stop:
            return Said(stop.code, out.getvalue(), err.getvalue())
    raise AssertionError("the command did not exit")


def options(fields: dict[str, Any]) -> list[str]:
    """--name text for each field; True is a flag, None leaves it out, a list repeats the option."""
    args: list[str] = []
    for name, value in fields.items():
        flag = f"--{name.replace('_', '-')}"
        for text in value if isinstance(value, list) else [value]:
            args += [] if text is None or text is False else [flag] if text is True else [flag, text]
    return args


def flat(text: str) -> str:
    """Without the ends of lines."""
    return " ".join(text.split())


def order(*more: str, **changes: Any) -> Said:
    """`dosecheck order` of the usual order with changes."""
    return dosecheck("order", "--formulary", str(FOLDER), *options({**BASE, **changes}), *more)


def spawn(*args: Any, cwd: Path = REPO, **env: str) -> Said:
    """The same in a new process."""
    whole = {**os.environ, "PYTHONPATH": str(REPO), **env}
    done = subprocess.run(
        [sys.executable, "-m", "dosecheck", *args],
        capture_output=True,
        cwd=cwd,
        env=whole,
        check=False,
        timeout=120,
        stdin=subprocess.DEVNULL,
    )
    return Said(done.returncode, done.stdout.decode("utf-8", "replace"), done.stderr.decode("utf-8", "replace"))
