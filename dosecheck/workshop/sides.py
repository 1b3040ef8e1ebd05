"""Two formularies side by side: each a folder, or a revision of one under git, read whole and without a shell."""

from __future__ import annotations

import os
import subprocess
import tempfile
from collections.abc import Iterator
from datetime import date
from pathlib import Path
from typing import NamedTuple

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
    files = _files(name, revision, folder or find_folder(None)[0])
    with tempfile.TemporaryDirectory(prefix="dosecheck-") as place:
        for file in files:
            _write(Path(place, file.path), file)
        formulary = Formulary(place, as_of)  # read whole: the copy may go
    formulary.folder, formulary.found = name, "a revision under git"
    return formulary


class _File(NamedTuple):
    path: str
    link: bool
    content: bytes


def _write(path: Path, file: _File) -> None:
    """A link stays a link: whether it may be one is for the reader of folders to say."""
    path.parent.mkdir(parents=True, exist_ok=True)
    if file.link:
        path.symlink_to(os.fsdecode(file.content))
    else:
        path.write_bytes(file.content)


def _files(name: str, revision: str, folder: str) -> list[_File]:
    """The figures of a folder at a revision, byte for byte; `git archive` would leave out what an attribute tells it to."""
    if not revision or revision.startswith("-"):
        raise _unknown(name, "There is no such folder.")
    where = os.path.dirname(os.path.abspath(folder)) or "."
    top = _git(name, where, "rev-parse", "--show-toplevel").decode().rstrip("\n")
    commit = _git(name, where, "rev-parse", "--verify", "--quiet", "--end-of-options", f"{revision}^{{commit}}").decode().strip()
    inside = os.path.relpath(os.path.realpath(folder), os.path.realpath(top)).replace(os.sep, "/")
    listed = list(_listed(_git(name, top, "ls-tree", "-r", "-z", f"{commit}:{'' if inside == '.' else inside}")))
    packed = _git(name, top, "cat-file", "--batch", told="".join(f"{blob}\n" for _, blob, _ in listed).encode())
    return [_File(path, link, content) for (path, _, link), content in zip(listed, _contents(packed), strict=True)]


def _listed(tree: bytes) -> Iterator[tuple[str, str, bool]]:
    """(path, id of its content, whether it is a link), of the TOML files alone."""
    for line in tree.decode("utf-8", "surrogateescape").split("\0"):
        about, _, path = line.partition("\t")
        mode, kind, blob = about.split() if about else ("", "", "")
        if kind == "blob" and path.endswith(".toml") and ".." not in path.split("/"):
            yield path, blob, mode == "120000"


def _contents(packed: bytes) -> Iterator[bytes]:
    """What `git cat-file --batch` answers: a line that ends with the size, the content, a line end; one after the other."""
    place = 0
    while place < len(packed):
        start = packed.index(b"\n", place) + 1
        place = start + int(packed[place:start].split()[-1])
        yield packed[start:place]
        place += 1


def _git(name: str, where: str, *args: str, told: bytes = b"") -> bytes:
    try:
        done = subprocess.run(["git", "-C", where, *args], capture_output=True, timeout=_GIT_SECONDS, check=False, input=told)
    except FileNotFoundError:
        raise _unknown(name, "There is no such folder, and git, which could know it as a revision, is not installed.") from None
    except (OSError, subprocess.TimeoutExpired, ValueError) as error:
        raise _unknown(name, f"git could not be asked: {type(error).__name__}.") from None
    if done.returncode:
        raise _unknown(name, "It is no folder, and git knows no such revision of the formulary.")
    return done.stdout


def _unknown(name: str, why: str) -> FileError:
    return FileError(ascii(name[:80])[1:-1], why, 'Name a folder, or a revision such as "HEAD~1" or "v2:formulary".')
