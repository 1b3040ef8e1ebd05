"""What all pages share: the formulary as it stands now, the session's token, the journal."""

from __future__ import annotations

import hmac
import logging
import os
import secrets
import threading
from hashlib import sha256
from typing import Any

from anyio.to_thread import run_sync
from fastapi.responses import JSONResponse

from dosecheck.errors import DosecheckError
from dosecheck.formulary.load import Formulary
from dosecheck.journal import Journal
from dosecheck.reading import read_time
from dosecheck.web.apart import Apart
from dosecheck.web.second import SecondChecks
from dosecheck.web.settings import Settings

COOKIE = "dosecheck"
_CLEAR_AFTER = "5 minutes"
_LOOK_EVERY = 2.0  # seconds

log = logging.getLogger("dosecheck.web")


class Figures:
    """The formulary, read whole again whenever its files change; an answer is given by one reading, old or new.

    A changed folder that cannot be used leaves the last whole reading in place, and `trouble` says so on every answer.
    """

    def __init__(self, folder: os.PathLike[str] | str | None) -> None:
        self._asked = folder
        self.now = self._read()
        self.trouble = ""
        self._seen = _state(self.now.folder)

    def _read(self) -> Formulary:
        made = Formulary(self._asked)
        made.medicines()  # compiled now, so that nobody waits for it at the bedside
        return made

    def look(self) -> None:
        """Reads the folder again if a file of it is not as it was."""
        state = _state(self.now.folder)
        if state == self._seen:
            return
        try:
            self.now, self.trouble = self._read(), ""
        except (DosecheckError, OSError) as error:
            first = str(error).partition("\n")[0]
            self.trouble = f"The formulary's files were changed and cannot be used: {first} The figures are those read before, fingerprint {self.now.fingerprint}."
            log.error("the changed formulary cannot be used")
        except Exception as error:  # whatever it is: the watch goes on, and every answer says that the figures are old
            self.trouble = f"The formulary's files were changed and cannot be read. The figures are those read before, fingerprint {self.now.fingerprint}."
            log.error("the changed formulary cannot be read: %s", type(error).__name__)
        self._seen = state

    def watch(self, stop: threading.Event) -> None:
        """Looks every two seconds until it is told to stop."""
        while not stop.wait(_LOOK_EVERY):
            self.look()


def _state(folder: str) -> tuple[tuple[str, int, int], ...]:
    """Name, size and time of every file below the folder."""
    found = []
    for place, _, names in os.walk(folder):
        for name in names:
            path = os.path.join(place, name)
            try:
                told = os.stat(path)
            except OSError:  # gone between two looks: the next look sees it
                continue
            found.append((path, told.st_size, told.st_mtime_ns))
    return tuple(sorted(found))


class Site:
    """One running page.  `journal` is None unless it is switched on."""

    def __init__(self, settings: Settings) -> None:
        self.settings = settings
        self.figures = Figures(settings.formulary)
        self.journal = Journal(settings.journal) if settings.journal else None
        self.second_checks = SecondChecks()
        self.apart = Apart()
        self._secret = secrets.token_bytes(32)

    @property
    def formulary(self) -> Formulary:
        return self.figures.now

    @property
    def clear_after(self) -> int:
        """Seconds after which an unused page clears itself."""
        line = self.formulary.policy.get("clear_page_after", {"value": _CLEAR_AFTER})
        return int(read_time(line["value"]).value)

    def told(self, answer: dict[str, Any], kept: str = "") -> JSONResponse:
        """An answer as JSON, with what is to be said of the figures and of the journal, if anything is."""
        notes = {name: text for name, text in (("journal", kept), ("trouble", self.figures.trouble)) if text}
        return JSONResponse({**answer, **notes})

    def token(self, session: str) -> str:
        """What a form of that session carries, so that no other site can send one for it."""
        return hmac.new(self._secret, session.encode(), sha256).hexdigest()

    def is_token(self, session: str | None, token: str | None) -> bool:
        return bool(session and token and token.isascii() and hmac.compare_digest(self.token(session), token))

    async def keep(self, kind: str, asked: dict[str, Any], answer: dict[str, Any], formulary: Formulary, by: str = "") -> str:
        """`keep_now` in a thread, so that nobody else waits for the disk."""
        return "" if self.journal is None else await run_sync(self.keep_now, kind, asked, answer, formulary, by)

    def keep_now(self, kind: str, asked: dict[str, Any], answer: dict[str, Any], formulary: Formulary, by: str = "") -> str:
        """Writes an entry where the journal is on.  Returns what the page says of it: nothing where it is off."""
        if self.journal is None:
            return ""
        try:
            number = self.journal.add(kind, asked, answer, formulary.fingerprint, by=by)
        except (DosecheckError, OSError) as error:
            log.error("journal: %s", type(error).__name__)
            return "NOT IN THE JOURNAL: it could not be written. Write this check down yourself, and report it."
        return f"In the journal as entry {number}."
