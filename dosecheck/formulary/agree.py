"""What the keys of one entry must say of each other: a dose and its maxima, a band and the bands inside it.

Works on entries whose single fields were found right by `models.py`.  Each function yields `Problem`s with the place
inside the entry; whether entries agree with one another is in `medicine_lint.py`.
"""

from __future__ import annotations

from collections.abc import Iterator
from itertools import pairwise
from typing import Any

from dosecheck.formulary.fields import read_concentration, read_factor_end, read_figure
from dosecheck.formulary.limits import DoseSpan, read_span
from dosecheck.formulary.medicine import bands_of
from dosecheck.formulary.meets import in_days
from dosecheck.formulary.plainly import EXAMPLES, Problem
from dosecheck.quantity import Quantity
from dosecheck.reading import read_dose, read_strength, read_volume
from dosecheck.showing import show

WHO = ("age", "weight", "gestation", "postmenstrual", "corrected", "band")


# ---- a regimen ----


def regimen_problems(entry: dict[str, Any]) -> Iterator[Problem]:
    """Whatever the regimen says that cannot hold together; a table by band is taken row by row."""
    if ("dose" in entry) == ("band" in entry):
        said = "both dose and [[regimen.band]]" if "dose" in entry else "neither dose nor [[regimen.band]]"
        yield Problem(("dose",), f"The regimen has {said}.", f"For example: {EXAMPLES['dose']}; or a dose in each [[regimen.band]].")
    if not any(key in entry for key in WHO):
        yield Problem(("age",), "Nothing says for which children it is, so it would fit any age.", f"For example: {EXAMPLES['age']}.")
    yield from _daily_share(entry)
    if "dose" in entry and "band" not in entry:
        yield from _row_problems(entry)
    yield from {problem.place: problem for problem in _band_problems(entry)}.values()


def _band_problems(entry: dict[str, Any]) -> Iterator[Problem]:
    """Row by row; what is wrong with a key that stands above the rows is placed there, once for all of them."""
    for number, row in enumerate(entry.get("band", [])):
        if "age" not in row and "weight" not in row:
            yield Problem(("band", number, "age"), "The band has neither age nor weight.", f"For example: {EXAMPLES['age']}.")
        for problem in (*_outside(entry, row), *_row_problems({**entry, **row})):
            key = problem.place[0]
            yield problem._replace(place=("band", number, *problem.place)) if key in row or key == "dose" else problem


def _daily_share(entry: dict[str, Any]) -> Iterator[Problem]:
    per_day, allowed, most = entry.get("per") == "day", entry.get("doses_a_day", []), entry.get("max_doses")
    if per_day and not allowed:
        yield Problem(("doses_a_day",), 'A dose per = "day" needs the allowed numbers of doses.', "Write doses_a_day = [2, 3].")
    if allowed and most and most < min(allowed):
        yield Problem(("max_doses",), f"It is {most}, below every number in doses_a_day: no order could be right.", "Look at both again.")


def _outside(entry: dict[str, Any], row: dict[str, Any]) -> Iterator[Problem]:
    """A row's band stands in place of the regimen's, so it must lie inside it."""
    for key in ("age", "weight"):
        if key in row and key in entry:
            outer, inner = ({band.fact: band for band in map(in_days, bands_of({key: which[key]}))} for which in (entry, row))
            for fact, band in outer.items():
                mine = inner.get(fact)
                low = band.low is None or (mine and mine.low is not None and mine.low >= band.low)
                high = band.high is None or (mine and mine.high is not None and mine.high <= band.high)
                if not (low and high):
                    why = f"The band is not inside the regimen's own {key}, which it would replace."
                    yield Problem((key,), why, f"Write both ends inside {_band_text(entry[key])}, or widen the regimen's {key}.")


def _band_text(band: dict[str, str]) -> str:
    return ", ".join(f'{end} "{band[end]}"' for end in ("from", "below") if end in band)


def _row_problems(row: dict[str, Any]) -> Iterator[Problem]:
    if "max_daily" not in row:
        yield Problem(("max_daily",), "The most in 24 hours is missing.", f"For example: {EXAMPLES['max_daily']}.")
    span = read_span(row["dose"])
    wrong = list(_span_problems(span, row))
    yield from wrong
    if wrong:
        return
    figures = {key: [read_figure(text) for text in _texts(row, key)] for key in ("max_single", "max_daily", "max_rate")}
    odd = list(_kind_problems(row, span, figures))
    yield from odd
    if span.continuous:
        yield from _infusion_problems(row)
    elif not odd:
        yield from _order_problems(row, span, figures)


def _texts(row: dict[str, Any], key: str) -> list[str]:
    value = row.get(key, [])
    return value if isinstance(value, list) else []


def _span_problems(span: DoseSpan, row: dict[str, Any]) -> Iterator[Problem]:
    if span.high is None and "max_single" not in row:
        why = "The dose has no high end and there is no max_single, so any large dose would pass."
        yield Problem(("max_single",), why, f"For example: {EXAMPLES['max_single']}, or give the dose a high end.")
    if span.low is None or span.high is None:
        return
    if span.low.kind != span.high.kind:
        yield Problem(("dose",), f"The ends are of unlike kinds: {show(span.low)} and {show(span.high)}.", "Write both with like units.")
    elif span.low > span.high:
        why = f"The low end, {show(span.low)}, is above the high end, {show(span.high)}."
        yield Problem(("dose",), why, "Write the smaller figure as low.")


def _kind_problems(row: dict[str, Any], span: DoseSpan, figures: dict[str, list[Quantity]]) -> Iterator[Problem]:
    """Every figure of one regimen is of the dose's own kind of amount: milligrams do not bound units."""
    dose = span.high or span.low
    others = [((key, n), figure) for key, found in figures.items() for n, figure in enumerate(found)]
    totals = [(("totals", n, "max", m), text) for n, total in enumerate(row.get("totals", [])) for m, text in enumerate(total["max"])]
    others += [(place, read_figure(text)) for place, text in totals]
    if "floor" in row:
        others.append((("floor",), read_figure(row["floor"])))
    if "max_concentration" in row:
        others.append((("max_concentration",), read_concentration(row["max_concentration"])))
    for place, figure in others:
        if figure.kind.split("/")[0] != dose.kind.split("/")[0]:
            why = f"It is {show(figure)}, and the dose is {show(dose)}: unlike kinds of amount."
            yield Problem(place, why, "Write it in the unit of the dose.")


def _infusion_problems(row: dict[str, Any]) -> Iterator[Problem]:
    why = "The dose is a continuous infusion, which has no single doses."
    per_day = ["per"] if row.get("per") == "day" else []
    for key in ("max_single", "min_gap", "max_doses", "doses_a_day", "floor", "min_duration", "max_concentration", "totals", *per_day):
        if key in row:
            yield Problem((key,), why, "Leave it out, or write the dose without a time.")


def _order_problems(row: dict[str, Any], span: DoseSpan, figures: dict[str, list[Quantity]]) -> Iterator[Problem]:
    """Figures of one form (all per kg, all per m2, or all plain) must not contradict each other."""
    dose = span.high or span.low
    name = "dose" if row.get("per") != "day" else "daily dose"
    for n, single in enumerate(figures["max_single"]):
        if name == "dose" and _below(single, dose):
            yield Problem(("max_single", n), f"It is {show(single)}, below the dose, {show(dose)}.", "Look at both figures again.")
    for n, daily in enumerate(figures["max_daily"]):
        for words, other in [(name, dose), *(("single maximum", single) for single in figures["max_single"])]:
            if _below(daily, other):
                why = f"It is {show(daily)}, below the {words}, {show(other)}."
                yield Problem(("max_daily", n), why, "Were the single and the daily figure swapped?")
    if "floor" in row:
        floor = read_dose(row["floor"]).high
        for words, other in [("dose", dose), *(("single maximum", single) for single in figures["max_single"])]:
            if _below(other, floor):
                why = f"It is {show(floor)}, above the {words}, {show(other)}."
                yield Problem(("floor",), why, "The floor is the least single dose: look at it again.")


def _below(one: Quantity, other: Quantity) -> bool:
    return one.kind == other.kind and one < other


# ---- a product and an ingredient ----


def product_problems(entry: dict[str, Any], ingredients: list[str]) -> Iterator[Problem]:
    """Args: ingredients: the ids of the medicine's ingredients, in order."""
    texts = entry.get("strengths", {})
    if len(ingredients) == 1 and ("strength" in entry) == ("strengths" in entry):
        yield Problem(("strength",), "One of strength and strengths is needed.", f"For example: {EXAMPLES['strength']}.")
    elif len(ingredients) > 1 and ("strength" in entry or set(texts) != set(ingredients)):
        write = "Write strengths = { " + ", ".join(f'{name} = "..."' for name in ingredients) + " }."
        yield Problem(("strengths",), "The medicine has several ingredients, and the product must give the strength of each.", write)
    elif texts and set(texts) != set(ingredients):
        yield Problem(
            ("strengths",), f"It names {', '.join(texts)}; the ingredient is {ingredients[0]}.", f"For example: {EXAMPLES['strength']}."
        )
    below = {read_strength(text).kind.split("/")[1] for text in (texts.values() or filter(None, [entry.get("strength")]))}
    if len(below) > 1:
        yield Problem(("strengths",), "The strengths are in unlike things, such as a volume and a tablet.", "Write each in the same.")
    yield from _measure_problems(entry, below)
    for key in ("device", "output", "particle", "puffs"):
        if key in entry and (not {"inhaled", "nebulised"} & set(entry["routes"]) or (key == "puffs" and below and below != {"puff"})):
            yield Problem(
                (key,), f"The product is none of which {key} could be said: it is not inhaled, or not counted in puffs.", "Leave it out."
            )


def _measure_problems(entry: dict[str, Any], below: set[str]) -> Iterator[Problem]:
    ends = [step.get("up_to") for step in entry.get("measure", [])]
    if ends and below and below != {"volume"}:
        why = "The strength is not in a volume, so there is no volume to measure."
        yield Problem(("measure",), why, "Leave measure out; divides says how a tablet divides.")
    if "divides" in entry and not below <= {"tablet", "suppository"}:
        yield Problem(("divides",), "Only a tablet or a suppository divides into parts.", "Leave it out.")
    if ends and (ends[-1] is not None or None in ends[:-1]):
        yield Problem(("measure",), "The last step, and no other, is without up_to.", f"For example: {EXAMPLES['measure']}.")
    volumes = [read_volume(end) for end in ends if end is not None]
    if any(one >= other for one, other in pairwise(volumes)):
        yield Problem(("measure",), "The volumes do not rise from step to step.", f"For example: {EXAMPLES['measure']}.")


def ingredient_problems(entry: dict[str, Any]) -> Iterator[Problem]:
    if "equals" in entry:
        one, other = (read_factor_end(entry["equals"][key]) for key in ("amount", "is"))
        if one.kind == other.kind:
            why = f"{show(one)} and {show(other)} are of one kind, so nothing is left to say."
            yield Problem(("equals",), why, 'Write { amount = "1 mmol", is = "246.5 mg", source = {...} }.')
