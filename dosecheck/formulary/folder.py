"""A formulary's folder on disk: found, read whole, fingerprinted, parsed; and the stamp that says it passed lint.

Plain paths and the standard library's lightest parts: this stands in the way of every single check.
"""

from __future__ import annotations

import json
import os
import sys
import tomllib
from typing import Any

from dosecheck.errors import FormularyError, FormularyFault

try:  # as the standard library's own random.py does: hashlib loads the whole of OpenSSL
    from _sha2 import sha256
except ImportError:
    try:
        from _sha256 import sha256
    except ImportError:
        from hashlib import sha256

VERSION = "0.5.1"
_FOLDERS = ("medicines", "local")
ACCEPTED = "accepted.toml"  # advice that was looked at; no check reads it
_TOP = ("policy.toml", "sources.toml", "sheet.toml", ACCEPTED)
_MOST_FILES, _MOST_BYTES = 3000, 5_000_000


def packaged_folder() -> str:
    """The example formulary: inside the installed package, or beside it in a working copy."""
    package = os.path.dirname(os.path.dirname(os.path.abspath(__file__)))
    inside = os.path.join(package, "_formulary")
    return inside if os.path.isdir(inside) else os.path.join(os.path.dirname(package), "formulary")


def find_folder(given: str | os.PathLike[str] | None = None) -> tuple[str, str]:
    """Which formulary is used, and why: option, DOSECHECK_FORMULARY, ./formulary, the package's own."""
    if given:
        return os.fspath(given), "named by option"
    named = os.environ.get("DOSECHECK_FORMULARY")
    if named:
        return named, "named by DOSECHECK_FORMULARY"
    if os.path.isfile("formulary/policy.toml"):
        return "formulary", "found in this folder"
    return packaged_folder(), "the example inside dosecheck"


def read_folder(folder: str | os.PathLike[str]) -> dict[str, bytes]:
    """Relative name to content of every file that counts; the README, hidden files (an editor's locks) and others do not.

    Raises:
        FormularyError: the folder is missing or unreadable, or holds something that is no plain file of its own: every such fault at once.
    """
    folder = os.fspath(folder)
    if not os.path.isfile(os.path.join(folder, "policy.toml")):
        raise _folder_error(folder, "This is not a formulary: it holds no policy.toml.", 'Make one with "dosecheck formulary copy DIR".')
    try:
        entries = [(entry.name, entry) for entry in os.scandir(folder) if entry.name in _TOP]
        for part in _FOLDERS:
            if os.path.isdir(os.path.join(folder, part)):
                found = os.scandir(os.path.join(folder, part))
                entries += [(f"{part}/{entry.name}", entry) for entry in found if entry.name.endswith(".toml") and entry.name[0] != "."]
        if len(entries) > _MOST_FILES:
            raise _folder_error(folder, f"It holds more than {_MOST_FILES} files.", "Split it.")
        faults = [FormularyFault(name, "", "", *why) for name, entry in sorted(entries, key=_name) if (why := _odd(folder, entry))]
        if faults:
            raise FormularyError(faults)
        return {name: _content(entry.path) for name, entry in sorted(entries, key=_name)}
    except OSError as error:
        raise _folder_error(folder, f"It cannot be read: {error.strerror}: {error.filename}.", "Look at who may read it.") from None


def _name(entry: tuple[str, os.DirEntry[str]]) -> str:
    return entry[0]


def _odd(folder: str, entry: os.DirEntry[str]) -> tuple[str, str] | None:
    """What is wrong with a file before it is opened, and what to do; None for a plain file of the folder."""
    if entry.is_symlink() and not _inside(folder, entry.path):
        return "It is a link that leads out of the folder.", "Put the file itself there: the figures are those of this folder alone."
    if not entry.is_file():
        return "It is no plain file.", "Move it away, or put the file itself there."
    if entry.stat().st_size > _MOST_BYTES:
        return f"The file is larger than {_MOST_BYTES:,} bytes.", "Split it."
    return None


def _inside(folder: str, path: str) -> bool:
    top, real = os.path.realpath(folder), os.path.realpath(path)
    return real.startswith(top + os.sep)


def _content(path: str) -> bytes:
    with open(path, "rb") as file:
        return file.read()


def _folder_error(folder: str, why: str, write: str) -> FormularyError:
    return FormularyError([FormularyFault(folder, "", "", why, write)])


def fingerprint(files: dict[str, bytes]) -> str:
    """SHA-256 over names and contents, first 16 hexadecimal digits: the same figures give the same print."""
    whole = sha256()
    for name in sorted(files):
        whole.update(name.encode() + b"\0" + sha256(files[name]).digest())
    return whole.hexdigest()[:16]


def parse(name: str, content: bytes) -> dict[str, Any]:
    """The file's tables; numbers with a point stay exact decimal texts, so that no binary float is ever made."""
    try:
        return tomllib.loads(content.decode("utf-8-sig"), parse_float=str)
    except UnicodeDecodeError as error:
        line = content[: error.start].count(b"\n") + 1
        raise FormularyError(
            [FormularyFault(name, f"line {line}", "", "It is not UTF-8 text.", "Save the file as UTF-8.", line, 1)]
        ) from None
    except ValueError as error:  # TOMLDecodeError, and a whole number of more digits than Python reads
        from dosecheck.formulary.toml_faults import toml_fault

        raise FormularyError([toml_fault(name, str(error), content)]) from None
    except RecursionError:
        raise FormularyError([FormularyFault(name, "", "", "It is nested too deeply.", "No list here is more than three deep.")]) from None


def figures(name: str, content: bytes) -> dict[str, Any]:
    """A medicine's file without its examples: no check needs them, they stand last, and their text is not even parsed."""
    end = content.find(b"\n[[example]]")
    return parse(name, content if end < 0 else content[: end + 1])


def section(name: str, content: bytes, key: str) -> dict[str, Any]:
    """One table of a file of plain tables such as sources.toml, without reading all the others; empty if it is not there."""
    start = content.find(f"\n[{key}]\n".encode())
    if start < 0:
        return parse(name, content).get(key, {})
    end = content.find(b"\n[", start + 1)
    return parse(name, content[start : end if end > 0 else len(content)]).get(key, {})


def read_stamp(print_: str) -> dict[str, str] | None:
    """The index of names to files of a folder that passed lint with this version, or None."""
    try:
        index = json.loads(_content(_stamp_path(print_)))
    except (OSError, ValueError):
        return None
    return index if isinstance(index, dict) and all(isinstance(file, str) for file in index.values()) else None


def write_stamp(print_: str, index: dict[str, str]) -> None:
    """Beside, then replaced; a cache that cannot be written is no fault."""
    path = _stamp_path(print_)
    beside = f"{path}.{os.getpid()}"
    try:
        os.makedirs(os.path.dirname(path), exist_ok=True)
        with open(beside, "w", encoding="utf-8") as file:
            json.dump(index, file, sort_keys=True)
        os.replace(beside, path)
    except OSError:
        pass


def _stamp_path(print_: str) -> str:
    """In the user's cache; a library for this costs as long as the whole check."""
    if sys.platform == "win32":
        cache = os.environ.get("LOCALAPPDATA") or os.path.expanduser("~")
    elif sys.platform == "darwin":
        cache = os.path.expanduser("~/Library/Caches")
    else:
        cache = os.environ.get("XDG_CACHE_HOME") or os.path.expanduser("~/.cache")
    return os.path.join(cache, "dosecheck", f"linted-{VERSION}-{print_}.json")
