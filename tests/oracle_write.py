"""Writes made-up formularies for the oracle's tests: plain tables as TOML files."""

from __future__ import annotations

from pathlib import Path
from typing import Any

SOURCES = '[made-up]\ntitle = "Made up"\norganisation = "Nobody"\nyear = 2024\ngrade = "secondary"\n'
SOURCE = {"id": "made-up", "place": "page 1"}
TABLES = ("ingredient", "product", "regimen", "age_limit")


def as_toml(value: Any) -> str:
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, dict):
        return "{ " + ", ".join(f"{key} = {as_toml(item)}" for key, item in value.items()) + " }"
    if isinstance(value, list):
        return "[" + ", ".join(map(as_toml, value)) + "]"
    return f'"{value}"' if isinstance(value, str) else str(value)


def written(entry: dict[str, Any]) -> str:
    """A medicine's or a local file as text."""
    lines = [f"{key} = {as_toml(value)}" for key, value in entry.items() if key not in TABLES]
    for table in TABLES:
        for one in entry.get(table, []):
            lines += [f"[[{table}]]", *(f"{key} = {as_toml(value)}" for key, value in one.items() if key != "band")]
            for band in one.get("band", []):
                lines += ["[[regimen.band]]", *(f"{key} = {as_toml(value)}" for key, value in band.items())]
    return "\n".join(lines) + "\n"


def policy(**values: str) -> str:
    """policy.toml, with the shipped values for what is not given."""
    usual = {"query_up_to": "10 %", "point_allowance": "10 %", "weight_age_infant": "14 days", "weight_age_child": "90 days"}
    return "".join(f'[{key}]\nvalue = "{value}"\nreason = "Made up."\n' for key, value in {**usual, **values}.items())


def write(files: dict[str, str], folder: Path) -> Path:
    """The files in the folder, which is given back."""
    for name, text in files.items():
        (folder / name).parent.mkdir(parents=True, exist_ok=True)
        (folder / name).write_text(text, "utf-8")
    return folder
