"""Our templates filled, with what every page needs: the token of its forms, the time after which it clears itself."""

from __future__ import annotations

import base64
import re
import secrets
from hashlib import sha256
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


def fill(which: str, /, **told: Any) -> str:
    """A part of a page."""
    return template(_TEMPLATES / which).render(**told)


def page(request: Request, which: str, status: int = 200, /, **told: Any) -> HTMLResponse:
    """A whole page.  A browser without a session gets one: a random name that lives until the browser is closed."""
    site = site_of(request)
    session = request.cookies.get(COOKIE) or secrets.token_urlsafe(16)
    html = fill(
        which,
        here=request.url.path,
        navigation=NAVIGATION,
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


def printed(html: str, head: dict[str, str] | None = None) -> HTMLResponse:
    """A page made for paper, whole in itself: its own style is allowed by its hash, and nothing else."""
    styles = (base64.b64encode(sha256(each.encode()).digest()).decode() for each in re.findall(r"<style>(.*?)</style>", html, re.DOTALL))
    allowed = " ".join(f"'sha256-{each}'" for each in styles)
    policy = f"default-src 'none'; style-src {allowed}; base-uri 'none'; form-action 'none'; frame-ancestors 'none'"
    return HTMLResponse(html, headers={**(head or {}), "content-security-policy": policy})


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
