"""Every figure of an entry by name, ready to be compared: units made equal, tables by band taken row by row."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from fractions import Fraction
from typing import Any

from dosecheck.formulary.fields import read_concentration, read_edge, read_figure, read_share
from dosecheck.formulary.limits import read_span
from dosecheck.formulary.medicine import bands_of
from dosecheck.formulary.weight_z import first_day
from dosecheck.quantity import Quantity
from dosecheck.reading import read_strength, read_time, read_volume, read_weeks, read_weight, read_z
from dosecheck.workshop.diff.figure import ALLOWED, ANY, BAND, BELOW, CONCERNED, DEMANDED, LEAST, MOST, OTHER, TEXT, Figure, number

Raw = dict[str, Any]
Figures = dict[str, Figure]
_WORDS = ("source", "note", "rounding", "ask_first", "name", "as_printed")
_NONE_OF_IT = ("id", "valid_from", "origin", "checked", "band", "dose", "reason")
_BANDS = ("age", "weight", "gestation", "postmenstrual", "corrected", "egfr")


def size(quantity: Quantity) -> tuple[str, Fraction]:
    return number(quantity.kind, quantity.value)


def _most(read: Callable[[str], Quantity]) -> Callable[[Any], Figure]:
    return lambda text: Figure(MOST, size(read(text)), text)


def _least(read: Callable[[str], Quantity]) -> Callable[[Any], Figure]:
    return lambda text: Figure(LEAST, size(read(text)), text)


_READ: dict[str, Callable[[Any], Figure]] = {
    "min_gap": _least(read_time),
    "min_duration": _least(read_time),
    "max_course": _most(read_time),
    "max_concentration": _most(read_concentration),
    "max_doses": lambda value: Figure(MOST, number("doses", value), str(value)),
    "query_up_to": lambda text: Figure(MOST, number("share", read_share(text)), text),
    "floor": lambda text: Figure(OTHER, size(read_figure(text)), text),
    "doses_a_day": lambda value: Figure(ALLOWED, frozenset(value), " or ".join(map(str, value))),
    "for": lambda value: Figure(ALLOWED, frozenset(value), ", ".join(value)),
    "required": lambda value: Figure(DEMANDED, frozenset(value), ", ".join(value)),
    "measure": lambda value: Figure(OTHER, tuple(_step(step) for step in value), "; ".join(map(_said, value))),
    "strength": lambda text: Figure(OTHER, size(read_strength(text)), text),
}


def figures_of(entry: Raw) -> Figures:
    """The figures of one regimen (without rows by band), product, age limit, daily band or ingredient."""
    found: Figures = {}
    if "dose" in entry:
        found |= _dose(entry["dose"])
    for key, value in entry.items():
        if key in _NONE_OF_IT or key in _BANDS:
            continue
        if key in ("max_single", "max_daily", "max_rate"):
            found |= _maxima(key, value)
        elif key == "totals":
            for total in value:
                found |= _maxima(f"total over {total['over']}", total["max"])
        elif key in _READ:
            found[key] = _READ[key](value)
        else:
            found[key] = Figure(TEXT if key in _WORDS else OTHER, _plain(value), _said(value))
    found |= _who(entry)
    if "route" in entry:  # a regimen: what it leaves out excludes nothing
        found["products"] = _products(entry.get("products"))
    return found


def age_limit_figures(entry: Raw) -> Figures:
    """All that an age limit states must hold for it to stop: each thing more that it states stops fewer."""
    found = figures_of(entry)
    for key in ("routes", "for", "condition"):
        if key in found:
            stated = entry[key] if isinstance(entry[key], list) else [entry[key]]
            found[key] = Figure(CONCERNED, frozenset(stated), found[key].text)
    return found


def rows_of(regimen: Raw) -> list[Raw]:
    """A regimen as it stands, or one entry for each row of its table by band."""
    shared = {key: value for key, value in regimen.items() if key != "band"}
    return [{**shared, **row} for row in regimen["band"]] if "band" in regimen else [shared]


def _dose(dose: str | Raw) -> Figures:
    span, text = read_span(dose), _said(dose)
    found = {"dose, upper end": Figure(MOST, size(span.high), text)} if span.high else {}
    return found | ({"dose, low end": Figure(LEAST, size(span.low), text)} if span.low else {})


def _maxima(key: str, value: list[str] | Raw) -> Figures:
    """The least of each form: plain, per kg, per m2; `{ none = "..." }` is a reason, no figure."""
    if isinstance(value, dict):
        return {f"{key}, none": Figure(TEXT, value["none"], value["none"])}
    found: Figures = {}
    for text in value:
        figure = read_figure(text)
        form = "".join(f" per {'kg' if part == 'weight' else 'm2' if part == 'surface' else part}" for part in figure.kind.split("/")[1:])
        name = f"{key}{form}"
        if name not in found or size(figure)[1] < found[name].value[1]:
            found[name] = Figure(MOST, size(figure), text)
    return found


def _who(entry: Raw) -> Figures:
    """The children as one figure: all bands together; an age limit stops more the higher it stands."""
    said = [f"{key} {_said(entry[key])}" for key in _BANDS if key in entry]
    if said:
        bands = tuple(sorted((band.fact, band.low, band.high) for band in bands_of(entry)))
        return {"children": Figure(BAND, bands, ", ".join(said))}
    found: Figures = {}
    for key in ("age_below", "corrected_below", "weight_below", "postmenstrual_below"):
        if key in entry:
            found[key] = Figure(BELOW, _edge(key, entry[key]), entry[key])
    return found


def _edge(key: str, text: str) -> tuple[str, Fraction]:
    if key == "weight_below":
        return size(read_weight(text))
    return number("days", read_weeks(text)) if key == "postmenstrual_below" else number(*read_edge(text))


def _products(value: list[str] | None) -> Figure:
    return Figure(ALLOWED, frozenset(value) if value else ANY, ", ".join(value) if value else "any")


def _step(step: Raw) -> tuple:
    return tuple((key, size(read_volume(text))) for key, text in sorted(step.items()))


def _plain(value: Any) -> Any:
    """Comparable whatever the order of keys; a list keeps its order only where it has tables."""
    if isinstance(value, dict):
        return tuple(sorted((key, _plain(one)) for key, one in value.items()))
    if isinstance(value, list):
        plain = [_plain(one) for one in value]
        return tuple(plain if any(isinstance(one, dict) for one in value) else sorted(plain, key=str))
    return str(value)


def _said(value: Any) -> str:
    if isinstance(value, dict):
        return ", ".join(f"{key} {_said(one)}" for key, one in value.items())
    return ", ".join(map(_said, value)) if isinstance(value, list) else str(value)


def head_figures(raw: Raw) -> Figures:
    """A medicine's own keys."""
    found = {
        "high_risk": Figure(DEMANDED, frozenset({"high risk"} if raw.get("high_risk") else ()), "yes" if raw.get("high_risk") else "no")
    }
    found["aliases"] = Figure(ALLOWED, frozenset(raw.get("aliases", [])), ", ".join(raw.get("aliases", [])) or "none")
    found["status"] = Figure(OTHER, raw["status"], raw["status"])
    for key in ("name", "basis"):
        if key in raw:
            found[key] = Figure(OTHER, raw[key], raw[key])
    for key in ("codes", "note"):
        if key in raw:
            found[key] = Figure(TEXT, _plain(raw[key]), _said(raw[key]))
    return found


def ingredient_figures(entry: Raw) -> Figures:
    found = {"groups": Figure(DEMANDED, frozenset(entry.get("groups", [])), ", ".join(entry.get("groups", [])) or "none")}
    for key in ("aliases", "equals"):
        if key in entry:
            found[key] = Figure(OTHER, _plain(entry[key]), _said(entry[key]))
    return found


_SHARES = ("query_up_to", "point_allowance", "most_step_down")


def policy_figures(raw: Raw) -> Iterator[tuple[str, Figure]]:
    """Each line of the policy; its reason is wording."""
    for key, line in raw.items():
        yield f"{key}, reason", Figure(TEXT, line["reason"], line["reason"])
        if key == "weight_z":
            for band in line["bands"]:
                ends = f"{band['low']} to {band['high']}"
                yield f"{key} from {band['from']}", Figure(BAND, (("z", read_z(band["low"]), read_z(band["high"])),), ends)
                yield f"{key}, start of {band['from']}", Figure(OTHER, first_day(band["from"]), band["from"])
        elif key in _SHARES:
            yield key, Figure(MOST, number("share", read_share(line["value"])), line["value"])
        elif key.startswith("weight_age"):
            yield key, Figure(MOST, size(read_time(line["value"])), line["value"])
        elif key == "weight_far_above":
            yield key, Figure(MOST, number("z", Fraction(str(read_z(line["value"])))), line["value"])
        elif key == "one_at_a_time":
            yield key, Figure(CONCERNED, frozenset(line["value"]), ", ".join(line["value"]))
        else:
            yield key, Figure(OTHER, str(line["value"]), str(line["value"]))
