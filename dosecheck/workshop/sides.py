"""Two formularies side by side: each a folder, or a revision of one under git, read whole and without a shell."""

from __future__ import annotations

import io
import os
import subprocess
import tarfile
import tempfile
from datetime import date

from dosecheck.errors import FileError
from dosecheck.formulary.folder import find_folder
from dosecheck.formulary.load import Formulary

_GIT_SECONDS = 60


def open_side(name: str, as_of: date | None = None) -> Formulary:
    """The formulary of a folder, of "REVISION", or of "REVISION:folder".

    Raises:
        FileError: neither a folder nor a revision that git knows.
        FormularyError: every fault of it at once.
    """
    if os.path.isdir(name):
        return Formulary(name, as_of)
    revision, _, folder = name.partition(":")
    whole = _archive(name, revision, folder or find_folder(None)[0])
    with tempfile.TemporaryDirectory(prefix="dosecheck-") as place:
        with tarfile.open(fileobj=io.BytesIO(whole)) as archive:
            archive.extractall(place, filter="data")
        formulary = Formulary(place, as_of)  # read whole: the copy may go
    formulary.folder, formulary.found = name, "a revision under git"
    return formulary


def _archive(name: str, revision: str, folder: str) -> bytes:
    """The files of a folder at a revision, as git packs them."""
    if not revision or revision.startswith("-"):
        raise _unknown(name, "There is no such folder.")
    where = os.path.dirname(os.path.abspath(folder)) or "."
    top = _git(name, where, "rev-parse", "--show-toplevel").decode().rstrip("\n")
    commit = _git(name, where, "rev-parse", "--verify", "--quiet", "--end-of-options", f"{revision}^{{commit}}").decode().strip()
    inside = os.path.relpath(os.path.realpath(folder), os.path.realpath(top)).replace(os.sep, "/")
    return _git(name, top, "archive", "--format=tar", f"{commit}:{'' if inside == '.' else inside}")


def _git(name: str, where: str, *args: str) -> bytes:
    try:
        done = subprocess.run(["git", "-C", where, *args], capture_output=True, timeout=_GIT_SECONDS, check=False, stdin=subprocess.DEVNULL)
    except FileNotFoundError:
        raise _unknown(name, "There is no such folder, and git, which could know it as a revision, is not installed.") from None
    except (OSError, subprocess.TimeoutExpired, ValueError) as error:
        raise _unknown(name, f"git could not be asked: {type(error).__name__}.") from None
    if done.returncode:
        raise _unknown(name, "It is no folder, and git knows no such revision of the formulary.")
    return done.stdout


def _unknown(name: str, why: str) -> FileError:
    return FileError(ascii(name[:80])[1:-1], why, 'Name a folder, or a revision such as "HEAD~1" or "v2:formulary".')
