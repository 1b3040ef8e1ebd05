"""Connections as an attacker on the same network would hold them: half a head, an answer never taken, very many at once."""

from __future__ import annotations

import asyncio
import socket
import time
from collections.abc import Iterator
from urllib.request import urlopen

import pytest
from web.ward import FOLDER, free_port, serving

from dosecheck.web import lines
from dosecheck.web.lines import Line, config_of
from dosecheck.web.settings import Settings


@pytest.fixture(scope="module")
def port() -> Iterator[int]:
    changed = pytest.MonkeyPatch()
    changed.setattr(lines, "HEAD_SECONDS", 0.5)
    changed.setattr(lines, "OF_ONE", 5)
    found = free_port()
    with serving(Settings(port=found, formulary=FOLDER)):
        yield found
    changed.undo()


def line(port: int, sent: bytes = b"GET / HTTP/1.1\r\nHost: 127.0.0.1\r\nX-Slow: ") -> socket.socket:
    made = socket.create_connection(("127.0.0.1", port), timeout=5)
    made.sendall(sent)
    return made


def is_cut(held: socket.socket) -> bool:
    """Whether the other side ends it, within the time-out."""
    try:
        return held.recv(1) == b""
    except ConnectionError:
        return True


@pytest.mark.parametrize("sent", [b"", b"GET / HTTP/1.1\r\nHost: 127.0.0.1\r\nX-Slow: "])
def test_a_head_that_never_ends(port: int, sent: bytes) -> None:
    """A line is cut when its head is not whole in time, however often another byte comes."""
    begun = time.monotonic()
    with line(port, sent) as held:
        held.settimeout(0.1)
        while time.monotonic() - begun < 4:
            try:
                held.sendall(b"x" if sent else b"")
                if held.recv(1) == b"":
                    break
            except TimeoutError:
                continue
            except ConnectionError:
                break
    assert 0.3 < time.monotonic() - begun < 3


def test_a_head_in_two_pieces_is_answered(port: int) -> None:
    with line(port, b"GET /sums HTTP/1.1\r\nHost: 127.") as held:
        time.sleep(0.1)
        held.sendall(b"0.0.1\r\n\r\n")
        assert held.recv(12) == b"HTTP/1.1 200"
        time.sleep(0.7)  # longer than a head may take: the line rests, and is not cut for that
        held.sendall(b"HEAD /sums HTTP/1.1\r\nHost: 127.0.0.1\r\nConnection: close\r\n\r\n")
        rest = b"".join(iter(lambda: held.recv(65536), b""))
        assert b"HTTP/1.1 200" in rest and rest.endswith(b"\r\n\r\n"), "a HEAD has no body"


def test_many_lines_of_one_machine(port: int) -> None:
    """More than so many are cut at once; when they have gone, the machine is answered again."""
    held = [line(port) for _ in range(8)]
    assert sum(is_cut(each) for each in held[5:]) == 3
    for each in held:
        each.close()
    time.sleep(0.1)
    assert b"Sums" in urlopen(f"http://127.0.0.1:{port}/sums", timeout=5).read()


def test_an_answer_that_nobody_takes(monkeypatch: pytest.MonkeyPatch) -> None:
    """A line whose answer is not taken is cut; one that is taken slowly is not."""
    monkeypatch.setattr(lines, "TAKE_SECONDS", 0.05)

    class Transport(asyncio.Transport):
        cut = False

        def abort(self) -> None:
            self.cut = True

    async def stuck(taken: bool) -> bool:
        from uvicorn.server import ServerState

        made, transport = Line(config_of(None, "127.0.0.1", 8000, {}), ServerState(), {}), Transport()
        made.connection_made(transport)
        made.pause_writing()
        if taken:
            made.resume_writing()
        await asyncio.sleep(0.15)
        made.connection_lost(ConnectionError())
        return transport.cut

    assert asyncio.run(stuck(taken=False)) and not asyncio.run(stuck(taken=True))
