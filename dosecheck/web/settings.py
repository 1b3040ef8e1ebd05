"""What `dosecheck serve` is told."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path


@dataclass(frozen=True)
class Settings:
    """host: the address to listen at; names: other names by which this machine may be asked, such as "ward-pc.local".

    formulary: the folder, None to find it as the command line does.  journal: its file; None keeps nothing.
    secure: whether the page is served by https, so that the cookie is never sent in clear.
    """

    host: str = "127.0.0.1"
    port: int = 8000
    formulary: Path | None = None
    journal: Path | None = None
    names: tuple[str, ...] = ()
    secure: bool = False
