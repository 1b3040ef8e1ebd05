"""Which sheets there are and which columns each has: read off the models of the files, so that a new key needs no line here."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date
from functools import cache
from types import UnionType
from typing import Annotated, Any, Literal, NamedTuple, Union, get_args, get_origin

from pydantic import BaseModel

from dosecheck.formulary import models
from dosecheck.formulary.folder import ACCEPTED
from dosecheck.formulary.sheet import FILE as SHEET
from dosecheck.formulary.sheet_lint import SheetFile

READ_ME = "read me"
BAND = "band"
Path = tuple[str, ...]
_KINDS = {str: "text", int: "count", date: "date", bool: "yes"}


class Grid(NamedTuple):
    """One sheet: `fixed` columns say which entry a row is, `columns` are paths of keys to kinds of cells (`sheet_cells`).

    `place` is what its rows are: "head" of a file, "entry" of the list `kind`, "band" of a regimen, or "table" of a file of
    plain tables such as sources.toml; `file` is that file where there is but one."""

    name: str
    place: str
    kind: str
    fixed: tuple[str, ...]
    columns: dict[Path, str]
    file: str = ""

    def kind_of(self, header: str) -> tuple[Path, str] | None:
        """(path, kind) of a column by its header; keys of free tables, such as codes.atc, are known by their first part."""
        path = tuple(header.split("."))
        if path in self.columns:
            return path, self.columns[path]
        head, _, rest = header.partition(".")
        free = self.columns.get((head, "*"))
        if free and rest:
            return (head, rest), free
        opens = any(known[: len(path)] == path and len(known) > len(path) for known in self.columns)
        return (path, "text") if opens else None


def columns_of(model: type[BaseModel]) -> dict[Path, str]:
    """Every path of keys into an entry that a cell can hold, with the kind of the cell, in the order of the grammar."""
    found: dict[Path, str] = {}
    for name, field in model.model_fields.items():
        for path, kind in _cells(field.annotation):
            found.setdefault((field.alias or name, *path), kind)
    return found


def _cells(annotation: Any) -> Iterator[tuple[Path, str]]:
    origin, inner = get_origin(annotation), get_args(annotation)
    if origin is Annotated:
        yield from _cells(inner[0])
    elif origin in (Union, UnionType):
        for one in inner:
            yield from _cells(one)
    elif origin is Literal:
        yield (), "text"
    elif origin is list:
        yield (), _listed(next(_cells(inner[0])))
    elif origin is dict:
        yield ("*",), next(_cells(inner[1]))[1]
    elif isinstance(annotation, type) and issubclass(annotation, BaseModel):
        yield from columns_of(annotation).items()
    elif annotation in _KINDS:
        yield (), _KINDS[annotation]


def _listed(item: tuple[Path, str]) -> str:
    path, kind = item
    return "tables" if path else f"{kind}s"


def _entry_of(annotation: Any) -> type[BaseModel] | None:
    """The model of a list's entries."""
    origin, inner = get_origin(annotation), get_args(annotation)
    if origin is list:
        of = inner[0]
        return of if isinstance(of, type) and issubclass(of, BaseModel) else None
    return next((found for one in inner if (found := _entry_of(one))), None)


def _lists(model: type[BaseModel]) -> dict[str, type[BaseModel]]:
    found = {field.alias or name: _entry_of(field.annotation) for name, field in model.model_fields.items()}
    return {key: entry for key, entry in found.items() if entry and key != "checked"}


def _without(columns: dict[Path, str], keys: Any) -> dict[Path, str]:
    return {path: kind for path, kind in columns.items() if path[0] not in keys}


ENTRY_MODELS = {**_lists(models.MedicineFile), **_lists(models.LocalFile)}
POLICY_CELLS = columns_of(models.PolicyFile)


def _policy_columns() -> dict[Path, str]:
    """`value` differs from line to line: its kind is looked up by the line's key."""
    return {path[1:]: kind for path, kind in POLICY_CELLS.items()}


@cache
def grids() -> dict[str, Grid]:
    """Every sheet by its name, in the order of the workbook, after the one to read first."""
    heads = [("medicines", models.MedicineFile), ("local files", models.LocalFile)]
    all_ = [Grid(name, "head", "", ("file",), _without(columns_of(model), ENTRY_MODELS)) for name, model in heads]
    for kind, model in ENTRY_MODELS.items():
        all_.append(Grid(f"{kind}s", "entry", kind, ("file",), _without(columns_of(model), (BAND,))))
        if kind == "regimen":
            all_.append(Grid("bands", "band", BAND, ("file", "regimen", "regimen_valid_from"), columns_of(models.BandRow)))
    all_.append(Grid("sources", "table", "", ("source",), columns_of(models.SourceEntry), "sources.toml"))
    all_.append(Grid("policy", "table", "", ("line",), _policy_columns(), "policy.toml"))
    all_.append(Grid("acceptances", "entry", "accepted", (), columns_of(models.Acceptance), ACCEPTED))
    all_.append(Grid("sheet list", "entry", "section", (), columns_of(_lists(SheetFile)["section"]), SHEET))
    return {grid.name: grid for grid in all_}
