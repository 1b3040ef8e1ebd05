"""A small formulary, right in every part, for tests to break: as `read_folder` gives it, name to content."""

from __future__ import annotations

from dosecheck.formulary.lint import lint_files

POLICY = """
query_up_to = { value = "10 %", reason = "Common practice." }
point_allowance = { value = "10 %", reason = "Rounding down." }
weight_age_infant = { value = "14 days", reason = "Infants grow fast." }
weight_age_child = { value = "90 days", reason = "Common practice." }
"""

SOURCES = """
[invented-handbook-2024]
title = "Invented Handbook"
organisation = "Nobody"
year = 2024
address = "https://handbook.example"
grade = "primary"
"""

REGIMEN = """
[[regimen]]
id = "oral-child"
valid_from = 2024-05-01
route = "oral"
for = ["pain"]
age = { from = "3 months", below = "12 years" }
dose = "15 mg/kg"
min_gap = "4 hours"
max_daily = ["4 g"]
source = { id = "invented-handbook-2024", place = "table 3, row 2" }
"""


def medicine(id_: str = "exampol", more: str = REGIMEN, head: str = "", ingredient: str = "") -> str:
    return f'id = "{id_}"\nname = "{id_}"\nstatus = "example"\n{head}\n[[ingredient]]\nid = "{ingredient or id_}"\n{more}'


def folder(**files: str | bytes | None) -> dict[str, bytes]:
    """Args: files: "medicines_exampol" stands for medicines/exampol.toml; None leaves a file out."""
    whole = {"policy": POLICY, "sources": SOURCES, "medicines_exampol": medicine(), **files}
    named = {name.replace("_", "/", 1) + ".toml": text for name, text in whole.items() if text is not None}
    return {name: text if isinstance(text, bytes) else text.encode() for name, text in named.items()}


def faults(**files: str | bytes | None) -> list[str]:
    return [str(fault) for fault in lint_files(folder(**files)).faults]


def one_fault(expected: str, **files: str | bytes | None) -> None:
    """There is exactly one fault, and it says `expected`."""
    found = faults(**files)
    assert len(found) == 1 and expected in found[0], found
