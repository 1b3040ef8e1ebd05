"""The page put together: pages behind the guard, our own style and script, and the documents that describe the JSON."""

from __future__ import annotations

import threading
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from pathlib import Path
from typing import Any

from fastapi import FastAPI, Request
from fastapi.responses import FileResponse, HTMLResponse
from fastapi.staticfiles import StaticFiles
from starlette.exceptions import HTTPException
from starlette.responses import Response

from dosecheck.formulary.folder import VERSION
from dosecheck.web.guard import Guard, Refused
from dosecheck.web.pages import chart, formulary, order, practice, second_check, sheet, sums
from dosecheck.web.refusals import fault_body, refusal_body
from dosecheck.web.render import page
from dosecheck.web.settings import Settings
from dosecheck.web.site import Site

_STATIC = Path(__file__).parent / "static"
PAGES = (order, second_check, chart, sums, sheet, formulary, practice)
_LOCAL = ("127.0.0.1", "::1", "localhost")


def make_app(settings: Settings) -> Any:
    """The application behind its guard.

    Raises:
        FormularyError: the formulary cannot be used.
        FileError: the journal cannot be opened.
    """
    site = Site(settings)

    @asynccontextmanager
    async def watching(_: FastAPI) -> AsyncIterator[None]:
        stop = threading.Event()
        threading.Thread(target=site.figures.watch, args=(stop,), daemon=True).start()
        yield
        stop.set()

    app = FastAPI(
        lifespan=watching,
        title="dosecheck",
        version=VERSION,
        docs_url=None,
        redoc_url=None,
        openapi_url="/openapi.json",
        description=_ABOUT,
    )
    app.state.site = site
    for each in PAGES:
        app.include_router(each.router)
    app.add_api_route("/favicon.ico", _mark, include_in_schema=False)  # browsers ask for it beside a page that names none
    app.add_api_route("/docs", _docs, response_class=HTMLResponse, include_in_schema=False)
    app.mount("/static", StaticFiles(directory=_STATIC))
    app.add_exception_handler(HTTPException, _not_here)
    app.add_exception_handler(Refused, _refused)
    app.add_exception_handler(Exception, _fault)
    app.router.redirect_slashes = False
    names = {settings.host, *settings.names} | (set(_LOCAL) if settings.host in _LOCAL else set())
    return Guard(app, frozenset(name.lower() for name in names))


_ABOUT = (
    "A second check of the arithmetic of children's medicine doses, not a prescription: the prescriber decides, and local guidance comes first. "
    "Every field is text with its unit; outcomes are within, query, stop and not-checked, and not-checked is never an all-clear."
)


async def _mark() -> Response:
    return FileResponse(_STATIC / "mark.svg", media_type="image/svg+xml")


async def _docs(request: Request) -> HTMLResponse:
    """The JSON pages, from the OpenAPI document, on a page of our own that asks no other host for anything."""
    return page(request, "docs.html", paths=request.app.openapi()["paths"])


async def _not_here(request: Request, error: Exception) -> Response:
    """No such page, or no such way of asking for it."""
    status = error.status_code if isinstance(error, HTTPException) else 404
    why, write = {
        404: ("There is no such page here.", ""),
        405: ("This page is not asked for in that way.", "Use the form of the page."),
    }.get(status, ("The request cannot be answered.", ""))
    return _told(request, status, why, write, dict(getattr(error, "headers", None) or {}))


async def _refused(request: Request, error: Exception) -> Response:
    assert isinstance(error, Refused)
    return _told(request, error.status, error.why, error.write, {})


async def _fault(request: Request, error: Exception) -> Response:
    """The guard writes what it was into the log."""
    kind, body = fault_body(request.scope)
    return Response(body, 500, {"content-type": kind.decode()})


def _told(request: Request, status: int, why: str, write: str, head: dict[str, str]) -> Response:
    kind, body = refusal_body(request.scope, status, why, write)
    return Response(body, status, {**head, "content-type": kind.decode()})
