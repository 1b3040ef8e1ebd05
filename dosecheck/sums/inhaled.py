"""Inhaled treatment: what a day's puffs come to, which published band that is, and two regimens compared.

Sources: the arithmetic is strength x puffs x times a day.  Bands are figures of the formulary (`placing.py`).  How large a
cut may be at once is the policy's.
"""

from __future__ import annotations

from fractions import Fraction
from typing import Any, NamedTuple

from dosecheck.body.age import Age
from dosecheck.formulary.limits import share
from dosecheck.formulary.load import Formulary
from dosecheck.quantity import Quantity
from dosecheck.reading.takings import Taking, read_taking
from dosecheck.records import read_name
from dosecheck.showing import show_share
from dosecheck.sums.child import AGE_IF_TOLD
from dosecheck.sums.frame import Answer, Doubt, Field, Result, Sum
from dosecheck.sums.inhaler import Inhaled, daily_dose, fields, inhaled, plausible
from dosecheck.sums.placing import Placing, Tables, open_question, place_doubts, place_notes, placed, ranks, tables_of
from dosecheck.working import BY, Step

DOSE_SOURCE = "Strength of a puff x puffs x times a day: arithmetic"
STEP_DOWN_SOURCES = (
    "A cut of 25 to 50 % at once: Reddel HK, Foxley GJ, Davis SR, How to step down asthma preventer treatment, Australian Prescriber "
    "2022;45:125-129",
    "When to step down, and review after it: Australian Asthma Handbook 2.0, Stepping down treatment in children aged 6 years and over, "
    "National Asthma Council Australia",
)
STEP_DOWN_NOTES = (
    "A step down is for a child from 6 years whose asthma has been well controlled for at least 6 months, and is not begun at the start "
    "of the school year or in the child's bad season; symptoms and spirometry are looked at again 4 to 6 weeks later (Australian handbook).",
)


# ---- a day ----


def day(formulary: Formulary, dose: Taking, age: Age | None, table: str | None, **said: Any) -> Answer:
    """Micrograms a day, and the band by each table that covers the child and the inhaler."""
    what, tables = inhaled(formulary, said), tables_of(formulary, age, table)
    daily, steps = daily_dose(what, dose)
    placing = placed(what, daily, tables)
    return Answer(
        (Result("daily dose", daily), *_bands(placing)),
        tuple(steps),
        (*plausible(what.strength, dose), *place_doubts(what, daily, placing)),
        tuple(place_notes(placing, tables)),
        (DOSE_SOURCE, *_table_sources(formulary, placing)),
        open_question(placing, tables),
    )


def _bands(placing: Placing) -> list[Result]:
    return [Result(f"band by {name}", band, f"{row.text}; {row.age_text}") for name, (band, row) in placing.bands.items()]


def _table_sources(formulary: Formulary, *placings: Placing) -> list[str]:
    found = {name: row.source for placing in placings for name, (_, row) in placing.bands.items()}
    return [f"{name}: {formulary.source(source)}" for name, source in found.items()]


# ---- a change ----


class Side(NamedTuple):
    """One of the two regimens that are compared: what is inhaled, how much a day, and where that lies."""

    what: Inhaled
    daily: Quantity
    placing: Placing
    steps: list[Step]
    doubts: list[Doubt]


def change(formulary: Formulary, before: Taking, after: Taking, age: Age | None, table: str | None, **said: Any) -> Answer:
    """The change of the daily dose in per cent; of unlike inhalers only the two daily doses."""
    tables = tables_of(formulary, age, table)
    renewed = any(said[key] for key in said if key.startswith("new_"))
    old = _side(inhaled(formulary, said), before, "before", tables)
    new = _side(inhaled(formulary, _filled(said), "new_"), after, "after", tables)
    unlike = _unlike(old.what, new.what)
    part = new.daily.value / old.daily.value - 1
    down = part < 0 and not unlike and _is_steroid(old.what)
    step = Step("after as a share of before", (new.daily, BY, old.daily, "=", show_share(part + 1)))
    doubts = [] if unlike else [*_kind_doubts(old.what, new.what, renewed), *_leap_doubts(old.placing, new.placing)]
    doubts += _cut_doubts(formulary, -part) if down else []
    notes = [note for side in (old, new) for note in place_notes(side.placing, tables)]
    open_ = [unlike, *(open_question(side.placing, tables) for side in (old, new))]
    return Answer(
        (
            Result("daily dose before", old.daily),
            Result("daily dose after", new.daily),
            *([] if unlike else [Result("change", _in_words(part))]),
            *_moves(old.placing, new.placing),
        ),
        (*old.steps, *new.steps, *([] if unlike else [step])),
        tuple(dict.fromkeys([*old.doubts, *new.doubts, *doubts])),
        tuple(dict.fromkeys([*(STEP_DOWN_NOTES if down else ()), *notes])),
        (DOSE_SOURCE, *(STEP_DOWN_SOURCES if down else ()), *_table_sources(formulary, old.placing, new.placing)),
        " ".join(dict.fromkeys(filter(None, open_))),
    )


def _side(what: Inhaled, taking: Taking, when: str, tables: Tables) -> Side:
    daily, steps = daily_dose(what, taking, when, f" {when}")
    placing = placed(what, daily, tables)
    return Side(what, daily, placing, steps, [*plausible(what.strength, taking), *place_doubts(what, daily, placing, f" {when}")])


def _filled(said: dict[str, Any]) -> dict[str, Any]:
    """The new inhaler: what is not told of it is as before, as far as a new strength, product or medicine leaves it so."""
    kept = ("medicine", "product", "strength", "device", "output", "particle")
    if said["new_medicine"]:
        kept = ()
    elif said["new_product"]:
        kept = ("medicine",)
    elif said["new_strength"]:
        kept = ("medicine", "device", "output", "particle")
    return {**said, **{f"new_{key}": said[f"new_{key}"] or said[key] for key in kept}}


def _unlike(old: Inhaled, new: Inhaled) -> str:
    """Why the two cannot be compared microgram for microgram; "" when they can."""
    if old.medicine.id != new.medicine.id:
        return f"{old.medicine.id} and {new.medicine.id} are different medicines: their micrograms cannot be compared."
    for what in ("output", "particle"):
        one, other = getattr(old.kind, what), getattr(new.kind, what)
        if one != other:
            told = " and ".join(each or "not told" for each in (one, other))
            return f"The two differ in {what} ({told}): their micrograms cannot be compared."
    return ""


def _is_steroid(what: Inhaled) -> bool:
    return any("corticosteroid" in ingredient.groups for ingredient in what.medicine.ingredients)


def _in_words(part: Fraction) -> str:
    return f"{show_share(abs(part))} {'down' if part < 0 else 'up'}" if part else "no change"


def _moves(before: Placing, after: Placing) -> list[Result]:
    """ "medium to low" by each table that has a band before or after."""
    results = []
    for name, (_, row) in (after.bands | before.bands).items():
        one, other = (placing.bands[name][0] if name in placing.bands else "no band" for placing in (before, after))
        results.append(Result(f"band by {name}", one if one == other else f"{one} to {other}", f"{row.text}; {row.age_text}"))
    return results


def _cut_doubts(formulary: Formulary, cut: Fraction) -> list[Doubt]:
    line = formulary.policy.get("most_step_down")
    if line is None:
        return [Doubt("cut-not-judged", "The policy names no largest cut at once, so this one was not judged.")]
    if cut <= share(line["value"]):
        return []
    return [
        Doubt("cut-too-large", f"A cut of {show_share(cut)} at once is more than the policy's {line['value']}: step down by less, or ask.")
    ]


def _kind_doubts(old: Inhaled, new: Inhaled, renewed: bool) -> list[Doubt]:
    doubts = []
    if old.kind.device != new.kind.device:
        told = " and ".join(kind or "not told" for kind in (old.kind.device, new.kind.device))
        doubts.append(Doubt("device-differs", f"The two differ in device ({told}): the same micrograms may act otherwise."))
    if renewed and (not old.kind.output or (_parted_by_particle(old) and not old.kind.particle)):
        text = "Nobody told whether both strengths count alike (metered or delivered, particle size): read both labels."
        doubts.append(Doubt("kind-not-told", text))
    return doubts


def _parted_by_particle(what: Inhaled) -> bool:
    """Whether particles of two sizes of this medicine are known to the formulary."""
    return any("particle" in row for row in what.medicine.daily_bands) or any(product.particle for product in what.medicine.products)


def _leap_doubts(before: Placing, after: Placing) -> list[Doubt]:
    """A change that leaps over a band of some table."""
    one, other = ranks(before), ranks(after)
    leaps = [name for name in one if name in other and abs(one[name] - other[name]) >= 2]
    texts = (f"By {name} it goes from {before.bands[name][0]} to {after.bands[name][0]} at once: look again." for name in leaps)
    return [Doubt("two-bands-at-once", text) for text in texts]


_TABLE = Field("table", read_name, "gina-report-2019", "the table of daily bands to go by, by its source's id", needed=False)
_TAKEN = "2 puffs twice a day"

SUMS = {
    "inhaler-day": Sum(
        "A day of an inhaler",
        (fields()[0], Field("dose", read_taking, _TAKEN, "a steady day's use"), *fields()[1:], AGE_IF_TOLD, _TABLE),
        day,
        by_formulary=True,
    ),
    "inhaler-change": Sum(
        "A change of an inhaler",
        (
            fields()[0],
            Field("before", read_taking, _TAKEN, "a day's use until now"),
            Field("after", read_taking, "1 puff twice a day", "a day's use from now on"),
            *fields()[1:],
            AGE_IF_TOLD,
            _TABLE,
            *fields("new_", needed=False),
        ),
        change,
        by_formulary=True,
    ),
}
