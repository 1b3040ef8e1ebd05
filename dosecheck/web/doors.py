"""How a request becomes fields: forms with their token, JSON with its one object; refusals for what is neither."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

from fastapi import Request
from fastapi.responses import JSONResponse

from dosecheck.errors import Fault, InputError
from dosecheck.web.forms import Malformed, read_form, read_json
from dosecheck.web.guard import Refused
from dosecheck.web.render import session_of, site_of

_MOST_STRANGE, _MOST_IN_LIST = 20, 100
_FORM = "application/x-www-form-urlencoded"


async def form_of(request: Request, many: Iterable[str] = ()) -> dict[str, Any]:
    """The fields of a form of ours.

    Raises:
        Refused: it is no form, cannot be read, or does not carry the token of its session.
    """
    if _kind(request) != _FORM:
        raise Refused(415, "This is not one of our forms.", "Send it from dosecheck's own page.")
    try:
        form = read_form(await request.body(), many)
    except Malformed as error:
        raise Refused(400, error.why, error.write) from None
    if not site_of(request).is_token(session_of(request), form.pop("token", None)):
        raise Refused(403, "This form is out of date.", "Open the page again, and fill it in again.")
    return form


async def json_of(request: Request, fields: Mapping[str, type]) -> dict[str, Any]:
    """The fields of a JSON request: texts, unless `fields` says bool or list.

    Raises:
        Refused: it is no JSON object.
        InputError: a field is not known, or is of another type.
    """
    try:
        told = read_json(await body_of_json(request))
    except Malformed as error:
        raise Refused(400, error.why, error.write) from None
    if len(told) > len(fields) + _MOST_STRANGE:
        raise Refused(400, f"There are {len(told)} fields.", f"There are: {', '.join(fields)}.")
    faults = [fault for name, value in told.items() for fault in _faults(name, value, fields)]
    if faults:
        raise InputError(faults)
    return told


async def body_of_json(request: Request) -> bytes:
    """The body of a JSON request, not yet read.

    Raises:
        Refused: it is said to be something else.
    """
    if _kind(request) != "application/json":
        raise Refused(415, "The body is not JSON.", "Send it with the content type application/json.")
    return await request.body()


def _kind(request: Request) -> str:
    return request.headers.get("content-type", "").partition(";")[0].strip().lower()


def _faults(name: str, value: Any, fields: Mapping[str, type]) -> Iterable[Fault]:
    if name not in fields:
        from difflib import get_close_matches

        near = get_close_matches(name[:60], fields, n=1, cutoff=0.6)
        yield Fault(
            ascii(name[:60])[1:-1],
            "",
            "There is no such field.",
            f'Did you mean "{near[0]}"?' if near else f"There are: {', '.join(fields)}.",
        )
    elif value is not None and (type(value) is not fields[name] or (type(value) is list and any(type(each) is not str for each in value))):
        words = {str: 'a text, such as "14.2 kg"', bool: "true or false", list: "a list of texts"}[fields[name]]
        yield Fault(name, "", "It is of another type.", f"Write it as {words}.")
    elif type(value) is list and len(value) > _MOST_IN_LIST:
        yield Fault(name, str(len(value)), f"There are more than {_MOST_IN_LIST}.", "Leave some out.")


def unread(error: InputError) -> JSONResponse:
    """Every fault of an input, as `--json` of the command line tells them; status 422."""
    return JSONResponse({"errors": [fault._asdict() for fault in error.faults]}, 422)
