"""The sums: a list, and for each its fields and its answer."""

from __future__ import annotations

from itertools import groupby
from typing import Any

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse, JSONResponse

from dosecheck.errors import InputError
from dosecheck.sums.frame import Reckoned, Sum
from dosecheck.sums.listing import SUMS, find, reckon_sum
from dosecheck.web.doors import form_of, json_of, unread
from dosecheck.web.forms import flat
from dosecheck.web.guard import Refused
from dosecheck.web.openapi import body_of_texts
from dosecheck.web.render import by_field, page, site_of

router = APIRouter()
_MOST_LINES = 4  # of a field that may be told several times


@router.get("/sums", response_class=HTMLResponse, include_in_schema=False)
async def listing(request: Request) -> HTMLResponse:
    """Every sum, by its group."""
    groups = [(group, [(name, SUMS[name].about) for name in names]) for group, names in groupby(SUMS, key=lambda name: SUMS[name].group)]
    return page(request, "sums.html", groups=groups)


@router.get("/sums/{name}", response_class=HTMLResponse, include_in_schema=False)
async def empty(request: Request, name: str) -> HTMLResponse:
    """A sum's empty form."""
    return _form(request, name, _found(name), {})


@router.post("/sums/{name}", response_class=HTMLResponse, include_in_schema=False)
async def answer(request: Request, name: str) -> HTMLResponse:
    """A sum's answer, on a page without the form."""
    asked = _found(name)
    form = await form_of(request, [field.name for field in asked.fields if field.many])
    if form.pop("again", None):
        return _form(request, name, asked, form)
    try:
        told = _reckoned(request, name, form)
    except InputError as error:
        return _form(request, name, asked, form, by_field(error), 422)
    return page(request, "sum_answered.html", name=name, told=told, form=flat(form))


async def as_json(request: Request, name: str) -> JSONResponse:
    """The same JSON as `dosecheck sum NAME --json`."""
    asked = _found(name)
    try:
        return site_of(request).told(_reckoned(request, name, await json_of(request, _fields(asked))).as_dict())
    except InputError as error:
        return unread(error)


def _fields(asked: Sum) -> dict[str, type]:
    return {field.name: list if field.many else str for field in asked.fields}


def _describe(name: str) -> None:
    """Each sum has an address of its own in the JSON, with its own fields."""
    asked = find(name)
    assert asked is not None

    async def this_sum(request: Request) -> JSONResponse:
        return await as_json(request, name)

    example = {field.name: [field.example] if field.many else field.example for field in asked.fields if field.needed}
    about = {"summary": asked.title, "description": SUMS[name].about, "operation_id": f"sum-{name}"}
    router.add_api_route(f"/api/sums/{name}", this_sum, methods=["POST"], openapi_extra=body_of_texts(_fields(asked), example), **about)


for _name in SUMS:
    _describe(_name)


def _found(name: str) -> Sum:
    asked = find(name)
    if asked is None:
        raise Refused(404, "There is no such sum.", "Choose one of the list of sums.")
    return asked


def _reckoned(request: Request, name: str, texts: dict[str, Any]) -> Reckoned:
    """The one function behind the page and the JSON."""
    given = {field: value for field, value in texts.items() if value not in (None, [])}
    return reckon_sum(name, given, site_of(request).formulary)


def _form(
    request: Request, name: str, asked: Sum, form: dict[str, Any], faults: dict[str, list[str]] | None = None, status: int = 200
) -> HTMLResponse:
    return page(
        request, "sum.html", status, name=name, asked=asked, about=SUMS[name].about, form=form, faults=faults or {}, lines=_MOST_LINES
    )
