"""One order's answer as a page shows it: the JSON of the answer, and what only eyes need: two pictures, and a sentence."""

from __future__ import annotations

from fractions import Fraction
from typing import Any, NamedTuple

from dosecheck.errors import KindError
from dosecheck.formulary.load import Formulary
from dosecheck.formulary.medicine import Medicine, Product, Regimen
from dosecheck.printing.dose_picture import Mark, dose_picture
from dosecheck.printing.measure_picture import measure_picture
from dosecheck.quantity import Quantity
from dosecheck.records import QUERY, WITHIN, Child, Order
from dosecheck.reports.book_weights import figure_words
from dosecheck.rules.facts import doses_in_a_day
from dosecheck.rules.outline import outline, weights_of
from dosecheck.rules.present import band_words, kept_in_words
from dosecheck.rules.supply import share_of
from dosecheck.rules.verdict import Verdict, weight_in_doubt
from dosecheck.showing import show
from dosecheck.web.render import drawing

WORDS = {"within": "WITHIN", "query": "QUERY", "stop": "STOP", "not-checked": "NOT CHECKED"}

_AROUND = 2  # times the child's weight: as far as the picture goes


class DrawnUp(NamedTuple):
    """What the order's dose comes to with the product in hand: in words, and as a picture where it can be measured."""

    words: str
    picture: Any


def answer_of(verdict: Verdict, order: Order, child: Child, formulary: Formulary) -> dict[str, Any]:
    """What the template of an answer needs."""
    told = verdict.as_dict()
    reasons = [f for f in told["findings"] if f["outcome"] != "note"]
    return {
        **told,
        "word": WORDS[verdict.outcome],
        "reasons": list(dict.fromkeys((f["message"], f["source"]) for f in reasons)) or [(kept_in_words(verdict), "")],
        "notes": [f["message"] for f in told["findings"] if f["outcome"] == "note"],
        "sources": sources_of(told),
        "picture": _picture(verdict, order, child, formulary),
        "drawn_up": _drawn_up(verdict, order, formulary),
    }


def sources_of(*verdicts: dict[str, Any]) -> list[str]:
    """Every source of verdicts' findings and limits, written out, each once."""
    named = [each["source"] for told in verdicts for each in (*told["findings"], *told["limits"])]
    return list(dict.fromkeys(filter(None, named)))


def _picture(verdict: Verdict, order: Order, child: Child, formulary: Formulary) -> Any:
    """Dose against weight with this order in it; "" where no one regimen, no weight to believe or no single dose is there."""
    binding = [s.regimen for s in verdict.limits if s.binding]
    regimens = list({regimen.full_id: regimen for regimen in binding}.values())
    if len(regimens) != 1 or child.weight is None or verdict.one_dose is None or weight_in_doubt(verdict.findings):
        return ""
    regimen = regimens[0]
    if regimen.goes_by not in ("", "actual") or regimen.kind != verdict.one_dose.kind or regimen.span.continuous:
        return ""
    low, high = weights_of(regimen, formulary.growth_reference)
    mine = child.weight.value
    span = (min(low, mine), max(min(high, _AROUND * mine), mine))  # so much that this child is in sight
    drawn = outline(regimen, span, _whole(doses_in_a_day(order)[0]))
    if drawn is None:
        return ""
    title = f"{verdict.understood['medicine']}, {band_words(regimen)}: dose against weight"
    mark = Mark(mine, verdict.one_dose.value, f"this order: {show(verdict.one_dose)}")
    return drawing(dose_picture([drawn], title, figure_words(regimen), "dose", mark))


def _whole(doses: Fraction | int | None) -> int | None:
    return int(doses) if doses is not None and doses >= 1 and int(doses) == doses else None


def _drawn_up(verdict: Verdict, order: Order, formulary: Formulary) -> DrawnUp | None:
    """Only for an order that may be given, or may be after a question: a dose that is stopped is not measured out."""
    medicine = formulary.medicine(order.medicine)
    product = medicine.product(order.product) if medicine and order.product else None
    if product is None or verdict.one_dose is None or verdict.outcome not in (WITHIN, QUERY) or weight_in_doubt(verdict.findings):
        return None
    if order.dose.low != order.dose.high or any(f.code == "not-measurable" for f in verdict.findings):
        return None
    share = _share(verdict, medicine, product)
    if share is None:
        return None
    strength = "" if product.strength_text in product.name else f" ({product.strength_text})"
    words = f"{show(share)} of {product.name}{strength} is {show(verdict.one_dose)}."
    picture = measure_picture(share, product.measure, "measure") if product.below == "volume" else ""
    return DrawnUp(words, drawing(picture) if picture else "")


def _share(verdict: Verdict, medicine: Medicine, product: Product) -> Quantity | None:
    regimen: Regimen = verdict.regimens[0]
    strength = product.strengths.get(regimen.ingredient)
    if strength is None:
        return None
    try:
        return share_of(verdict.one_dose, strength)
    except KindError:
        return None
