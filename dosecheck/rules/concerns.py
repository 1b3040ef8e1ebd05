"""What is doubtful about the child's particulars, apart from any limit: the weight's kind and date, gestation, scope."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from dosecheck.formulary.medicine import Medicine, Regimen
from dosecheck.reading import read_time
from dosecheck.records import NOT_CHECKED, QUERY, Child
from dosecheck.rules.codes import NOTE, Finding
from dosecheck.rules.facts import DAY, TERM_FROM_DAYS, Body
from dosecheck.showing import show_seconds, show_weeks

_REPEATS = {"daily", "average", "doses", "gap"}
_BABY_FACTS = {"gestation", "postmenstrual days", "corrected months", "corrected days"}


def child_concerns(medicine: Medicine, child: Child, body: Body, policy: dict[str, Any]) -> Iterator[Finding]:
    """Findings that hold whichever regimen applies."""
    if child.weight:
        yield from _weight(medicine, child, body, policy)
    if body.young and child.gestation is None:
        yield Finding("gestation-not-told", QUERY, {})


def _weight(medicine: Medicine, child: Child, body: Body, policy: dict[str, Any]) -> Iterator[Finding]:
    if child.weight_is is None:
        yield Finding("weight-kind-not-told", NOTE, {})
    elif child.weight_is != "measured":
        yield Finding("weight-not-measured", QUERY if medicine.high_risk else NOTE, {"name": child.weight_is})
    if child.weighed is None:
        yield Finding("weight-undated", NOTE, {})
        return
    oldest = oldest_weight(policy, infant=body.age is None or body.age.months_lo < 12)
    days = (child.on - child.weighed).days
    if days > oldest:
        yield Finding("weight-old", QUERY, {"value": f"{days} days", "limit": show_seconds(oldest * DAY)})


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
    if regimen.goes_by != "actual" and any("weight" in limit.main.measure for limit in regimen.limits):
        found.append(Finding("weight-kind", NOT_CHECKED, {"name": regimen.goes_by}, **names))
    if not once and not any(limit.main.measure.split("/")[0] in _REPEATS for limit in regimen.limits):
        found.append(Finding("repeats-not-bounded", NOT_CHECKED, {}, **names))
    if regimen.span.low is None:
        found.append(Finding("low-not-checked", NOTE, {}, **names))
    if regimen.reason:
        found.append(Finding("local", NOTE, {"reason": regimen.reason}, **names))
    if regimen.covers:
        found.append(Finding("goes-along", NOTE, {"ingredient": ", ".join(regimen.covers), "by": regimen.ingredient}, **names))
    if regimen.no_daily and regimen.per != "day":
        found.append(Finding("no-daily-ceiling", NOTE, {"name": regimen.no_daily}, **names))
    return found


def is_small_preterm(child: Child, body: Body) -> bool:
    """Born before 37 completed weeks and under 3 months of corrected age, or possibly so."""
    return child.gestation is not None and child.gestation < TERM_FROM_DAYS and body.intervals["corrected months"][0] < 3
