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
from dosecheck.web.guard import whose
from dosecheck.web.site import COOKIE, Site

_SESSION = re.compile("[A-Za-z0-9_-]{22}")
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
    """The browser's own random name; "" for none, or for one that is not of our making."""
    told = request.cookies.get(COOKIE, "")
    return told if _SESSION.fullmatch(told) else ""


def who_asks(request: Request) -> str:
    """The machine that asks."""
    return whose(request.client.host if request.client else "")


def fill(which: str, /, **told: Any) -> str:
    """A part of a page."""
    return template(_TEMPLATES / which).render(**told)


def page(request: Request, which: str, status: int = 200, /, *, clear_to: str = "", **told: Any) -> HTMLResponse:
    """A whole page.  A browser without a session gets one: a random name that lives until the browser is closed.

    Args:
        clear_to: where a page goes that is left alone; its own address, empty, where none is told.
    """
    site = site_of(request)
    held = session_of(request)
    session = held or secrets.token_urlsafe(16)
    html = fill(
        which,
        here=request.url.path,
        navigation=NAVIGATION,
        token=site.token(session),
        clear_after=site.clear_after,
        clear_to=clear_to or request.url.path,
        trouble=site.figures.trouble,
        fingerprint=site.formulary.fingerprint,
        version=VERSION,
        **told,
    )
    answer = HTMLResponse(html, status)
    if not held:
        answer.set_cookie(COOKIE, session, httponly=True, samesite="strict", secure=site.settings.secure or request.url.scheme == "https")
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
