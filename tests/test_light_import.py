"""`import dosecheck` and `dosecheck order` stay light: what a single check does not need is not loaded."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

REPO = Path(__file__).parents[1]
HEAVY = {"jinja2", "weasyprint", "polars", "pyarrow", "matplotlib", "fastapi", "pyspark", "pydantic", "pint", "rich", "numpy", "pandas"}
ORDER = [
    "order",
    "--medicine",
    "paracetamol",
    "--route",
    "oral",
    "--dose",
    "210 mg",
    "--every",
    "6 hours",
    "--weight",
    "14.2 kg",
    "--age",
    "3 years",
]
RUN = f"""
import sys
from dosecheck.cli import run
sys.argv = ["dosecheck", *{ORDER!r}, "--formulary", {str(REPO / "formulary")!r}, *sys.argv[1:]]
try:
    run()
except SystemExit as stop:
    print("status", stop.code, file=sys.stderr)
print(*sys.modules, file=sys.stderr)
"""


def modules(script: str, *args: str, cache: Path) -> set[str]:
    """Every module that a fresh interpreter has loaded at the end of `script`."""
    env = {**os.environ, "PYTHONPATH": str(REPO), "XDG_CACHE_HOME": str(cache)}
    done = subprocess.run(
        [sys.executable, "-c", script, *args], capture_output=True, text=True, env=env, cwd=cache, check=True, timeout=120
    )
    assert "Traceback" not in done.stderr
    return set(done.stderr.split())


def loaded(script: str, *args: str, cache: Path) -> set[str]:
    """The heavy packages among them."""
    return {name.split(".")[0] for name in modules(script, *args, cache=cache)} & HEAVY


def test_import_dosecheck(tmp_path: Path) -> None:
    assert loaded("import dosecheck, sys; print(*sys.modules, file=sys.stderr)", cache=tmp_path) == set()


@pytest.mark.parametrize("form", [(), ("--json",)])
def test_order(form: tuple[str, ...], tmp_path: Path) -> None:
    """Without a stamp the folder is linted first, and only then is pydantic loaded."""
    assert loaded(RUN, *form, cache=tmp_path) == {"pydantic"}
    assert loaded(RUN, *form, cache=tmp_path) == set()


def test_help(tmp_path: Path) -> None:
    assert (
        loaded(
            "import sys; from dosecheck.cli import run; sys.argv = ['dosecheck', '--help']\ntry: run()\nexcept SystemExit: print(*sys.modules, file=sys.stderr)",
            cache=tmp_path,
        )
        == set()
    )


LOOKING_BACK = (
    "dosecheck.earlier",
    "dosecheck.rules.history",
    "dosecheck.rules.with_earlier",
    "dosecheck.reading.given",
    "dosecheck.rules.chart",
)


@pytest.mark.parametrize(("more", "met"), [((), False), (("--given", "210 mg 6 hours ago"), True)])
def test_what_looks_at_earlier_doses_waits_until_they_are_told(more: tuple[str, ...], met: bool, tmp_path: Path) -> None:
    loaded_here = modules(RUN, "--json", *more, cache=tmp_path)
    assert (LOOKING_BACK[0] in loaded_here) is met
    assert met or not set(LOOKING_BACK) & loaded_here


UNASKED = {"_hashlib", "difflib", "pathlib", "zoneinfo", "dosecheck.formulary.sheet", "dosecheck.formulary.lint", "dosecheck.rules.slips"}


@pytest.mark.parametrize(("dose", "met"), [("210 mg", set()), ("2.1 g", {"dosecheck.rules.slips"})])
def test_an_order_that_is_within_loads_neither_slips_nor_openssl(dose: str, met: set[str], tmp_path: Path) -> None:
    order = (RUN.replace("210 mg", dose), "--for", "pain", "--json")
    modules(*order, cache=tmp_path)  # lints the folder, and leaves its stamp
    assert modules(*order, cache=tmp_path) & UNASKED == met
