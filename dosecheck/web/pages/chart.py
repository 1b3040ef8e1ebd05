"""A child's chart: current orders and doses given, the 24 hours as a picture, the next dose of each."""

from __future__ import annotations

import json
import os
from datetime import datetime
from typing import Any

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse, JSONResponse

from dosecheck.chart_file import Chart, read_chart
from dosecheck.errors import Fault, InputError
from dosecheck.records import CHILD_FIELDS
from dosecheck.reports.timeline import timeline_svg
from dosecheck.rules.chart import ALONE, ChartVerdict, check_chart
from dosecheck.web.answer import WORDS, sources_of
from dosecheck.web.choices import names_of, products_of
from dosecheck.web.doors import body_of_json, form_of, unread
from dosecheck.web.forms import flat, put_together
from dosecheck.web.openapi import body_of_anything
from dosecheck.web.render import by_field, drawing, page, site_of
from dosecheck.web.units import CHILD_PRESSED

router = APIRouter()
_ORDERS, _GIVEN = 4, 8  # rows of the form
_MOST_ORDERS, _MOST_GIVEN = 30, 100
_ORDER = ("medicine", "route", "for", "dose", "every", "product")
_DOSE = ("medicine", "route", "dose", "product", "at", "ago", "note")
_EXAMPLE = {
    "now": "2026-05-04 14:30+01:00",
    "child": {"weight": "14.2 kg", "age": "3 years 2 months"},
    "order": [{"medicine": "paracetamol", "route": "oral", "for": "pain", "dose": "210 mg", "every": "6 hours"}],
    "given": [{"medicine": "paracetamol", "route": "oral", "dose": "210 mg", "ago": "5 hours"}],
}


@router.get("/chart", response_class=HTMLResponse, include_in_schema=False)
async def empty(request: Request) -> HTMLResponse:
    """An empty chart."""
    return _form(request, {})


@router.post("/chart", response_class=HTMLResponse, include_in_schema=False)
async def answer(request: Request) -> HTMLResponse:
    """The chart's answer, on a page without the form."""
    form = await form_of(request)
    if form.pop("again", None):
        return _form(request, form)
    try:
        verdict, kept = await _checked(request, json.dumps(tables_of_form(form)).encode())
    except InputError as error:
        return _form(request, form, by_field(error), 422)
    picture = drawing(timeline_svg(verdict))
    told = verdict.as_dict()
    notes = [f["message"] for each in told["orders"] for f in each["findings"] if f["outcome"] == "note"]
    return page(
        request,
        "chart_answered.html",
        verdict=verdict,
        told=told,
        notes=list(dict.fromkeys(notes)),
        sources=sources_of(*told["orders"]),
        words=WORDS,
        picture=picture,
        alone=ALONE,
        kept=kept,
        form=flat(form),
    )


@router.post("/api/chart", openapi_extra=body_of_anything(_EXAMPLE))
async def as_json(request: Request) -> JSONResponse:
    """The same JSON as `dosecheck chart FILE.json --json`; the body is such a file."""
    body = await body_of_json(request)
    try:
        verdict, kept = await _checked(request, body)
    except InputError as error:
        return unread(error)
    return site_of(request).told(verdict.as_dict(), kept)


async def _checked(request: Request, content: bytes) -> tuple[ChartVerdict, str]:
    """The one function behind the page and the JSON: the chart's verdict, and what is said of the journal."""
    chart = read_chart("chart.json", content)
    _bounded(chart)
    site = site_of(request)
    formulary = site.formulary
    verdict = await site.apart(check_chart, chart, formulary)
    return verdict, await site.keep("chart", _asked(verdict), verdict.as_dict(), formulary)


def _bounded(chart: Chart) -> None:
    """Here somebody waits, and others behind: a longer chart is for the command line."""
    faults = [
        Fault(name, str(count), f"There are more than {most}.", "Leave out those of long ago, or use dosecheck chart.")
        for name, count, most in (
            ("order", len(chart.orders), _MOST_ORDERS),
            ("given", len(chart.earlier.doses if chart.earlier else ()), _MOST_GIVEN),
        )
        if count > most
    ]
    if faults:
        raise InputError(faults)


def _asked(verdict: ChartVerdict) -> dict[str, Any]:
    return {
        "child": verdict.child,
        "now": verdict.now,
        "orders": [each.verdict.understood for each in verdict.orders],
        "given": verdict.given,
    }


def tables_of_form(form: dict[str, Any]) -> dict[str, Any]:
    """The form as the tables of a chart's file; a row of which nothing is told is none.

    Raises:
        InputError: two units for one amount.
    """
    child = {name: form.get(name) for name in CHILD_FIELDS if name != "on"} | put_together(form, ("weight", "age"))
    tables: dict[str, Any] = {
        "child": _told(child),
        "order": _rows(form, "order", _ORDERS, _ORDER),
        "given": _rows(form, "given", _GIVEN, _DOSE),
    }
    tables |= _told({"now": _moment(form.get("now")), "zone": form.get("zone")})
    return tables | ({"doses_given": "none"} if form.get("none_given") else {})


def _rows(form: dict[str, Any], kind: str, most: int, names: tuple[str, ...]) -> list[dict[str, Any]]:
    rows = (_told({name: form.get(f"{kind}-{number}-{name}") for name in names}) for number in range(1, most + 1))
    return [{**row, "at": _moment(row["at"])} if "at" in row else row for row in rows if row]


def _told(row: dict[str, Any]) -> dict[str, Any]:
    return {name: value for name, value in row.items() if value}


def _moment(text: str | None) -> str | None:
    """A browser writes a T between date and time."""
    return text.replace("T", " ", 1) if text else None


def _zone() -> str:
    """The zone of this machine by its name, where the system tells it."""
    named = os.environ.get("TZ") or os.path.realpath("/etc/localtime").partition("zoneinfo/")[2]
    return named if "/" in named else "UTC" if not named else ""


def _form(request: Request, form: dict[str, Any], faults: dict[str, list[str]] | None = None, status: int = 200) -> HTMLResponse:
    now = datetime.now().astimezone()
    zone = _zone()
    shown = now.strftime("%Y-%m-%d %H:%M") + ("" if zone else now.isoformat()[-6:])
    formulary = site_of(request).formulary
    told = {"form": form, "faults": faults or {}, "child_pressed": CHILD_PRESSED}
    told |= {"names": names_of(formulary), "products": products_of(formulary)}
    return page(
        request, "chart_form.html", status, now=shown, zone=zone, orders=range(1, _ORDERS + 1), given=range(1, _GIVEN + 1), today="", **told
    )
