"""Documents are tested: README examples print what they say, commands have help, codes are explained."""

from __future__ import annotations

import json
import re
import shlex
import subprocess
import sys
from pathlib import Path

import pytest

from dosecheck import Child, Finding, Formulary, Order, check_order
from dosecheck.rules.catalogue import CATALOGUE
from dosecheck.sums.listing import SUMS

ROOT = Path(__file__).parents[1]
README = (ROOT / "README.md").read_text("utf-8")
EXAMPLES = re.findall(r"```console\n\$ dosecheck ([^\n]+)\n(.*?)```", README, re.S)
COMMANDS = [
    "",
    "order",
    "dose",
    "child",
    "chart",
    "batch",
    "batch check",
    "batch verify",
    "batch report",
    "batch columns",
    "batch charts",
    "sum",
    *(f"sum {name}" for name in SUMS),
    "drill",
    "drill kinds",
    "drill question",
    "drill mark",
    "drill paper",
    "drill class",
    "sheet",
    "serve",
    "journal",
    "journal verify",
    "journal head",
    "journal export",
    "journal remove",
    "demo",
    "formulary",
    "formulary lint",
    "formulary show",
    "formulary copy",
    "formulary book",
    "codes",
]


def run(arguments: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-m", "dosecheck", *shlex.split(arguments)], capture_output=True, text=True, cwd=ROOT, check=False
    )


def same(text: str) -> str:
    """The text without what differs by machine or by edited figure: the folder and the fingerprint."""
    text = re.sub(r"fingerprint\s+[0-9a-f]{16}", "fingerprint", text)
    return " ".join(re.sub(r"Formulary: .*", "Formulary:", text, flags=re.S).split())


@pytest.mark.parametrize("arguments, printed", EXAMPLES, ids=[example[0][:60] for example in EXAMPLES])
def test_readme_example_prints_what_it_says(arguments: str, printed: str) -> None:
    """Whole, or where a line "[...]" leaves some out, each piece in its order."""
    done = run(arguments)
    real = same(done.stdout + done.stderr)
    if "[...]" not in printed:
        assert real == same(printed)
    for piece in filter(None, map(same, printed.split("[...]"))):
        assert piece in real
        real = real.partition(piece)[2]


def test_readme_has_examples() -> None:
    assert len(EXAMPLES) >= 3


def test_readme_python_runs() -> None:
    code = re.search(r"```python\n(.*?)```", README, re.S).group(1)
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, cwd=ROOT, check=True)
    assert done.stdout.startswith("within\n")


@pytest.mark.parametrize("command", COMMANDS)
def test_every_command_has_help(command: str) -> None:
    done = run(f"{command} --help")
    assert done.returncode == 0
    assert all(len(line) <= 80 for line in done.stdout.splitlines())
    assert re.search(r"\n  [A-Z].{15,}", done.stdout), "no sentence says what it does"


def test_every_code_that_the_rules_use_is_explained() -> None:
    used = set()
    for file in (ROOT / "dosecheck").rglob("*.py"):
        used |= set(re.findall(r'Finding\(\s*"([a-z-]+)"|_brief\("([a-z-]+)"', file.read_text("utf-8")))
    names = {name for pair in used for name in pair if name}
    assert names and names <= set(CATALOGUE)
    assert all(len(code.meaning) > 20 for code in CATALOGUE.values())


def test_codes_command_explains_each() -> None:
    told = json.loads(run("codes --json").stdout)
    assert set(told) == set(CATALOGUE)


def test_each_code_of_a_limit_is_in_the_catalogue() -> None:
    formulary = Formulary(ROOT / "formulary")
    assert {limit.code for m in formulary.medicines() for r in m.regimens for limit in r.limits} <= set(CATALOGUE)


def test_demo_runs_and_defers() -> None:
    done = run("demo")
    assert done.returncode == 0
    for outcome in ("within", "query", "stop", "not-checked"):
        assert re.search(rf"[1-9]\d*  {outcome}", done.stdout)
    assert "the prescriber decides" in done.stdout


def test_every_answer_defers_and_names_its_formulary() -> None:
    verdict = check_order(Order(medicine="nothing"), Child(), Formulary(ROOT / "formulary"))
    assert "the prescriber decides" in verdict.caution
    assert verdict.formulary["fingerprint"]
    assert isinstance(verdict.findings[0], Finding)


def test_public_names_are_sorted_and_there() -> None:
    import dosecheck

    assert dosecheck.__all__ == sorted(dosecheck.__all__)
    assert all(hasattr(dosecheck, name) for name in dosecheck.__all__)
