"""The page: how long a warm answer takes at 100 requests a second, what a first page weighs, how long a start takes.

The server is a process of its own on one core; the floor beside it is the same server answering a page that is only a file.
Run it by hand: python tests/bench/bench_web.py
"""

from __future__ import annotations

import http.client
import json
import os
import socket
import subprocess
import sys
import time
from pathlib import Path
from statistics import median
from urllib.parse import urlencode
from urllib.request import urlopen

REPO = Path(__file__).parents[2]
A_SECOND, SECONDS = 100, 10
ORDER = {
    "medicine": "paracetamol",
    "route": "oral",
    "for": "pain",
    "dose": "204 mg",
    "every": "6 hours",
    "weight": "14.2 kg",
    "age": "3 years",
    "product": "oral-liquid-120-in-5",
}


def free_port() -> int:
    with socket.socket() as found:
        found.bind(("127.0.0.1", 0))
        return found.getsockname()[1]


def started() -> tuple[subprocess.Popen, int, float]:
    """The running server, its port, and the seconds until its first page."""
    port = free_port()
    begun = time.perf_counter()
    words = [sys.executable, "-m", "dosecheck", "serve", "--port", str(port), "--formulary", str(REPO / "formulary")]
    running = subprocess.Popen(words, cwd=REPO, stdout=subprocess.DEVNULL)
    if hasattr(os, "sched_setaffinity"):
        os.sched_setaffinity(running.pid, {0})
        os.sched_setaffinity(0, {1 % os.cpu_count()})
    while True:
        try:
            urlopen(f"http://127.0.0.1:{port}/", timeout=1).read()
            return running, port, time.perf_counter() - begun
        except OSError:
            time.sleep(0.01)


def paced(port: int, method: str, path: str, body: bytes | None, head: dict[str, str]) -> list[float]:
    """Milliseconds of each of A_SECOND * SECONDS requests, each sent at its own time whether or not the last was slow."""
    asking = http.client.HTTPConnection("127.0.0.1", port)
    found, begun = [], time.perf_counter()
    for number in range(A_SECOND * SECONDS):
        due = begun + number / A_SECOND
        time.sleep(max(0.0, due - time.perf_counter()))
        asking.request(method, path, body, head)
        answer = asking.getresponse()
        answer.read()
        assert answer.status == 200, answer.status
        found.append((time.perf_counter() - due) * 1000)
    return found


def told(name: str, found: list[float]) -> None:
    found = sorted(found)
    print(
        f"{name:<34} median {median(found):5.2f} ms   99th percentile {found[len(found) * 99 // 100]:5.2f} ms   worst {found[-1]:5.2f} ms"
    )


def main() -> None:
    running, port, seconds = started()
    try:
        address = f"http://127.0.0.1:{port}"
        first = urlopen(f"{address}/")
        page = first.read()
        weight = len(page) + sum(len(urlopen(f"{address}/static/{name}").read()) for name in ("page.css", "page.js", "mark.svg"))
        print(f"start to first page {seconds:.2f} s; first page {len(page):,} bytes, with style, script and mark {weight:,} bytes")
        told("floor: a file of the same server", paced(port, "GET", "/static/page.css", None, {}))
        told("an order as JSON", paced(port, "POST", "/api/order", json.dumps(ORDER).encode(), {"content-type": "application/json"}))
        cookie = first.headers["set-cookie"].partition(";")[0]
        token = page.decode().partition('name="token" value="')[2][:64]
        form = urlencode({**ORDER, "token": token}).encode()
        kind = {"content-type": "application/x-www-form-urlencoded", "cookie": cookie, "origin": address}
        told("an order as a page, pictures and all", paced(port, "POST", "/order", form, kind))
        told("the empty form", paced(port, "GET", "/", None, {}))
    finally:
        running.terminate()
        running.wait(10)


if __name__ == "__main__":
    main()
