"""Check an order: the first page, its answer, and the same as JSON."""

from __future__ import annotations

from datetime import date
from typing import Any

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse, JSONResponse

from dosecheck.asked import read_asked
from dosecheck.errors import InputError
from dosecheck.formulary.load import Formulary
from dosecheck.records import CHILD_FIELDS, Child, Order
from dosecheck.rules.check import check_order
from dosecheck.rules.verdict import Verdict
from dosecheck.web.answer import answer_of
from dosecheck.web.choices import choices_of, names_of
from dosecheck.web.doors import form_of, json_of, unread
from dosecheck.web.forms import flat, put_together
from dosecheck.web.openapi import body_of_texts
from dosecheck.web.render import by_field, fill, page, site_of
from dosecheck.web.units import CHILD_PRESSED, PRESSED

MANY = ("condition", "given")
_ORDER = ("medicine", "route", "for", "step", "dose", "every", "times_a_day", "at_most", "over", "made_up_to", "course", "product", "now")
_TEXTS = (*_ORDER, *CHILD_FIELDS)
FIELDS = {**dict.fromkeys(_TEXTS, str), "once": bool, "as_needed": bool, "none_given": bool, "condition": list, "given": list}
_LIVE = "x-dosecheck-part"

router = APIRouter()


def asked_of(form: dict[str, Any]) -> dict[str, Any]:
    """The fields of a form as one check is asked for: each number with the unit that was pressed.

    Raises:
        InputError: two units, two ways of saying how often; all such faults at once.
    """
    told = {**{name: form.get(name) for name in (*_TEXTS, *MANY)}, **put_together(form, ("weight", "dose", "age"), ("every",))}
    ticked = {"as_needed": form.get("as_needed") == "yes", "none_given": form.get("earlier") == "none"}
    return {**told, **ticked, "condition": tuple(form.get("condition", ()))}


def check(formulary: Formulary, asked: dict[str, Any]) -> tuple[Verdict, Order, Child]:
    """The one function behind the page and the JSON."""
    order, child, earlier = read_asked(asked, date.today())
    return check_order(order, child, formulary, earlier), order, child


@router.get("/", response_class=HTMLResponse, include_in_schema=False)
async def empty(request: Request) -> HTMLResponse:
    """An empty form: whatever stood there of another child is gone."""
    return _form(request, {})


@router.get("/choices", response_class=HTMLResponse, include_in_schema=False)
async def choices(request: Request, medicine: str = "") -> HTMLResponse:
    """The part of the form that hangs on the medicine, for the page's own script."""
    return HTMLResponse(fill("order_choices.html", form={}, choices=choices_of(site_of(request).formulary, medicine), faults={}))


@router.post("/order", response_class=HTMLResponse, include_in_schema=False)
async def answer(request: Request) -> HTMLResponse:
    """The answer alone for the script, else a page with the answer and without the form, so that the two cannot disagree."""
    form = await form_of(request, MANY)
    live = request.headers.get(_LIVE) == "answer"
    # without a script, the medicine is chosen first, and asks for the rest of the form
    if form.pop("again", None) or (not live and form.get("pressed") == "medicine"):
        return _form(request, form)
    site = site_of(request)
    formulary = site.formulary  # one reading of it for the whole answer
    try:
        asked = asked_of(form)
        verdict, order, child = check(formulary, asked)
    except InputError as error:
        faults = by_field(error)
        return HTMLResponse(fill("order_faults.html", faults=faults)) if live else _form(request, form, faults, 422)
    missing = [f.message for f in verdict.findings if f.code.endswith("-missing")] if live and not form.get("pressed") else []
    if missing:
        return HTMLResponse(fill("order_missing.html", missing=missing))
    told = answer_of(verdict, order, child, formulary)
    kept = await site.keep("order", _told(asked), verdict.as_dict(), formulary)
    if live:
        return HTMLResponse(fill("order_answer.html", answer=told, kept=kept, trouble=site.figures.trouble))
    return page(request, "order_answered.html", clear_to="/", form=flat(form), answer=told, kept=kept)


@router.post(
    "/api/order",
    openapi_extra=body_of_texts(
        FIELDS,
        {
            "medicine": "paracetamol",
            "route": "oral",
            "for": "pain",
            "dose": "210 mg",
            "every": "6 hours",
            "weight": "14.2 kg",
            "age": "3 years 2 months",
        },
    ),
)
async def as_json(request: Request) -> JSONResponse:
    """One order checked: the same JSON as `dosecheck order --json`.  Fields are texts, read as strictly as on the command line."""
    site = site_of(request)
    formulary = site.formulary
    try:
        asked = await json_of(request, FIELDS)
        told = check(formulary, asked)[0].as_dict()
    except InputError as error:
        return unread(error)
    kept = await site.keep("order", _told(asked), told, formulary)
    return site.told(told, kept)


def _form(request: Request, form: dict[str, Any], faults: dict[str, list[str]] | None = None, status: int = 200) -> HTMLResponse:
    formulary = site_of(request).formulary
    told = {"form": form, "faults": faults or {}, "choices": choices_of(formulary, form.get("medicine")), "names": names_of(formulary)}
    return page(request, "order.html", status, pressed=PRESSED, child_pressed=CHILD_PRESSED, today=date.today().isoformat(), **told)


def _told(asked: dict[str, Any]) -> dict[str, Any]:
    """What was told, and nothing that was left out."""
    return {
        name: list(value) if isinstance(value, tuple) else value for name, value in asked.items() if value not in (None, (), [], False, "")
    }
