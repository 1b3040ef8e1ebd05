"""A file written beside its place under another name, and only then renamed: what stands under its own name is whole."""

from __future__ import annotations

import os
import secrets
import stat
from pathlib import Path

from dosecheck.errors import FileError

FORMULA = r"^[=+\-@\t\r\n]"  # how a text begins that a spreadsheet would run


def save(path: str | os.PathLike[str], content: bytes) -> None:
    """Writes `content`; a file that is there already is replaced at the very end, and who may read and write it stays.

    Raises:
        FileError: it is a folder, or the place cannot be written; nothing is left beside it.
    """
    if os.path.isdir(path):
        raise FileError(os.fspath(path), "This is a folder.", "Name a file in it.")
    final = Path(os.path.realpath(path))
    part = final.with_name(f".{final.name[:100]}.{secrets.token_hex(4)}.part")
    try:
        with open(part, "xb") as file:
            file.write(content)
            file.flush()
            os.fsync(file.fileno())
        if final.exists():
            os.chmod(part, stat.S_IMODE(final.stat().st_mode))
        os.replace(part, final)
    except OSError as error:
        raise FileError(os.fspath(path), f"It cannot be written: {error.strerror or error}.", "Choose another place.") from None
    finally:
        part.unlink(missing_ok=True)
