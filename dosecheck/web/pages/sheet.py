"""The one-page sheet of one child, to read or to print."""

from __future__ import annotations

from datetime import date
from typing import Any

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse, JSONResponse, Response

from dosecheck.errors import DosecheckError, InputError
from dosecheck.records import CHILD_FIELDS, Child, texts_of
from dosecheck.reports.page import to_html
from dosecheck.reports.sheet import Sheet, make_sheet, reference_faults
from dosecheck.web.doors import form_of, json_of, unread
from dosecheck.web.forms import put_together
from dosecheck.web.openapi import body_of_texts
from dosecheck.web.render import by_field, page, printed, site_of
from dosecheck.web.units import CHILD_PRESSED

router = APIRouter()
_FIELDS = {"child": str, **dict.fromkeys(CHILD_FIELDS, str)}
_EXAMPLE = {"child": "SM-014", "weight": "14.2 kg", "weight_is": "measured", "age": "3 years 2 months"}


@router.get("/sheet", response_class=HTMLResponse, include_in_schema=False)
async def empty(request: Request) -> HTMLResponse:
    """An empty form."""
    return _form(request, {})


@router.post("/sheet", response_class=HTMLResponse, include_in_schema=False)
async def answer(request: Request) -> Response:
    """The sheet as a page that clears itself, or as a PDF."""
    form = await form_of(request)
    try:
        texts = {name: form.get(name) for name in _FIELDS} | put_together(form, ("weight", "age"))
        sheet = await _sheet(request, texts)
        if form.get("pressed") == "pdf":
            from dosecheck.reports.pdf import to_pdf

            content = await site_of(request).apart(to_pdf, sheet)
            return Response(content, media_type="application/pdf", headers={"content-disposition": 'inline; filename="sheet.pdf"'})
    except InputError as error:
        return _form(request, form, by_field(error), 422)
    except DosecheckError as error:
        return _form(request, form, {"sheet": [str(error)]}, 422)
    return printed(to_html(sheet, back="/sheet"), {"refresh": f"{site_of(request).clear_after};url=/sheet"})


@router.post("/api/sheet", openapi_extra=body_of_texts(_FIELDS, _EXAMPLE))
async def as_json(request: Request) -> JSONResponse:
    """The same JSON as `dosecheck sheet --json`."""
    try:
        return JSONResponse((await _sheet(request, await json_of(request, _FIELDS))).as_dict())
    except InputError as error:
        return unread(error)


async def _sheet(request: Request, texts: dict[str, Any]) -> Sheet:
    """The one function behind the page and the JSON."""
    reference = texts.get("child") or None
    try:
        child = Child(**texts_of({name: texts.get(name) for name in CHILD_FIELDS}, date.today()))
    except InputError as error:
        raise InputError([*reference_faults(reference), *error.faults]) from None
    site = site_of(request)
    made = await site.apart(make_sheet, reference, child, site.formulary)
    trouble = site.figures.trouble
    return made._replace(doubts=(trouble, *made.doubts)) if trouble else made  # first, on the screen, on paper and as JSON


def _form(request: Request, form: dict[str, Any], faults: dict[str, list[str]] | None = None, status: int = 200) -> HTMLResponse:
    today = date.today().isoformat()
    return page(request, "sheet_form.html", status, form=form, faults=faults or {}, child_pressed=CHILD_PRESSED, today=today)
