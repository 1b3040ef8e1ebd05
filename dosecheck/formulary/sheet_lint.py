"""The list for the one-page sheet: which keys a line has, and that what it names stands in the medicines' files."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from pathlib import PurePosixPath
from typing import Annotated, Literal, NamedTuple

from pydantic import Field, model_validator

from dosecheck.formulary.fields import Id, Line, Word, refuse
from dosecheck.formulary.limits import read_span
from dosecheck.formulary.medicine_lint import Sound, unknown
from dosecheck.formulary.models import Route
from dosecheck.formulary.parts import Some, Table
from dosecheck.formulary.plainly import Place, Problem, Raw
from dosecheck.formulary.sheet import FILE, MOST_LINES, SUMS
from dosecheck.records import STEPS

_BY_ROUTE = ("route", "for_", "step", "regimen", "product")


class SheetLine(Table):
    medicine: Id | None = None
    regimen: Id | None = None
    route: Route | None = None
    for_: Word | None = Field(None, alias="for")
    step: Literal[STEPS] | None = None
    product: Id | None = None
    sum: Literal[tuple(SUMS)] | None = None
    rule: Word | None = None

    @model_validator(mode="after")
    def _one_thing(self) -> SheetLine:
        if (self.medicine is None) == (self.sum is None):
            raise refuse("A line is either of a medicine or of a sum.", 'Write medicine = "exampol", or sum = "tube-size".')
        return self._of_sum() if self.sum else self._of_medicine()

    def _of_sum(self) -> SheetLine:
        if any(getattr(self, name) for name in _BY_ROUTE):
            raise refuse("A sum has no route, purpose or product.", 'Write sum = "..." alone, with its rule where it has several.')
        rules = SUMS[self.sum]
        if rules and self.rule not in rules:
            raise refuse("The sum has several rules, and none of them is named.", f'Write rule = "{rules[0]}". It has: {", ".join(rules)}.')
        if self.rule and not rules:
            raise refuse("This sum has no rule to choose.", "Leave it out.")
        return self

    def _of_medicine(self) -> SheetLine:
        if self.rule:
            raise refuse("A rule belongs to a sum.", "Leave it out.")
        if self.regimen and (self.route or self.for_ or self.step):
            raise refuse("The regimen says the route, the purpose and the step already.", "Write one or the other.")
        if not self.regimen and not (self.route and self.for_):
            raise refuse("It does not say which figures.", 'Write regimen = "oral-child", or route = "oral" with for = "pain".')
        return self


class Section(Table):
    title: Annotated[Line, Field(max_length=60)]
    lines: Annotated[list[SheetLine], Some]


class SheetFile(Table):
    section: Annotated[list[Section], Some]


def sheet_problems(raw: Raw, shape: list[Problem], files: Iterable[str], sounds: dict[str, Sound]) -> Iterator[tuple[str, Problem]]:
    """(file, problem) of names that stand for nothing, for the lines whose own shape is right.

    Args:
        files: names of all files, right or wrong.
        sounds: the right parts of the medicine and local files.
    """
    if any(len(problem.place) < 2 for problem in shape):
        return
    wrong = {problem.place[:4] for problem in shape}
    wholly_wrong = {problem.place[:2] for problem in shape if problem.place[2:3] != ("lines",)}
    medicines = [PurePosixPath(name).stem for name in files if name.startswith("medicines/")]
    total = 0
    for place, line in _lines(raw):
        total += 1
        if place not in wrong and place[:2] not in wholly_wrong and "medicine" in line:
            found = _line_problem(line, medicines, sounds)
            if found:
                yield FILE, found._replace(place=(*place, *found.place))
    if total > MOST_LINES:
        yield FILE, Problem(("section",), f"There are {total} lines, and one page holds {MOST_LINES}.", "Leave out what is needed least.")


def _lines(raw: Raw) -> Iterator[tuple[Place, Raw]]:
    for number, section in enumerate(raw.get("section", [])):
        lines = section.get("lines") if isinstance(section, dict) else None
        for n, line in enumerate(lines if isinstance(lines, list) else []):
            yield ("section", number, "lines", n), line


class _Known(NamedTuple):
    """The entries of one medicine, the site's own among them; `whole` when none was left out for its own faults."""

    regimens: list[Raw]
    products: dict[str, Raw]
    ids: dict[str, list[str]]
    whole: bool


def _line_problem(line: Raw, medicines: list[str], sounds: dict[str, Sound]) -> Problem | None:
    name = line["medicine"]
    if name not in medicines:
        return unknown(name, medicines, "medicine")._replace(place=("medicine",))
    known = _known(name, sounds)
    for key, kind in (("regimen", "regimen"), ("product", "product")):
        if key in line and line[key] not in known.ids[kind]:
            return unknown(line[key], known.ids[kind], kind)._replace(place=(key,))
    return _figures_problem(line, known) if known.whole else None


def _known(name: str, sounds: dict[str, Sound]) -> _Known:
    parts = [sounds[f"medicines/{name}.toml"]] if f"medicines/{name}.toml" in sounds else []
    parts += [s for file, s in sounds.items() if file.startswith("local/") and s.head.get("medicine") == name]
    entries = {kind: [entry for part in parts for _, entry in part.entries[kind]] for kind in ("regimen", "product")}
    ids = {kind: list(dict.fromkeys(id_ for part in parts for id_ in part.ids[kind])) for kind in entries}
    whole = bool(parts) and all({entry["id"] for entry in entries[kind]} == set(ids[kind]) for kind in entries)
    return _Known(entries["regimen"], {entry["id"]: entry for entry in entries["product"]}, ids, whole)


def _figures_problem(line: Raw, known: _Known) -> Problem | None:
    """A route, purpose or step that no regimen has; an infusion; a product that does not go with them."""
    left = known.regimens
    for key, has in (
        ("regimen", lambda entry: [entry["id"]]),
        ("route", lambda entry: [entry["route"]]),
        ("for", lambda entry: entry["for"]),
        ("step", lambda entry: [entry.get("step", line.get("step"))]),
    ):
        if key in line:
            choices = sorted({word for entry in left for word in has(entry)})
            if line[key] not in choices:
                what = {"route": "regimen by the route", "for": "regimen for", "step": "regimen of the step"}[key]
                return unknown(line[key], choices, what)._replace(place=(key,))
            left = [entry for entry in left if line[key] in has(entry)]
    if all("dose" in entry and read_span(entry["dose"]).continuous for entry in left):
        return Problem((), "It is an infusion by time, and the sheet shows single doses.", "Name another regimen, or its first dose.")
    return _product_problem(known.products[line["product"]], left) if "product" in line else None


def _product_problem(product: Raw, regimens: list[Raw]) -> Problem | None:
    if not any(entry["route"] in product["routes"] for entry in regimens):
        return Problem(
            ("product",), f"It is not given by this route, {regimens[0]['route']}.", f"Its routes: {', '.join(product['routes'])}."
        )
    if not any(product["id"] in entry.get("products", [product["id"]]) for entry in regimens):
        return Problem(("product",), "The regimen is for other products.", f"They are: {', '.join(regimens[0]['products'])}.")
    return None
