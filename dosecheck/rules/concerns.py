"""What is doubtful about the child's particulars, apart from any limit: the weight's kind and date, gestation, scope."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from dosecheck.body.age import say_age
from dosecheck.formulary.load import Formulary
from dosecheck.formulary.medicine import Medicine, Regimen
from dosecheck.quantity import Quantity
from dosecheck.reading import read_time
from dosecheck.records import NOT_CHECKED, QUERY, WITHIN, Child
from dosecheck.rules.catalogue import LEAN_NOT_RECKONED, NOT_COMPARED, WEIGHT_SLIPS
from dosecheck.rules.codes import NOTE, Finding, Later
from dosecheck.rules.facts import DAY, TERM_FROM_DAYS, Body
from dosecheck.rules.kidneys import kidney_concerns, reduced_without_figures
from dosecheck.rules.weighing import GRAM, Weighing, explanations, weighing, weight_for_age
from dosecheck.showing import show, show_seconds, show_weeks, show_weight

_REPEATS = {"daily", "average", "doses", "mean doses"}
_LONG_GAP = 3600  # a gap of an hour or more keeps repeats few enough to count
_BABY_FACTS = {"gestation", "postmenstrual days", "corrected months", "corrected days"}


def child_concerns(medicine: Medicine | None, child: Child, body: Body, formulary: Formulary) -> Iterator[Finding]:
    """Findings that hold whichever regimen applies; of the child alone, where no medicine is asked about."""
    if child.weight:
        yield from _weight(bool(medicine and medicine.high_risk), child, body, formulary.policy)
        yield from _hard_to_believe(child, body, formulary)
    if body.young and child.gestation is None:
        yield Finding("gestation-not-told", QUERY, {})
    if body.kidneys:
        yield from kidney_concerns(child, body.kidneys)


def _weight(high_risk: bool, child: Child, body: Body, policy: dict[str, Any]) -> Iterator[Finding]:
    if child.weight_is is None:
        yield Finding("weight-kind-not-told", NOTE, {})
    elif child.weight_is != "measured":
        yield Finding("weight-not-measured", QUERY if high_risk else NOTE, {"name": child.weight_is})
    if child.weighed is None:
        yield Finding("weight-undated", NOTE, {})
        return
    oldest = oldest_weight(policy, infant=body.age is None or body.age.months_lo < 12)
    days = (child.on - child.weighed).days
    if days > oldest:
        yield Finding("weight-old", QUERY, {"value": f"{days} days", "limit": show_seconds(oldest * DAY)})


def _hard_to_believe(child: Child, body: Body, formulary: Formulary) -> Iterator[Finding]:
    """A weight that the policy does not believe at this age, with what would explain it; or why it was not compared."""
    held = weighing(child, body, formulary)
    if isinstance(held, str):
        yield Finding("weight-not-compared", NOTE, {"why": NOT_COMPARED[held]})
    elif held.too_much(child.weight) or (held.too_little(child.weight) and not may_be_early(child, body)):
        yield Finding("weight-not-believable", QUERY, Later("", lambda: _told(child, body, held, formulary)))


def _told(child: Child, body: Body, held: Weighing, formulary: Formulary) -> dict[str, str]:
    low, high = (None if grams is None else show(_tenths(grams, up)) for grams, up in zip(held.limits, (True, False), strict=True))
    slips = [WEIGHT_SLIPS[slip].format(other=other) for slip, other in explanations(child, body, formulary, held)]
    return {
        "value": show_weight(child.weight),
        "age": say_age(body.age),
        "z": weight_for_age(child, body, formulary),
        "limit": f"about {low} to {high}" if low and high else f"up to about {high}" if high else f"from about {low}",
        "hint": f" It would fit if {', or if '.join(slips)}." if slips else "",
    }


def _tenths(grams: int, up: bool) -> Quantity:
    """A limit to 0.1 kg for the eye, narrowed; the weight is compared with the limit itself."""
    return Quantity((-(-grams // 100) if up else grams // 100) * 100 * GRAM, "weight", "kg")


def may_be_early(child: Child, body: Body) -> bool:
    """Under 3 months and gestation not told: such a baby may weigh less than the reference has."""
    return body.young and child.gestation is None


def oldest_weight(policy: dict[str, Any], infant: bool) -> int:
    """The policy's longest age of a weight, in days."""
    text = policy["weight_age_infant" if infant else "weight_age_child"]["value"]
    return int(read_time(text).value // DAY)


def regimen_concerns(regimen: Regimen, child: Child, body: Body, once: bool) -> list[Finding]:
    """Findings about this regimen's scope; the source's own silences are notes, unless they leave repeats unlimited."""
    names = {"regimen": regimen.full_id, "source": regimen.source}
    found = []
    if is_small_preterm(child, body) and not _BABY_FACTS & {band.fact for band in regimen.bands}:
        found.append(Finding("preterm", QUERY, {"value": show_weeks(child.gestation)}, **names))
    if regimen.goes_by == "lean" and any("weight" in limit.main.measure for limit in regimen.limits):
        found.append(Finding("weight-kind", NOT_CHECKED, {"name": regimen.goes_by, "why": LEAN_NOT_RECKONED}, **names))
    found += reduced_without_figures(regimen, body.kidneys)
    bounded = repeats_bounded(regimen)
    if not once and bounded != WITHIN:
        found.append(Finding("repeats-not-bounded", bounded, {}, **names))
    if regimen.span.low is None:
        found.append(Finding("low-not-checked", NOTE, {}, **names))
    if regimen.reason:
        found.append(Finding("local", NOTE, {"reason": regimen.reason}, **names))
    if regimen.covers:
        found.append(Finding("goes-along", NOTE, {"ingredient": ", ".join(regimen.covers), "by": regimen.ingredient}, **names))
    if regimen.no_daily and regimen.per != "day":
        found.append(Finding("no-daily-ceiling", NOTE, {"name": regimen.no_daily}, **names))
    return found


def repeats_bounded(regimen: Regimen) -> str:
    """Whether repeated doses have an end: by number or by day, or by a gap that leaves few; a short gap alone is a query."""
    measures = {limit.main.measure.split("/")[0]: limit for limit in regimen.limits}
    if _REPEATS & set(measures):
        return WITHIN
    gap = measures.get("gap")
    if gap is None:
        return NOT_CHECKED
    return WITHIN if gap.figure.value >= _LONG_GAP else QUERY


def is_small_preterm(child: Child, body: Body) -> bool:
    """Born before 37 completed weeks and under 3 months of corrected age, or possibly so."""
    return child.gestation is not None and child.gestation < TERM_FROM_DAYS and body.intervals["corrected months"][0] < 3
