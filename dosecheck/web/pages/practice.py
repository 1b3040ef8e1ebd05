"""Questions about doses, marked; which mistake it was, and the working.  No record is kept here."""

from __future__ import annotations

import secrets
from typing import Any

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse, JSONResponse, RedirectResponse, Response

from dosecheck.drill.kinds import KINDS
from dosecheck.drill.make import MOST_SEED, make, remake
from dosecheck.drill.mark import UNREADABLE, mark
from dosecheck.drill.question import CAUTION, CannotFill, Question
from dosecheck.errors import InputError
from dosecheck.web.doors import form_of, json_of, unread
from dosecheck.web.guard import Refused
from dosecheck.web.openapi import READ_REFUSED, body_of_texts
from dosecheck.web.render import page, site_of

router = APIRouter()
_TRIES = 20  # seeds looked at before a kind is said not to be there


@router.get("/practice", response_class=HTMLResponse, include_in_schema=False)
async def listing(request: Request) -> HTMLResponse:
    """The kinds, each with its three levels."""
    return page(request, "practice.html", kinds=KINDS)


@router.get("/practice/new/{kind}/{level}", response_class=HTMLResponse, include_in_schema=False)
async def new(request: Request, kind: str, level: str) -> Response:
    """A fresh question, at an address of its own."""
    if kind not in KINDS or level not in ("1", "2", "3"):
        raise Refused(404, "There is no such kind of question.", "Choose one of the list.")
    for _ in range(_TRIES):
        try:
            asked = make(kind, int(level), secrets.randbelow(MOST_SEED), site_of(request).formulary)
        except CannotFill:
            continue
        return RedirectResponse(f"/practice/{asked.id}", 303)
    raise Refused(404, "This formulary cannot fill a question of this kind.", "Choose another.")


@router.get("/practice/{name}", response_class=HTMLResponse, include_in_schema=False)
async def question(request: Request, name: str) -> HTMLResponse:
    """One question."""
    asked = _question(request, name)
    return page(request, "practice_question.html", asked=asked, again="", marked=None, caution=CAUTION)


@router.post("/practice/{name}", response_class=HTMLResponse, include_in_schema=False)
async def answer(request: Request, name: str) -> HTMLResponse:
    """The mark; an answer that cannot be read may be written again."""
    form = await form_of(request)
    asked = _question(request, name)
    told = form.get("answer", "")
    marked = mark(asked, told) if told else None
    if marked is None or marked.result == UNREADABLE:
        return page(request, "practice_question.html", asked=asked, again=told, marked=marked, caution=CAUTION)
    return page(request, "practice_marked.html", asked=asked, marked=marked, answer=told, lesson=asked.lesson(), caution=CAUTION)


@router.get("/api/practice/{kind}/{level}/{seed}", responses=READ_REFUSED)
async def question_as_json(request: Request, kind: str, level: str, seed: str) -> JSONResponse:
    """The question of a kind, a level (1 to 3) and a seed; the same as `dosecheck drill question --json`."""
    if kind not in KINDS or level not in ("1", "2", "3") or not (seed.isascii() and seed.isdigit() and len(seed) < 10):
        raise Refused(404, "There is no such question.", "The kinds are on the page /practice.")
    try:
        return JSONResponse({**make(kind, int(level), int(seed), site_of(request).formulary).as_dict(), "caution": CAUTION})
    except CannotFill as error:
        raise Refused(404, str(error), "Take another seed.") from None


@router.post(
    "/api/practice/mark",
    openapi_extra=body_of_texts({"id": str, "answer": str}, {"id": "dose-by-weight.1.7.00000000", "answer": "213 mg"}, ("id", "answer")),
)
async def mark_as_json(request: Request) -> JSONResponse:
    """An answer marked; the same as `dosecheck drill mark --json`."""
    try:
        told = await json_of(request, {"id": str, "answer": str})
    except InputError as error:
        return unread(error)
    asked = _question(request, told.get("id") or "")
    marked = mark(asked, told.get("answer") or "")
    lesson: dict[str, Any] = {} if marked.result == UNREADABLE else {"lesson": asked.lesson()}
    return JSONResponse({"id": asked.id, **marked.as_dict(), **lesson, "caution": CAUTION})


def _question(request: Request, name: str) -> Question:
    try:
        return remake(name, site_of(request).formulary)
    except (InputError, CannotFill):
        raise Refused(404, "There is no such question.", "Take a new one.") from None
