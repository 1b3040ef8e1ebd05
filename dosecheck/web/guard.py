"""Stands before every request: who may ask, how much, how often, how long; and what every answer's head says.

A plain ASGI layer, so that nothing behind it sees a request that should not be there:

- Host must be a name of this machine (else a foreign page could reach us through a name of its own that points here).
- Origin, where the browser sends it, and Sec-Fetch-Site must be ours for anything but reading a page.
- Bodies have a size limit and must come whole within a time; so many requests a second and at the same time for each machine.
- An unexpected fault is answered "not checked", with a reference that stands in the log beside the kind of fault and the
  line, never with what was typed.
"""

from __future__ import annotations

import asyncio
import logging
import secrets
import time
import traceback
from collections import Counter, OrderedDict
from collections.abc import Awaitable, Callable, MutableMapping
from ipaddress import IPv6Address, ip_address, ip_network
from typing import Any
from urllib.parse import urlsplit

from dosecheck.web.refusals import fault_body, refusal_body

Scope = MutableMapping[str, Any]
Receive = Callable[[], Awaitable[MutableMapping[str, Any]]]
Send = Callable[[MutableMapping[str, Any]], Awaitable[None]]

MOST_BYTES = 64 * 1024
BODY_SECONDS = 10.0
ANSWER_SECONDS = 30.0
A_SECOND, AT_ONCE = 200, 400  # requests of one machine: so many a second, after so many at once
SAME_TIME = 16  # of one machine, under way
SLOW_SECONDS, SLOW_COUNTS = 0.05, 40  # an answer that takes longer counts for so many requests
_MOST_ADDRESSES = 10_000

log = logging.getLogger("dosecheck.web")

_HEAD = (
    (
        b"content-security-policy",
        b"default-src 'none'; style-src 'self'; script-src 'self'; img-src 'self'; connect-src 'self'; form-action 'self'; "
        b"base-uri 'none'; frame-ancestors 'none'",
    ),
    (b"x-content-type-options", b"nosniff"),
    (b"x-frame-options", b"DENY"),
    (b"referrer-policy", b"same-origin"),  # with "no-referrer" browsers hide the origin of our own forms too
    (b"permissions-policy", b"camera=(), microphone=(), geolocation=(), usb=()"),
    (b"cross-origin-opener-policy", b"same-origin"),
    (b"cross-origin-resource-policy", b"same-origin"),
)
_NO_STORE = (b"cache-control", b"no-store")


class Refused(Exception):
    """A request that goes no further: status, and what to tell in words."""

    def __init__(self, status: int, why: str, write: str, *head: tuple[bytes, bytes]) -> None:
        self.status, self.why, self.write, self.head = status, why, write, head
        super().__init__(why)


class Guard:
    """Args: names: the hosts, without port, by which we may be asked besides the address that the request came to."""

    def __init__(self, app: Any, names: frozenset[str], clock: Callable[[], float] = time.monotonic) -> None:
        self.app, self.names, self.clock = app, names, clock
        self._left: OrderedDict[str, tuple[float, float]] = OrderedDict()
        self._under_way: Counter[str] = Counter()

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] == "websocket":  # there is none here
            return await send({"type": "websocket.close", "code": 1008})
        if scope["type"] != "http":
            return await self.app(scope, receive, send)
        begun, status = self.clock(), [0]
        scope["reference"] = secrets.token_hex(4)
        guarded = _with_head(send, scope, status)
        who = whose(scope["client"][0] if scope.get("client") else "")
        self._under_way[who] += 1
        try:
            self._admit(scope, who)
            body = await _whole_body(scope, receive)
            await self._answered(scope, _replay(body, receive), guarded, who)
        except Refused as refused:
            await _answer(guarded, scope, refused.status, refusal_body(scope, refused.status, refused.why, refused.write), refused.head)
        except Exception as error:  # fails closed, whatever went wrong; the answer may be out already
            log.error("fault %s: %s at %s", scope["reference"], type(error).__name__, _place(error))
            if not status[0]:
                await _answer(guarded, scope, 500, fault_body(scope))
        finally:
            self._under_way[who] -= 1
            if not self._under_way[who]:
                del self._under_way[who]
            log.info("%s %s %d %.0f ms", scope["method"], _safe(scope["path"]), status[0], (self.clock() - begun) * 1000)

    async def _answered(self, scope: Scope, receive: Receive, send: Send, who: str) -> None:
        """A HEAD is a GET whose body is kept back; what takes long is charged for."""
        asked = {**scope, "method": "GET"} if scope["method"] == "HEAD" else scope
        begun = self.clock()
        try:
            await asyncio.wait_for(self.app(asked, receive, send), ANSWER_SECONDS)
        finally:
            if self.clock() - begun > SLOW_SECONDS:
                self._take(who, SLOW_COUNTS)

    def _admit(self, scope: Scope, who: str) -> None:
        heads = [(name.lower(), value) for name, value in scope["headers"]]
        hosts = [value.decode("latin-1") for name, value in heads if name == b"host"]
        if len(hosts) != 1 or not self._ours(hosts[0], scope):
            raise Refused(421, "This page was asked for by a name that is not this machine's.", "Use the address that dosecheck printed.")
        told = dict(heads)
        if scope["method"] not in ("GET", "HEAD"):
            self._same_site(told, hosts[0], scope)
        if told.get(b"content-encoding", b"identity") != b"identity":
            raise Refused(415, "A compressed body is not read.", "Send it as it is.")
        if self._under_way[who] > SAME_TIME or not self._take(who):
            raise Refused(429, "Too many requests at once.", "Wait a second, and ask again.", (b"retry-after", b"1"))

    def _ours(self, host: str, scope: Scope) -> bool:
        """The name without its port is ours, and the port, where it is told, is the one that was asked."""
        name, port = _name_and_port(host)
        here = scope.get("server") or ("", None)
        if port is not None and here[1] is not None and port != str(here[1]):
            return False
        return name in self.names or (_is_address(name) and name == here[0])

    def _same_site(self, told: dict[bytes, bytes], host: str, scope: Scope) -> None:
        origin = told.get(b"origin")
        foreign = origin is not None and origin.decode("latin-1") != f"{scope.get('scheme', 'http')}://{host}"
        if foreign or told.get(b"sec-fetch-site", b"same-origin") not in (b"same-origin", b"none"):
            raise Refused(403, "This came from another site's page.", "Open dosecheck's own page and ask from there.")

    def _take(self, who: str, count: int = 1) -> bool:
        """From a bucket for each machine: full at AT_ONCE, filling by A_SECOND.  Whether it held one."""
        now = self.clock()
        left, at = self._left.pop(who, (float(AT_ONCE), now))
        left = min(float(AT_ONCE), left + (now - at) * A_SECOND)
        held = left >= 1
        self._left[who] = (left - count if held else left, now)
        if len(self._left) > _MOST_ADDRESSES:
            self._left.popitem(last=False)
        return held


def whose(address: str) -> str:
    """The machine that an address counts for: with IPv6 its network of 64 bits, all of which one machine may use."""
    try:
        told = ip_address(address)
    except ValueError:
        return ""
    if isinstance(told, IPv6Address):
        return str(told.ipv4_mapped or ip_network((int(told), 64), strict=False))
    return str(told)


def _name_and_port(host: str) -> tuple[str, str | None]:
    try:
        parts = urlsplit(f"//{host}")
        port = parts.port
    except ValueError:
        return "", None
    plain = not (parts.username or parts.path or parts.query or parts.fragment or parts.password)
    return (parts.hostname or "").rstrip(".") if plain else "", None if port is None else str(port)


def _is_address(name: str) -> bool:
    try:
        ip_address(name)
    except ValueError:
        return False
    return True


async def _whole_body(scope: Scope, receive: Receive) -> bytes:
    """The body, at most MOST_BYTES of it, within BODY_SECONDS."""
    lengths = [value for name, value in scope["headers"] if name.lower() == b"content-length"]
    if any(value.isdigit() and int(value[:20]) > MOST_BYTES for value in lengths):
        raise _too_large()
    try:
        return await asyncio.wait_for(_read(receive), BODY_SECONDS)
    except TimeoutError:
        raise Refused(408, "The request did not come whole in time.", "Send it again.") from None


async def _read(receive: Receive) -> bytes:
    body = b""
    while True:
        message = await receive()
        if message["type"] == "http.disconnect":
            raise Refused(400, "The request broke off.", "Send it again.")
        body += message.get("body", b"")
        if len(body) > MOST_BYTES:
            raise _too_large()
        if not message.get("more_body"):
            return body


def _too_large() -> Refused:
    return Refused(413, f"The request is larger than {MOST_BYTES:,} bytes.", "Send one order, or use dosecheck batch for a file.")


def _replay(body: bytes, receive: Receive) -> Receive:
    """The body once, then whatever the server says next (that the browser has gone)."""
    held = [body]

    async def again() -> MutableMapping[str, Any]:
        return {"type": "http.request", "body": held.pop(), "more_body": False} if held else await receive()

    return again


def _with_head(send: Send, scope: Scope, status: list[int]) -> Send:
    """Every answer carries the safety heads; nothing but our own style and script may be kept by a browser."""
    kept = scope["path"].startswith("/static/")
    bare = scope["method"] == "HEAD"

    async def guarded(message: MutableMapping[str, Any]) -> None:
        if message["type"] == "http.response.start":
            status[0] = message["status"]
            own = list(message.get("headers", ()))
            ours = [pair for pair in _HEAD if pair[0] not in {name.lower() for name, _ in own}]  # a page with a style inside says which
            message = {**message, "headers": [*own, *ours, *(() if kept else (_NO_STORE,))]}
        await send({**message, "body": b""} if bare and "body" in message else message)

    return guarded


async def _answer(send: Send, scope: Scope, status: int, body: tuple[bytes, bytes], head: tuple[tuple[bytes, bytes], ...] = ()) -> None:
    kind, content = body
    length = (b"content-length", str(len(content)).encode())
    await send({"type": "http.response.start", "status": status, "headers": [(b"content-type", kind), length, *head]})
    await send({"type": "http.response.body", "body": content})


def _place(error: BaseException) -> str:
    """File and line of ours where it happened; no value of it."""
    last = traceback.extract_tb(error.__traceback__)[-1:]
    return ", ".join(f"{frame.filename.rpartition('/')[2]}:{frame.lineno}" for frame in last)


def _safe(path: str) -> str:
    """A path for one line of the log: no name that somebody typed, no line feed."""
    return "/".join(part if part.isascii() and part.replace("-", "").replace(".", "").isalnum() else "?" for part in path.split("/"))[:80]
