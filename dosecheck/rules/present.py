"""Texts about an answer that every door shows alike: what was understood, the bands in words, the JSON."""

from __future__ import annotations

from datetime import date
from typing import TYPE_CHECKING, Any

from dosecheck.body.age import say_age
from dosecheck.formulary.load import Formulary
from dosecheck.formulary.medicine import Medicine, Product, Regimen
from dosecheck.reading import Dose
from dosecheck.records import Child, Order
from dosecheck.rules.facts import Body, doses_in_a_day
from dosecheck.rules.kidneys import kidneys_in_words
from dosecheck.rules.weighing import weight_for_age
from dosecheck.showing import show, show_number, show_seconds, show_weeks, show_weight

if TYPE_CHECKING:  # a single check without earlier doses does not load it
    from dosecheck.earlier import DoseGiven
    from dosecheck.rules.room import Next
    from dosecheck.rules.verdict import Verdict

_BANDS = {
    "age": "",
    "weight": "",
    "gestation": "gestation ",
    "postmenstrual": "post-menstrual age ",
    "corrected": "corrected age ",
    "egfr": "eGFR ",
}


def understood(
    order: Order, child: Child, body: Body, medicine: Medicine | None, product: Product | None, formulary: Formulary
) -> dict[str, str]:
    """Every value as it was read, by field; what was not given is left out."""
    texts = {
        "medicine": medicine.id if medicine else order.medicine,
        "route": order.route,
        "for": order.for_,
        "step": order.step,
        "condition": "; ".join(order.condition),
        "dose": order.dose and dose_in_words(order.dose),
        "how_often": how_often(order),
        "over": order.over and show(order.over),
        "made_up_to": order.made_up_to and show(order.made_up_to),
        "course": order.course and show(order.course),
        "product": product.name if product else order.product,
    }
    return {**{name: text for name, text in texts.items() if text}, **child_lines(child, body, formulary)}


def child_lines(child: Child, body: Body, formulary: Formulary) -> dict[str, str]:
    """What was understood of the child."""
    texts = {
        "weight": child.weight and show_weight(child.weight) + (f", {child.weight_is}" if child.weight_is else ""),
        "weight_for_age": weight_for_age(child, body, formulary),
        "weighed": child.weighed and str(child.weighed),
        "age": body.age and say_age(body.age),
        "born": child.born and str(child.born),
        "on": child.on and str(child.on),
        "gestation": child.gestation and show_weeks(child.gestation),
        "height": child.height and show(child.height),
        "sex": child.sex,
        "creatinine": child.creatinine and show(child.creatinine),
        "kidneys": kidneys_in_words(body.kidneys),
    }
    return {name: text for name, text in texts.items() if text}


def dose_in_words(dose: Dose) -> str:
    """ "2 to 10 puffs, one dose", "600 mg a day"."""
    both = show(dose.high) if dose.low == dose.high else f"{show(dose.low)} to {show(dose.high)}"
    of = f" of {dose.basis}" if dose.basis else ""
    return both + of + {"dose": ", one dose", "day": " a day, all doses together", "time": ", as an infusion"}[dose.per]


def given_in_words(given: DoseGiven, medicine: Medicine | None, product: Product | None) -> str:
    """ "10 mL of paracetamol as oral liquid 120 mg in 5 mL, 5 hours ago" """
    amount = dose_in_words(given.dose).removesuffix(", one dose")
    name = medicine.id if medicine else given.inside or given.of or "an unknown medicine"
    of = f" in {name}" if given.dose.basis else f" of {name}"
    used = product.name if product else given.product
    route = f" by {given.route} route" if given.route else ""
    return f"{amount}{of}" + (f" as {used}" if used else "") + f"{route}, {given.when}"


def how_often(order: Order) -> str:
    """ "every 6 hours, 4 doses in 24 hours", "one dose only"."""
    most, _, gap = doses_in_a_day(order)
    words = ["running without a break"] if order.dose and order.dose.per == "time" and most is None else []
    if order.as_needed:
        words.append("as needed")
    if gap is not None and (order.times_a_day or (order.every and order.every.times)):
        words.append(f"{show_number(most if not order.at_most else 86_400 / gap)} times a day, {show_seconds(gap)} apart if spread evenly")
    elif gap is not None:
        longest = order.every.gap[1]
        words.append(
            f"every {show_seconds(gap)}"
            + (f" to {show_seconds(longest)}" if longest != gap else "")
            + f", up to {most} dose{'s' * (most != 1)} in 24 hours" * (not order.at_most)
        )
    elif most == 1 and not order.at_most:
        words.append("one dose only")
    if order.at_most:
        words.append(f"at most {order.at_most} in 24 hours")
    return ", ".join(words)


def bands_in_words(regimen: Regimen) -> str:
    """ "oral-pain-child (from 1 month, below 18 years)"."""
    return f"{regimen.full_id} ({band_words(regimen)})"


def band_words(regimen: Regimen) -> str:
    """ "from 1 month, below 18 years", "any child"."""
    said = []
    for key, prefix in _BANDS.items():
        band = regimen.entry.get(key, {})
        said += [f"{prefix}{end} {band[end]}" for end in ("from", "below") if end in band]
    return ", ".join(said) or "any child"


def child_in_words(child: Child, body: Body) -> str:
    parts = [say_age(body.age)] if body.age else []
    parts += [show_weight(child.weight)] if child.weight else []
    parts += [kidneys_in_words(body.kidneys)] if body.kidneys and body.kidneys.rate else []
    return f" of {' and '.join(parts)}" if parts else ""


def status_line(formulary: Formulary, medicine: Medicine, on: date | None) -> str:
    """A line about the figures themselves, unless they are approved and in date."""
    lines = []
    if medicine.status != "approved":
        lines.append(
            f'These figures have the status "{medicine.status}": not for clinical use until a pharmacist has checked and approved them.'
        )
    if formulary.as_of and formulary.as_of != on:
        lines.append(f"The figures are those of {formulary.as_of}, as asked, not those of the day of the order.")
    overdue = formulary.review_overdue(on)
    if overdue:
        lines.append(f"The formulary was due for review on {overdue}.")
    return " ".join(lines)


def next_in_words(found: Next) -> dict[str, str]:
    """The next dose as texts: its earliest time, and the largest size then."""
    measured = found.measured and found.measured.measured
    return {
        "earliest": found.when,
        "most": show(found.most, down=True) if found.most else "",
        "measured": f"{show(measured)} = {show(found.measured.amount)} with {found.measured.product_name}" if measured else "",
        "regimen": found.regimen.full_id,
    }


def kept_in_words(verdict: Verdict) -> str:
    """That every limit due is kept, and which one binds."""
    due = verdict.counts["due"]
    kept = "The one limit that was due is kept." if due == 1 else f"All {due} limits that were due are kept."
    binding = [s for s in verdict.limits if s.binding and s.comes_to]
    if not binding:
        return kept
    least = min(binding, key=lambda s: (s.comes_to.kind, s.comes_to.value))
    comes = f" ({show(least.comes_to, down=True)} for this child)" if least.comes_to != least.limit.figure else ""
    return f"{kept} The one that binds: {least.limit.name}, {least.limit.text}{comes}."


def verdict_dict(verdict: Any) -> dict[str, Any]:
    """The JSON of an answer, with the names that scripts rely on."""
    suggestion = verdict.suggestion
    return {
        "outcome": verdict.outcome,
        "headline": verdict.headline,
        "findings": [
            {
                "code": f.code,
                "outcome": f.outcome or "note",
                "message": f.message,
                "value": f.value,
                "limit": f.limit,
                "regimen": f.regimen,
                "source": f.source,
            }
            for f in verdict.findings
        ],
        "working": [step.text for step in verdict.working],
        "one_dose": show(verdict.one_dose) if verdict.one_dose else "",
        "limits": [
            {
                "name": s.limit.name,
                "limit": s.limit.text,
                "comes_to": show(s.comes_to, down=True) if s.comes_to else "",
                "state": s.state,
                "binding": s.binding,
                "regimen": s.regimen.full_id,
                "source": s.source,
            }
            for s in verdict.limits
        ],
        "not_checked": list(verdict.not_checked),
        "to_observe": list(verdict.to_observe),
        "ask_first": list(verdict.ask_first),
        "slips": list(verdict.slips),
        "understood": verdict.understood,
        "suggestion": suggestion
        and {
            "product": suggestion.product,
            "dose": show(suggestion.amount) if suggestion.amount else "",
            "measured": show(suggestion.measured) if suggestion.measured else "",
            "working": [step.text for step in suggestion.steps],
            "note": suggestion.note,
        },
        "next_dose": next_in_words(verdict.next_dose) if verdict.next_dose else None,
        "next_dose_withheld": verdict.next_dose_withheld,
        "counts": verdict.counts,
        "formulary": verdict.formulary,
        "caution": verdict.caution,
    }
