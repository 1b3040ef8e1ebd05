"""Plans of papers for these tests, written into a folder as a teacher would."""

from __future__ import annotations

from pathlib import Path

from drill.bank import POOL

from dosecheck.drill.kinds import KINDS
from dosecheck.drill.paper import Papers
from dosecheck.drill.paper_file import Plan, read_plan

HEAD = 'title = "Week 3"\ncalculator = false\nminutes = 30\npass_mark = "80 %"\n'
OWN = """
[[question]]
id       = "syrup-1"
text     = "SM-001 weighs 14.2 kg. Exampol: 15 mg/kg. How many mg?"
answer   = "213 mg"
rounding = "1 mg"
wrong    = [{ answer = "2840 mg", says = "you took the age" }]

[[question]]
id       = "choice-1"
text     = "A word <b>of choice</b>?"
answer   = "give"
choices  = ["give", "ask"]
"""
OWN_ROW = '[[row]]\nown = "own.toml"\n'


def row(kind: str, level: int, how_many: int) -> str:
    return f'[[row]]\nkind = "{kind}"\nlevel = {level}\nhow_many = {how_many}\n'


EVERY = "".join(row(kind, level, 1) for kind in KINDS for level in (1, 2, 3))
MIXED = row("dose-by-weight", 2, 3) + row("maximum", 1, 3) + row("volume", 1, 2) + row("right-or-not", 3, 2) + OWN_ROW


def plan_file(folder: Path, rows: str = MIXED, head: str = HEAD) -> str:
    (folder / "own.toml").write_text(OWN, "utf-8")
    (folder / "paper.toml").write_text(head + rows, "utf-8")
    return str(folder / "paper.toml")


def plan(folder: Path, rows: str = MIXED, head: str = HEAD) -> Plan:
    return read_plan(plan_file(folder, rows, head))


def papers(folder: Path, rows: str = MIXED, seed: int | None = None) -> Papers:
    return Papers(plan(folder, rows), POOL, seed)
