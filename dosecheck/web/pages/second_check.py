"""A second check by two people: each enters what they see and what they came to; nothing is shown before both have committed."""

from __future__ import annotations

import secrets
from datetime import date
from typing import Any

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse, JSONResponse, RedirectResponse, Response

from dosecheck.errors import InputError
from dosecheck.formulary.load import Formulary
from dosecheck.records import CHILD_FIELDS
from dosecheck.web.answer import WORDS, sources_of
from dosecheck.web.choices import Choices, choices_of, names_of
from dosecheck.web.compare import ORDER_FIELDS, order_of, read_told
from dosecheck.web.doors import form_of, json_of, unread
from dosecheck.web.guard import Refused
from dosecheck.web.openapi import body_of_texts
from dosecheck.web.pages.order import MANY, asked_of
from dosecheck.web.render import by_field, fill, page, session_of, site_of, who_asks
from dosecheck.web.second import Check
from dosecheck.web.units import CHILD_PRESSED, PRESSED

router = APIRouter()
_OWN = ("initials", "strength", "answer")
_FIRST = {**ORDER_FIELDS, **dict.fromkeys((*CHILD_FIELDS, *_OWN), str)}
_SECOND = {**dict.fromkeys((*CHILD_FIELDS, *_OWN), str)}
_EXAMPLE = {"weight": "14.2 kg", "age": "3 years", "strength": "120 mg in 5 mL", "answer": "8.7 mL", "initials": "AB"}


@router.get("/second-check", response_class=HTMLResponse, include_in_schema=False)
async def start(request: Request) -> HTMLResponse:
    """First or second?"""
    return page(request, "second_start.html", faults={}, form={})


@router.get("/second-check/first", response_class=HTMLResponse, include_in_schema=False)
async def first_form(request: Request) -> HTMLResponse:
    """The first person's empty form."""
    return _first(request, {})


@router.get("/second-check/choices", response_class=HTMLResponse, include_in_schema=False)
async def choices(request: Request, medicine: str = "") -> HTMLResponse:
    """The part of the first person's form that hangs on the medicine, for the page's own script."""
    return HTMLResponse(fill("order_choices.html", form={}, choices=_choices(site_of(request).formulary, medicine), faults={}))


@router.post("/second-check/first", response_class=HTMLResponse, include_in_schema=False)
async def first_commits(request: Request) -> Response:
    """Takes the first person's part, and goes on to its code."""
    form = await form_of(request, MANY)
    check = site_of(request).second_checks.begun_with(form.get("form", ""), session_of(request))
    if check is not None:
        return RedirectResponse(f"/second-check/{check.code}/result", 303)
    if form.get("pressed") == "medicine":
        return _first(request, form)
    try:
        check = _begin(request, asked_of(form), form, session_of(request), form.get("form", ""))
    except InputError as error:
        return _first(request, form, by_field(error), 422)
    return RedirectResponse(f"/second-check/{check.code}/result", 303)


@router.post("/second-check/find", response_class=HTMLResponse, include_in_schema=False)
async def find(request: Request) -> Response:
    """From the code to the second person's form."""
    form = await form_of(request)
    try:
        check = _found(request, form.get("code", ""))
    except Refused as error:
        return page(
            request, "second_start.html", error.status, clear_to="/second-check", faults={"code": [f"{error.why} {error.write}"]}, form=form
        )
    return RedirectResponse(f"/second-check/{check.code}", 303)


@router.get("/second-check/{code}", response_class=HTMLResponse, include_in_schema=False)
async def second_form(request: Request, code: str) -> HTMLResponse:
    """The order as it is written, and nothing of the first person's."""
    return _second(request, _found(request, code), {})


@router.post("/second-check/{code}", response_class=HTMLResponse, include_in_schema=False)
async def second_commits(request: Request, code: str) -> Response:
    """Takes the second person's part."""
    form = await form_of(request)
    check = _found(request, code)
    if check.comparison and session_of(request) in check.holders:  # sent twice
        return RedirectResponse(f"/second-check/{check.code}/result", 303)
    try:
        await _commit(request, check, asked_of(form), form, session_of(request))
    except InputError as error:
        return _second(request, check, form, by_field(error), 422)
    return RedirectResponse(f"/second-check/{check.code}/result", 303)


@router.get("/second-check/{code}/result", response_class=HTMLResponse, include_in_schema=False)
async def result(request: Request, code: str) -> HTMLResponse:
    """The code while the second has not committed; then the comparison, for both."""
    site = site_of(request)
    check = site.second_checks.result(code, session_of(request), who_asks(request))
    if check.comparison is None:
        return page(request, "second_waiting.html", check=check, spaced=f"{check.code[:3]} {check.code[3:]}")
    return page(
        request,
        "second_compared.html",
        clear_to="/second-check",
        check=check,
        told=check.comparison,
        order=check.second.verdict.understood,
        verdict=(verdict := _worse(check).as_dict()),
        sources=sources_of(verdict),
        words=WORDS,
    )


@router.post(
    "/api/second-check",
    openapi_extra=body_of_texts(
        _FIRST, {"medicine": "paracetamol", "route": "oral", "for": "pain", "dose": "15 mg/kg", "every": "6 hours", **_EXAMPLE}
    ),
)
async def first_as_json(request: Request) -> JSONResponse:
    """The first person's part.  Answers the code for the second person, and a ticket with which the first asks for the result."""
    ticket = secrets.token_urlsafe(16)
    try:
        asked = await json_of(request, _FIRST)
        check = _begin(request, asked, asked, ticket)
    except InputError as error:
        return unread(error)
    return JSONResponse({"code": check.code, "ticket": ticket})


@router.post("/api/second-check/{code}", openapi_extra=body_of_texts(_SECOND, {**_EXAMPLE, "initials": "CD"}))
async def second_as_json(request: Request, code: str) -> JSONResponse:
    """The second person's part.  Answers the comparison."""
    try:
        asked = await json_of(request, _SECOND)
        check = await _commit(request, _found(request, code), asked, asked, secrets.token_urlsafe(16))
    except InputError as error:
        return unread(error)
    return site_of(request).told(_told(check), check.kept)


@router.post("/api/second-check/{code}/result", openapi_extra=body_of_texts({"ticket": str}, {"ticket": "..."}, ("ticket",)))
async def result_as_json(request: Request, code: str) -> JSONResponse:
    """The comparison, for the first person's ticket; `comparison` is null while the second has not committed."""
    try:
        asked = await json_of(request, {"ticket": str})
    except InputError as error:
        return unread(error)
    site = site_of(request)
    check = site.second_checks.result(code, asked.get("ticket") or "", who_asks(request))
    return site.told(_told(check), check.kept)


def _begin(request: Request, asked: dict[str, Any], own: dict[str, Any], holder: str, form: str = "") -> Check:
    site = site_of(request)
    order = order_of(asked)
    told = read_told({**order, **_child(asked)}, own, site.formulary, date.today())
    return site.second_checks.begin(order, told, holder, who_asks(request), form)


async def _commit(request: Request, check: Check, asked: dict[str, Any], own: dict[str, Any], holder: str) -> Check:
    site = site_of(request)
    told = read_told({**check.asked, **_child(asked)}, own, site.formulary, date.today())
    done = site.second_checks.commit(check, told, holder)
    parts = {
        each.initials: {**each.verdict.understood, "answer": came.answer}
        for each, came in zip((done.first, done.second), done.comparison.answers, strict=True)
    }
    asked_whole = {"order": done.asked, "parts": parts}
    done.kept = await site.keep("second-check", asked_whole, done.comparison.as_dict(), told.formulary, by=" ".join(parts))
    return done


def _child(asked: dict[str, Any]) -> dict[str, Any]:
    return {name: asked.get(name) for name in CHILD_FIELDS}


def _found(request: Request, code: str) -> Check:
    return site_of(request).second_checks.find(code, who_asks(request))


def _worse(check: Check) -> Any:
    """The check of the order that bears the comparison's outcome."""
    return next(told.verdict for told in (check.first, check.second) if told.verdict.outcome == check.comparison.outcome)


def _told(check: Check) -> dict[str, Any]:
    return {
        "comparison": check.comparison and check.comparison.as_dict(),
        "check_of_the_order": check.comparison and _worse(check).as_dict(),
        "when": check.when,
    }


def _first(request: Request, form: dict[str, Any], faults: dict[str, list[str]] | None = None, status: int = 200) -> HTMLResponse:
    formulary = site_of(request).formulary
    choices = _choices(formulary, form.get("medicine"))
    form = {"form": secrets.token_urlsafe(9), **form}
    told = {"form": form, "faults": faults or {}, "choices": choices, "names": names_of(formulary)}
    return page(request, "second_first.html", status, pressed=PRESSED, child_pressed=CHILD_PRESSED, today=date.today().isoformat(), **told)


def _choices(formulary: Formulary, medicine: str | None) -> Choices:
    """Without the products: each reads the label alone."""
    return choices_of(formulary, medicine)._replace(products=())


def _second(
    request: Request, check: Check, form: dict[str, Any], faults: dict[str, list[str]] | None = None, status: int = 200
) -> HTMLResponse:
    order = [
        (name, "; ".join(value) if isinstance(value, (list, tuple)) else "yes" if value is True else value)
        for name, value in check.asked.items()
    ]
    today = date.today().isoformat()
    return page(
        request,
        "second_second.html",
        status,
        check=check,
        order=order,
        form=form,
        faults=faults or {},
        child_pressed=CHILD_PRESSED,
        today=today,
    )
