"""What is wrong in a file, in plain words: a `Problem` with its place, made from what pydantic finds, told as a fault."""

from __future__ import annotations

from datetime import date
from difflib import get_close_matches
from typing import Any, NamedTuple, get_args

from pydantic import BaseModel, TypeAdapter, ValidationError

from dosecheck.errors import FormularyFault

Raw = dict[str, Any]
Place = tuple[str | int, ...]
MOST_TOLD = 300
FIGURES = ("ingredient", "product", "regimen", "age_limit", "daily_band")
ENTRIES = (*FIGURES, "example")


class Problem(NamedTuple):
    """`place` is the way into the file's tables: ("regimen", 2, "max_single", 0)."""

    place: Place
    why: str
    write: str = ""


# One example of each key whose value is often left out or of the wrong type.
EXAMPLES = {
    "id": 'id = "oral-child"',
    "name": 'name = "exampol"',
    "aliases": 'aliases = ["exampolum"]',
    "status": 'status = "example"',
    "high_risk": "high_risk = true",
    "codes": 'codes = { atc = ["N02BE99"] }',
    "ingredient": '[[ingredient]] with id = "exampol"',
    "groups": 'groups = ["opioid"]',
    "form": 'form = "tablet"',
    "routes": 'routes = ["oral"]',
    "strength": 'strength = "120 mg in 5 mL"',
    "strengths": 'strengths = { trimethoprim = "40 mg in 5 mL", sulfamethoxazole = "200 mg in 5 mL" }',
    "measure": 'measure = [ { up_to = "5 mL", step = "0.1 mL" }, { step = "0.5 mL" } ]',
    "divides": "divides = 2",
    "puffs": "puffs = 200",
    "devices": 'devices = ["dry powder inhaler"]',
    "as_printed": "as_printed = true",
    "daily_band": 'daily_band = [ { low = { from = "100 micrograms", to = "200 micrograms" } } ]',
    "valid_from": "valid_from = 2024-05-01",
    "route": 'route = "oral"',
    "for": 'for = ["pain"]',
    "on": "on = 2024-06-02",
    "age": 'age = { from = "3 months", below = "12 years" }: from is inside, below is outside',
    "corrected": 'corrected = { from = "3 months", below = "12 years" }: from is inside, below is outside',
    "weight": 'weight = { from = "10 kg", below = "50 kg" }: from is inside, below is outside',
    "gestation": 'gestation = { from = "32 weeks", below = "37 weeks" }',
    "postmenstrual": 'postmenstrual = { from = "32 weeks", below = "37 weeks" }',
    "egfr": 'egfr = { from = "30 mL/min/1.73 m2", below = "60 mL/min/1.73 m2" }: from is inside, below is outside',
    "conditions": 'conditions = ["second line"]',
    "products": 'products = ["tablet-500"]',
    "covers": 'covers = ["sulfamethoxazole"]',
    "dose": 'dose = "15 mg/kg", or dose = { low = "10 mg/kg", high = "15 mg/kg" }',
    "doses_a_day": "doses_a_day = [2, 3]",
    "max_doses": "max_doses = 4",
    "max_single": 'max_single = ["1 g"]',
    "min_gap": 'min_gap = "4 hours"',
    "floor": 'floor = "100 micrograms"',
    "max_daily": 'max_daily = ["60 mg/kg", "4 g"], or max_daily = { none = "the reason, as the source has it" }',
    "totals": 'totals = [ { over = "course", max = ["25 mg/kg"] } ]',
    "max": 'max = ["25 mg/kg"]',
    "over": 'over = "course"',
    "max_course": 'max_course = "5 days"',
    "max_concentration": 'max_concentration = "10 mg/mL"',
    "max_rate": 'max_rate = ["2 mg/kg/min"]',
    "min_duration": 'min_duration = "15 minutes"',
    "required": 'required = ["rate"]',
    "query_up_to": 'query_up_to = "0 %"',
    "goes_by": 'goes_by = "ideal"',
    "ask_first": 'ask_first = ["Is the child drinking?"], with at most three sentences',
    "note": 'note = "..."',
    "year": "year = 2024",
    "source": 'source = { id = "invented-handbook-2024", place = "table 3, row 2" }',
    "checked": 'checked = [{ by = "A. N. Other", on = 2024-06-02, figures = "3f2a9c1b77d0" }]',
    "address": 'address = "https://handbook.example", or leave it out',
    "lines": 'lines = [ { medicine = "exampol", route = "oral", for = "pain" } ]',
    "section": '[[section]], with title = "Pain" and lines = [ ... ]',
    "withdraw": 'withdraw = ["rectal-child"]',
    "reason": 'reason = "Our drugs committee caps the single dose at 500 mg (minutes of 3 March 2025)."',
    "medicine": 'medicine = "exampol"',
    "given": 'given = { route = "oral", dose = "240 mg", every = "6 hours", weight = "16 kg", age = "4 years" }',
    "expect": 'expect = { outcome = "within" }',
    "title": 'title = "Invented Handbook"',
    "organisation": 'organisation = "Nobody"',
    "grade": 'grade = "primary"',
}

# The lines of policy.toml, where a key has a value and its reason.
POLICY_EXAMPLES = {
    **{key: f'{key} = {{ value = "10 %", reason = "..." }}' for key in ("query_up_to", "point_allowance")},
    **{key: f'{key} = {{ value = "90 days", reason = "..." }}' for key in ("weight_age_infant", "weight_age_child")},
    "one_at_a_time": 'one_at_a_time = { value = ["NSAID", "opioid"], reason = "..." }',
    "weight_z": 'weight_z = { reason = "...", bands = [ { from = "0 months", low = "-4", high = "4" } ] }',
    **{key: f'{key} = "{z}"' for key, z in (("low", "-4"), ("high", "4"))},
    "from": 'from = "10 years"',
    "weight_far_above": 'weight_far_above = { value = "3", reason = "..." }',
    "growth_reference": 'growth_reference = { value = "who", reason = "..." }',
    "most_step_down": 'most_step_down = { value = "50 %", reason = "..." }',
    "inhaled_table": 'inhaled_table = { value = "invented-handbook-2024", reason = "..." }',
    "clear_page_after": 'clear_page_after = { value = "5 minutes", reason = "..." }',
    "review_by": 'review_by = { value = 2027-12-31, reason = "..." }',
    "reason": 'reason = "Common practice, no source; set your own."',
}

_WANTED = {
    "string_type": "text in quotes",
    "int_type": "a whole number without quotes",
    "bool_type": "true or false without quotes",
    "list_type": "a list in square brackets",
    "dict_type": "a table",
    "model_type": "a table",
    "date_type": "a date without quotes",
}


def problems(model: type[BaseModel] | TypeAdapter, raw: dict[str, Any], examples: dict[str, str] = EXAMPLES) -> list[Problem]:
    """Every fault of one file's shape; of very many only the first, with the number of the rest and no place."""
    try:
        (model.validate_python if isinstance(model, TypeAdapter) else model.model_validate)(raw)
    except ValidationError as error:
        found = [_problem(model, fault, examples) for fault in error.errors(include_url=False)[:MOST_TOLD]]
        more = error.error_count() - len(found)
        return found + ([Problem((), f"There are {more} faults more.", "Mend these first.")] if more else [])
    return []


def _problem(model: Any, fault: dict[str, Any], examples: dict[str, str]) -> Problem:
    place = tuple(part for part in fault["loc"] if part not in ("<first>", "<other>", "[key]"))
    keys = [part for part in reversed(place) if isinstance(part, str)]
    key = keys[0] if keys else ""
    kind, given, context = fault["type"], fault["input"], fault.get("ctx", {})
    example = next((f"For example: {examples[name]}." for name in keys if name in examples), "")
    if kind == "plain":
        return Problem(place, context["why"], context["write"])
    if kind == "extra_forbidden":
        return Problem(place, "There is no such key here.", _nearest(str(key), keys_at(model, place), "Did you mean"))
    if kind == "literal_error":
        allowed = context["expected"].replace(" or ", ", ").replace("'", "").split(", ")
        return Problem(place, f"{shown(given)} is none of the words allowed here.", _nearest(str(given), allowed, "Write"))
    if kind == "list_type" and isinstance(given, str) and len(given) <= 60:
        return Problem(place, f"{shown(given)} is text, and a list is needed.", f"Write {key} = [{shown(given)}].")
    if kind in _WANTED:
        return Problem(place, f"{shown(given)} is not {_WANTED[kind]}.", example)
    return Problem(place, _other(kind, given, context), example)


def _other(kind: str, given: Any, context: dict[str, Any]) -> str:
    bounds = {"less_than_equal": ("more than", "le"), "greater_than_equal": ("less than", "ge")}
    if kind == "missing":
        return "It is missing."
    if kind in bounds:
        words, end = bounds[kind]
        return f"{shown(given)} is {words} {context[end]}."
    if kind == "too_short":
        return "It is empty."
    if kind == "too_long":
        return f"It has more than {context['max_length']} entries."
    return f"{shown(given)} does not fit here."


def shown(value: Any) -> str:
    """A value as the file has it, shortly."""
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, int):
        return str(value) if value.bit_length() < 64 else "A number of many digits"
    if isinstance(value, str):
        return f'"{ascii(value)[1:-1] if not value.isprintable() else value}"' if len(value) <= 60 else f'"{ascii(value[:40])[1:-1]} ..."'
    if isinstance(value, date):
        return str(value)
    return "A list" if isinstance(value, list) else "A table" if isinstance(value, dict) else "A time"


def _nearest(word: str, known: list[str], lead: str) -> str:
    near = get_close_matches(word[:60], known, n=1, cutoff=0.6)
    return f'{lead} "{near[0]}"{"?" if lead.startswith("Did") else "."}' if near else f"Known here: {', '.join(known)}."


def keys_at(model: Any, place: Place) -> list[str]:
    """The keys of the table in which the last part of `place` stands, in the documented order."""
    if isinstance(model, TypeAdapter):
        model, place = get_args(model._type)[1], place[1:]
    for part in place[:-1]:
        if isinstance(part, str):
            model = next((m for m in _models(_fields(model)[part].annotation)), model)
    return list(_fields(model))


def _fields(model: type[BaseModel]) -> dict[str, Any]:
    return {field.alias or name: field for name, field in model.model_fields.items()}


def _models(annotation: Any) -> list[type[BaseModel]]:
    """The models inside a type such as list[BandRow] | None."""
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return [annotation]
    return [model for inner in get_args(annotation) for model in _models(inner)]


# ---- a problem becomes a fault ----


def tables(raw: Raw, kind: str) -> list[Any]:
    found = raw.get(kind, [])
    return found if isinstance(found, list) else []


def position(raw: Raw, place: Place) -> list[int]:
    """Where in the file a place stands; a key that is missing comes after those that are there."""
    position: list[int] = []
    node: Any = raw
    for part in place:
        if isinstance(node, dict):
            keys = list(node)
            position.append(keys.index(part) if part in node else len(keys))
            node = node.get(part)
        elif isinstance(node, list) and isinstance(part, int) and part < len(node):
            position.append(part)
            node = node[part]
        else:
            break
    return position


def to_fault(file: str, raw: Raw, problem: Problem) -> FormularyFault:
    kind, *rest = problem.place or ("",)
    entry = ""
    if file == "sources.toml":
        entry = f"source {shown(kind)}"
    elif kind in (*ENTRIES, "section") and rest:
        number, *rest = rest
        entry = f"{kind.replace('_', ' ')} {_entry_name(raw, kind, number)}"
        if len(rest) > 1 and rest[0] in ("band", "lines"):
            entry += f", {rest[0].removesuffix('s')} {rest[1] + 1}"
            rest = rest[2:]
    else:
        rest = [kind, *rest]
    keys = [shown(part)[1:-1] for part in rest if isinstance(part, str) and part]
    return FormularyFault(file, entry, ".".join(keys), problem.why, problem.write)


def _entry_name(raw: Raw, kind: str, number: int) -> str:
    entry = tables(raw, kind)[number]
    id_ = entry.get("title" if kind == "section" else "id") if isinstance(entry, dict) else None
    return shown(id_) if isinstance(id_, str) else str(number + 1)
