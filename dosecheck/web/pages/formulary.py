"""The formulary to read: every medicine with its status, and one medicine with its regimens, sources and pictures."""

from __future__ import annotations

from datetime import date
from functools import lru_cache

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse, JSONResponse

from dosecheck.formulary.load import Formulary
from dosecheck.reports.book import make_book
from dosecheck.reports.book_page import to_html
from dosecheck.web.guard import Refused
from dosecheck.web.openapi import READ_REFUSED
from dosecheck.web.render import page, printed, site_of

router = APIRouter()


@router.get("/formulary", response_class=HTMLResponse, include_in_schema=False)
async def listing(request: Request) -> HTMLResponse:
    """Every medicine, by name."""
    formulary = site_of(request).formulary
    review = formulary.policy.get("review_by", {}).get("value")
    told = {"review": str(review or ""), "overdue": formulary.review_overdue(date.today()), "about": formulary.about()}
    return page(request, "formulary.html", medicines=formulary.medicines(), **told)


@router.get("/formulary/{name}", response_class=HTMLResponse, include_in_schema=False)
async def one(request: Request, name: str) -> HTMLResponse:
    """One medicine, as the book has it."""
    formulary = site_of(request).formulary
    medicine = formulary.medicine(name)
    if medicine is None:
        raise Refused(404, "No medicine of this name is in the formulary.", "Choose one of the list.")
    return printed(await site_of(request).apart(_read, formulary, date.today(), medicine.id))


@router.get("/api/formulary", responses=READ_REFUSED)
async def listing_as_json(request: Request) -> JSONResponse:
    """Every name that is read, with the medicine that it stands for and its status."""
    formulary = site_of(request).formulary
    found = {name: formulary.medicine(name) for name in formulary.names}
    names = {name: {"medicine": medicine.id, "status": medicine.status} for name, medicine in found.items()}
    return JSONResponse({"names": names, "formulary": formulary.about()})


@router.get("/api/formulary/{name}", responses=READ_REFUSED)
async def one_as_json(request: Request, name: str) -> JSONResponse:
    """One medicine: the same JSON as `dosecheck formulary book --json` of it."""
    formulary = site_of(request).formulary
    medicine = formulary.medicine(name)
    if medicine is None:
        raise Refused(404, "No medicine of this name is in the formulary.", "Ask for one of /api/formulary.")
    return JSONResponse((await site_of(request).apart(make_book, formulary, date.today(), (medicine.id,))).as_dict())


@lru_cache(maxsize=64)
def _read(formulary: Formulary, today: date, medicine: str) -> str:
    """A page is made once: its pictures take some tenths of a second."""
    return to_html(make_book(formulary, today, (medicine,)), back="/formulary")
