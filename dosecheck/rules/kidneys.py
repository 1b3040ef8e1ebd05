"""What kidney function means for an order: figures with a kidney band, and what is said when it is not told.

An untold kidney function is never taken as normal in silence.  The figures that reach up to any function are read;
those that end below some function are read beside them, and where they would answer otherwise the order is a query.
Reckoning the function is in `body/renal.py`.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING

from dosecheck.formulary.cells import Interval
from dosecheck.formulary.medicine import Regimen
from dosecheck.records import NOT_CHECKED, QUERY, Child
from dosecheck.rules.case import Reading
from dosecheck.rules.codes import NOTE, Finding, worst
from dosecheck.showing import show

if TYPE_CHECKING:
    from dosecheck.body.renal import Kidneys

EGFR = "egfr"
Parted = tuple[tuple[Regimen, ...], tuple[Regimen, ...]]


def has_kidney_band(regimen: Regimen) -> bool:
    return any(band.fact == EGFR for band in regimen.bands)


def parted(regimens: tuple[Regimen, ...], stretch: dict[str, Interval]) -> Parted:
    """(to be read, set aside): with the function untold, figures that end below some function are set aside."""
    if EGFR in stretch:
        return regimens, ()
    aside = tuple(r for r in regimens if any(band.fact == EGFR and band.high is not None for band in r.bands))
    return tuple(r for r in regimens if r not in aside), aside


def fits(regimen: Regimen, stretch: dict[str, Interval]) -> list[bool | None]:
    """For each band whether this child is inside; a kidney band is passed over where the function is not told."""
    return [band.holds(stretch.get(band.fact)) for band in regimen.bands if band.fact != EGFR or EGFR in stretch]


def untold(aside: list[Regimen], outcome: str = NOTE, answers: dict[str, str] | None = None) -> Finding:
    """That the function is not told, and which other figures there are (with what they would answer)."""
    named = [f"{r.full_id}, {band_text(r)}" + (f": {answers[r.full_id]}" if answers else "") for r in aside]
    return Finding("kidneys-not-told", outcome, {"other": "; ".join(named)})


def with_untold(found: list[Reading], others: list[Reading]) -> list[Reading]:
    """The readings, each telling of the figures for other kidney function; a query where those answer otherwise."""
    differ = {other.outcome for other in others} - {reading.outcome for reading in found}
    aside = [other.regimen for other in others if other.regimen]
    finding = untold(aside, QUERY if differ else NOTE, {o.regimen.full_id: o.outcome for o in others if o.regimen})
    return [r._replace(findings=(*r.findings, finding), outcome=worst([r.outcome, finding.outcome])) for r in found]


def missing(regimen: Regimen) -> Reading:
    """Only figures for some kidney function are here, and the function is not told."""
    finding = Finding("kidney-function-missing", NOT_CHECKED, {"limit": band_text(regimen)}, regimen.full_id, regimen.source)
    return Reading(regimen, NOT_CHECKED, (finding,), (), (), None, {})


def band_text(regimen: Regimen) -> str:
    band = regimen.entry[EGFR]
    return "for kidney function " + ", ".join(f"{end} {band[end]}" for end in ("from", "below") if end in band)


def kidney_concerns(child: Child, kidneys: Kidneys | None) -> Iterator[Finding]:
    """What holds whichever regimen applies: the function as reckoned, or that a creatinine could not be used."""
    if kidneys and kidneys.rate is None:
        yield Finding("kidneys-not-reckoned", QUERY, {"value": child.creatinine, "why": kidneys.why})
    elif kidneys:
        from dosecheck.body.renal import ABOUT, SOURCE, STAGE_SOURCE

        told = {"value": kidneys.rate, "stage": kidneys.stage, "about": "; ".join((*ABOUT, *kidneys.notes))}
        yield Finding("kidney-function", NOTE, {**told, "source": f"{SOURCE}; {STAGE_SOURCE}"})


def reduced_without_figures(regimen: Regimen, kidneys: Kidneys | None) -> Iterator[Finding]:
    """Reduced function, and figures that do not say that they are for it."""
    if kidneys and kidneys.reduced and not has_kidney_band(regimen):
        data = {"value": kidneys.rate, "stage": kidneys.stage}
        yield Finding("kidney-function-reduced", QUERY, data, regimen.full_id, regimen.source)


def kidneys_in_words(kidneys: Kidneys | None) -> str:
    """ "eGFR 56.5 mL/min/1.73 m2, category G3a" """
    return f"eGFR {show(kidneys.rate)}, category {kidneys.stage}" if kidneys and kidneys.rate else ""
