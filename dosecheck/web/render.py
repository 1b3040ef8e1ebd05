"""Our templates filled, with what every page needs: the token of its forms, the time after which it clears itself."""

from __future__ import annotations

import secrets
from pathlib import Path
from typing import Any

from fastapi import Request
from fastapi.responses import HTMLResponse
from markupsafe import Markup

from dosecheck.errors import InputError
from dosecheck.formulary.folder import VERSION
from dosecheck.printing.templates import template
from dosecheck.web.site import COOKIE, Site

_TEMPLATES = Path(__file__).parent / "templates"
NAVIGATION = (
    ("/", "Order"),
    ("/second-check", "Second check"),
    ("/chart", "Chart"),
    ("/sums", "Sums"),
    ("/sheet", "Sheet"),
    ("/formulary", "Formulary"),
    ("/practice", "Practice"),
)


def site_of(request: Request) -> Site:
    return request.app.state.site


def session_of(request: Request) -> str:
    """The browser's own random name; a form that came with its token always has one."""
    return request.cookies.get(COOKIE, "")


def fill(name: str, **told: Any) -> str:
    """A part of a page."""
    return template(_TEMPLATES / name).render(**told)


def page(request: Request, name: str, status: int = 200, **told: Any) -> HTMLResponse:
    """A whole page.  A browser without a session gets one: a random name that lives until the browser is closed."""
    site = site_of(request)
    session = request.cookies.get(COOKIE) or secrets.token_urlsafe(16)
    html = fill(
        name,
        here=request.url.path,
        navigation=[each for each in NAVIGATION if each[0] in site.pages],
        token=site.token(session),
        clear_after=site.clear_after,
        trouble=site.figures.trouble,
        fingerprint=site.formulary.fingerprint,
        version=VERSION,
        **told,
    )
    answer = HTMLResponse(html, status)
    if COOKIE not in request.cookies:
        answer.set_cookie(COOKIE, session, httponly=True, samesite="strict", secure=site.settings.secure)
    return answer


def drawing(svg: str) -> Markup:
    """A picture of our own making, its text already escaped, to stand in a page as it is."""
    return Markup(svg)


def by_field(error: InputError) -> dict[str, list[str]]:
    """The faults of an input, in words, by field."""
    told: dict[str, list[str]] = {}
    for fault in error.faults:
        shown = f'"{fault.given}": ' if fault.given else ""
        told.setdefault(fault.field, []).append(f"{shown}{fault.why} {fault.write}".rstrip())
    return told
