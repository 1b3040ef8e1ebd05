"""How many days an inhaler lasts, when it runs out, and when the next one is asked for.

Sources: the labelled number of puffs by the puffs of a day is the day on which the inhaler is empty, and a refill is noted a
week before (University of Michigan College of Pharmacy, metered-dose inhaler refilling page); puffs sprayed to prime it
count as used (home-health patient education page on counting puffs of inhalers without counters).
"""

from __future__ import annotations

from datetime import date
from typing import Any

from dosecheck.body.age import add_days
from dosecheck.errors import Fault, InputError, TextError
from dosecheck.formulary.load import Formulary
from dosecheck.quantity import UNITS, Quantity
from dosecheck.reading import read_date, read_time
from dosecheck.reading.figures import reader_of
from dosecheck.reading.takings import Taking, read_taking
from dosecheck.records import read_name
from dosecheck.showing import show
from dosecheck.sums.frame import Answer, Doubt, Field, Result, Sum, one_of
from dosecheck.sums.inhaler import inhaled, plausible, puffs_steps
from dosecheck.working import BY, Step

SOURCES = (
    "Puffs on the label by puffs a day, and a refill noted 7 days before: metered-dose inhaler refilling page, University of Michigan "
    "College of Pharmacy",
    "Priming sprays count as used: home-health patient education page on counting puffs of inhalers without counters",
)
LEAD = read_time("7 days")
MOST_HELD = 400  # common practice, no source: inhalers hold 60 to 200 puffs
_LATEST = date(9000, 1, 1)


def _read_puffs(text: str) -> Quantity:
    puffs = reader_of(("puff",), "number of puffs", "200 puffs")(text)
    if puffs.value.denominator != 1:
        raise TextError(text, "A puff cannot be parted.", 'Write it as "200 puffs".')
    return puffs


def canister(
    formulary: Formulary,
    holds: Quantity | None,
    medicine: str | None,
    product: str | None,
    dose: Taking,
    priming: Quantity | None,
    used: Quantity | None,
    start: date | None,
    lead: Quantity | None,
) -> Answer:
    """Whole days of a steady use; with a start, the last of them and the day to ask for the next inhaler."""
    full, source = _full(formulary, holds, medicine, product)
    if dose.a_day.kind != "puff":
        raise InputError([Fault("dose", dose.text, "An inhaler is counted in puffs.", 'Write it as "2 puffs twice a day".')])
    gone = [each for each in (priming, used) if each]
    left = Quantity(max(full.value - sum(each.value for each in gone), 0), "puff", "puffs")
    days, rest = divmod(left.value, dose.a_day.value)
    steps = [*puffs_steps(dose), Step("left", (full, *(part for each in gone for part in ("-", each))), left)]
    lasts = Quantity(days * UNITS["time"]["days"], "time", "days")
    steps.append(Step("lasts", (left, BY, dose.a_day, "a day"), lasts, "whole days; the rest is less than a day's puffs"))
    results = [Result("lasts", lasts, "whole days, rounded down"), Result("puffs left over", Quantity(rest, "puff", "puffs"))]
    results += _dates(start, int(days), lead or LEAD) if start and days else []
    return Answer(tuple(results), tuple(steps), tuple(_doubts(full, dose, lasts, lead or LEAD)), _NOTES, (*SOURCES, *source))


_NOTES = ("By the label's number and a steady use: shaking or floating does not show how much is left, a counter does.",)


def _full(formulary: Formulary, holds: Quantity | None, medicine: str | None, product: str | None) -> tuple[Quantity, tuple[str, ...]]:
    """What the inhaler holds when new: as told, or by the formulary's product."""
    if one_of(holds=holds, product=product) == "holds":
        return holds, ()
    if medicine is None:
        raise InputError([Fault("medicine", "", "A product is one of a medicine, and none is told.", 'Write it as "salbutamol".')])
    inhaled(formulary, {"medicine": medicine, "product": product})
    found = formulary.medicine(medicine).product(product)
    if found.puffs is None:
        why = "The formulary does not say how many puffs it holds."
        raise InputError([Fault("product", product, why, 'Write what the label says: --holds "200 puffs".')])
    return Quantity(found.puffs, "puff", "puffs"), (f"Puffs in it: {formulary.source(found.source)}",)


def _dates(start: date, days: int, lead: Quantity) -> list[Result]:
    last = add_days(start, days - 1)
    ask = max(start, add_days(start, days - int(lead.value // UNITS["time"]["days"])))
    return [Result("last whole day", last.isoformat()), Result("ask for the next on", ask.isoformat(), f"{show(lead)} before it is empty")]


def _doubts(full: Quantity, dose: Taking, lasts: Quantity, lead: Quantity) -> list[Doubt]:
    doubts = plausible(None, dose)
    if full.value > MOST_HELD:
        doubts.append(Doubt("holds-unlikely", f"An inhaler seldom holds more than {MOST_HELD} puffs: read the label again."))
    if not lasts.value:
        doubts.append(Doubt("empty", "Less than a day's puffs are left: a new inhaler is needed now."))
    elif lasts <= lead:
        doubts.append(Doubt("runs-out-soon", f"It lasts no longer than the {show(lead)} in which the next is to be got: ask for it now."))
    return doubts


def _read_start(text: Any) -> date:
    start = read_date(text, "start")
    if start > _LATEST:
        raise TextError(str(text), "It is too far away.", 'Write it as "2025-03-01".')
    return start


def _read_lead(text: str) -> Quantity:
    lead = read_time(text, "time before", "7 days")
    if lead.value % UNITS["time"]["days"] or lead.value > 100 * UNITS["time"]["days"]:
        raise TextError(text, "It is no number of whole days up to 100.", 'Write it as "7 days".')
    return lead


SUMS = {
    "canister": Sum(
        "How long an inhaler lasts",
        (
            Field("dose", read_taking, "2 puffs twice a day", "a steady day's use"),
            Field("holds", _read_puffs, "200 puffs", "puffs in a new one, as on the label", needed=False),
            Field("medicine", read_name, "salbutamol", "in place of --holds: the medicine, with its product", needed=False),
            Field("product", read_name, "inhaler-90", "the product's id in the formulary", needed=False),
            Field("priming", _read_puffs, "4 puffs", "sprays wasted to prime it", needed=False),
            Field("used", _read_puffs, "30 puffs", "puffs used before the start", needed=False),
            Field("start", _read_start, "2025-03-01", "the first day of this use", needed=False),
            Field("lead", _read_lead, "7 days", "how long before it is empty to ask for the next; 7 days when left out", needed=False),
        ),
        canister,
        by_formulary=True,
    )
}
