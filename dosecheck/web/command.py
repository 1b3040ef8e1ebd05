"""`dosecheck serve`: the page for the bedside, on this machine unless it is told otherwise."""

from __future__ import annotations

from contextlib import suppress
from pathlib import Path
from typing import Any

import click

from dosecheck.errors import DosecheckError

_LOOPBACK = ("127.0.0.1", "::1", "localhost")
_OPEN = (
    "Others on this network can reach this page: it asks nobody who they are{crypt}. Let only your own ward's network reach it, "
    "and ask your information team before real children's details are typed in."
)


@click.command("serve", epilog="Stop it with Ctrl-C.  Exit status: 0 stopped, 2 it could not start.")
@click.option("--host", metavar="ADDRESS", default="127.0.0.1", show_default=True, help="the address to listen at; 0.0.0.0 is all of them")
@click.option("--port", metavar="N", type=click.IntRange(1, 65535), default=8000, show_default=True, help="the port")
@click.option(
    "--name", "names", metavar="NAME", multiple=True, help="another name by which this machine is asked, such as ward-pc.local; repeatable"
)
@click.option("--journal", metavar="FILE", help="keep a journal of what was asked and answered; off without it")
@click.option("--certificate", metavar="FILE", help="for https: the certificate")
@click.option("--key", metavar="FILE", help="for https: its key")
@click.option("--formulary", "folder", metavar="DIR", help="the formulary's folder")
def command(
    host: str, port: int, names: tuple[str, ...], journal: str | None, certificate: str | None, key: str | None, folder: str | None
) -> int:
    """Serve the page for the bedside: check an order, a second check by two people, the chart, sums, the sheet."""
    if bool(certificate) != bool(key):
        raise click.UsageError("--certificate and --key go together.")
    settings, app = _made(host, port, names, journal, bool(certificate), folder)
    _run(app, settings, {"ssl_certfile": certificate, "ssl_keyfile": key} if certificate else {})
    click.echo("Stopped.")
    return 0


def _made(host: str, port: int, names: tuple[str, ...], journal: str | None, secure: bool, folder: str | None) -> tuple[Any, Any]:
    try:
        from dosecheck.web.app import make_app
        from dosecheck.web.settings import Settings
    except ModuleNotFoundError as error:
        if error.name and error.name.startswith("dosecheck"):
            raise
        raise DosecheckError(f'The page needs {error.name}, which is not installed. Write: pip install "dosecheck[web]"') from None
    settings = Settings(host, port, Path(folder) if folder else None, Path(journal) if journal else None, names, secure)
    return settings, make_app(settings)


def _said(settings: Any) -> list[str]:
    scheme = "https" if settings.secure else "http"
    host = f"[{settings.host}]" if ":" in settings.host else settings.host
    here = host if settings.host not in ("0.0.0.0", "::") else "the address of this machine"
    lines = [f"dosecheck is at {scheme}://{here}:{settings.port}/"]
    if settings.host in _LOOPBACK:
        lines.append("Only programs on this machine can reach it.")
    else:
        lines.append(_OPEN.format(crypt="" if settings.secure else ", and what is typed crosses the network in clear"))
    lines.append(f"A journal is kept in {settings.journal}." if settings.journal else "Nothing of a child is kept: no journal.")
    return lines


def _run(app: Any, settings: Any, secure: dict[str, str]) -> None:
    """One process, one loop; says where the page is once the place is ours.

    Raises:
        DosecheckError: the address is taken or is none of this machine's, or the certificate cannot be used.
    """
    import gc
    import logging
    import socket

    import uvicorn

    from dosecheck.web.lines import config_of

    host, port = settings.host, settings.port
    logging.basicConfig(format="%(asctime)s %(message)s", level=logging.WARNING)
    try:
        config = config_of(app, host, port, secure)
    except OSError as error:
        raise DosecheckError(f"The certificate or its key cannot be used: {error.strerror or error}.") from None
    family = socket.AF_INET6 if ":" in host else socket.AF_INET
    with socket.socket(family, socket.SOCK_STREAM, socket.IPPROTO_TCP) as listening:  # the protocol named: else each answer waits 40 ms
        listening.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            listening.bind((host, port))
        except OSError as error:
            raise DosecheckError(
                f"{host}, port {port}: {error.strerror or error}. Choose another with --port, or look at --host."
            ) from None
        for line in _said(settings):
            click.echo(line)
        gc.collect()
        gc.freeze()  # what was read at the start stays: nobody waits while it is looked through again
        gc.enable()
        with suppress(KeyboardInterrupt):
            uvicorn.Server(config).run([listening])
