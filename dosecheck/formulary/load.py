"""The formulary as an object: a folder read whole, fingerprinted, linted once, its medicines compiled when asked for.

The figures are always read from the folder itself.  The user's cache holds only a stamp, "this folder, by hash,
passed lint with this version", and an index of names to files; both are checked against what is opened, and without
a writable cache all still works, more slowly.
"""

from __future__ import annotations

import json
import os
import tomllib
from datetime import date
from hashlib import sha256
from pathlib import Path
from typing import Any

from dosecheck.errors import FormularyError, FormularyFault
from dosecheck.formulary.believable import weight_rows
from dosecheck.formulary.limits import Policy, share
from dosecheck.formulary.medicine import Medicine, compile_medicine
from dosecheck.formulary.shelf import Asked, Shelf, build

VERSION = "0.1.0"
_FOLDERS = ("medicines", "local")
_MOST_FILES, _MOST_BYTES = 3000, 5_000_000


def packaged_folder() -> Path:
    """The example formulary: inside the installed package, or beside it in a working copy."""
    inside = Path(__file__).parents[1] / "_formulary"
    return inside if inside.is_dir() else Path(__file__).parents[2] / "formulary"


def find_folder(given: str | Path | None = None) -> tuple[Path, str]:
    """Which formulary is used, and why: option, DOSECHECK_FORMULARY, ./formulary, the package's own."""
    if given:
        return Path(given), "named by option"
    named = os.environ.get("DOSECHECK_FORMULARY")
    if named:
        return Path(named), "named by DOSECHECK_FORMULARY"
    if Path("formulary/policy.toml").is_file():
        return Path("formulary"), "found in this folder"
    return packaged_folder(), "the example inside dosecheck"


def read_folder(folder: Path) -> dict[str, bytes]:
    """Relative name to content of every file that counts; the README and other files do not.

    Raises:
        FormularyError: the folder is missing, unreadable, or beyond the stated size.
    """
    if not (folder / "policy.toml").is_file():
        raise _folder_error(folder, "This is not a formulary: it holds no policy.toml.", 'Make one with "dosecheck formulary copy DIR".')
    names = ["policy.toml", "sources.toml"]
    try:
        for part in _FOLDERS:
            if (folder / part).is_dir():
                names += [f"{part}/{entry.name}" for entry in os.scandir(folder / part) if entry.name.endswith(".toml")]
        if len(names) > _MOST_FILES:
            raise _folder_error(folder, f"It holds more than {_MOST_FILES} files.", "Split it.")
        files = {name: (folder / name).read_bytes() for name in sorted(names)}
    except OSError as error:
        raise _folder_error(folder, f"It cannot be read: {error.strerror}: {error.filename}.", "") from None
    big = [name for name, content in files.items() if len(content) > _MOST_BYTES]
    if big:
        raise FormularyError([FormularyFault(name, "", "", f"The file is larger than {_MOST_BYTES:,} bytes.") for name in big])
    return files


def _folder_error(folder: Path, why: str, write: str) -> FormularyError:
    return FormularyError([FormularyFault(str(folder), "", "", why, write)])


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
        raise FormularyError([FormularyFault(name, f"line {line}", "", "It is not UTF-8 text.", "Save the file as UTF-8.")]) from None
    except ValueError as error:  # TOMLDecodeError, and a whole number of more digits than Python reads
        from dosecheck.formulary.toml_faults import toml_fault

        raise FormularyError([toml_fault(name, str(error))]) from None
    except RecursionError:
        raise FormularyError([FormularyFault(name, "", "", "It is nested too deeply.", "No list here is more than three deep.")]) from None


def merge(raw: dict[str, Any], local: dict[str, Any]) -> dict[str, Any]:
    """The base file with a site's changes: the same id is replaced, a new one added, a withdrawn one left out."""
    merged = dict(raw)
    for key in ("regimen", "product", "age_limit"):
        mine = [{**entry, "origin": "local", "reason": local["reason"]} for entry in local.get(key, [])]
        gone = {entry["id"] for entry in mine} | (set(local.get("withdraw", [])) if key == "regimen" else set())
        merged[key] = [entry for entry in raw.get(key, []) if entry["id"] not in gone] + mine
    merged["status"] = (
        "approved"
        if raw["status"] == local.get("status") == "approved"
        else min(raw["status"], local.get("status", "draft"), key=_RANK.get)
    )
    return merged


_RANK = {"example": 0, "draft": 1, "approved": 2}


class Formulary:
    """A folder of figures, as it was when read.  `name` and `fingerprint` stand on every answer.

    Args:
        folder: the formulary; None finds it as the command line does.

    Raises:
        FormularyError: every fault of the folder at once.
    """

    def __init__(self, folder: str | Path | None = None) -> None:
        self.folder, self.found = find_folder(folder)
        self._files = read_folder(self.folder)
        self.fingerprint = fingerprint(self._files)
        self._index = self._linted_index()
        policy = parse("policy.toml", self._files["policy.toml"])
        self.policy = policy
        self.grading = Policy(share(policy["query_up_to"]["value"]), share(policy["point_allowance"]["value"]))
        self.weight_rows = weight_rows(policy)
        self._medicines: dict[str, Medicine] = {}
        self._shelves: dict[tuple[str, Asked], Shelf] = {}
        self._sources: dict[str, Any] | None = None
        self._source_texts: dict[str, str] = {}

    def _linted_index(self) -> dict[str, str]:
        known = _read_stamp(_stamp_path(self.fingerprint))
        files = {name for name in self._files if name.startswith("medicines/")}
        return known if known is not None and set(known.values()) == files else self._lint()

    def _lint(self) -> dict[str, str]:
        from dosecheck.formulary.lint import lint_files  # pydantic loads only here: a stamped folder never waits for it

        report = lint_files(self._files)
        if report.faults:
            raise FormularyError(report.faults)
        _write_stamp(_stamp_path(self.fingerprint), report.index)
        return report.index

    @property
    def names(self) -> list[str]:
        """Every name and alias, sorted."""
        return sorted(self._index)

    def medicine(self, name: str | None) -> Medicine | None:
        """The medicine of exactly that name or alias (case and outer spaces aside), or None; never a near miss."""
        name = name.strip().lower() if name else ""
        if name in self._index and name not in self._compiled(self._index[name]).names:
            self._index = self._lint()  # the stamp's index is not that of this folder
        return self._compiled(self._index[name]) if name in self._index else None

    def _compiled(self, file: str) -> Medicine:
        if file not in self._medicines:
            raw = parse(file, self._files[file])
            for local_name, content in self._files.items():
                if local_name.startswith("local/"):
                    local = parse(local_name, content)
                    raw = merge(raw, local) if local.get("medicine") == raw["id"] else raw
            self._medicines[file] = compile_medicine(raw, self.grading, file)
        return self._medicines[file]

    def medicines(self) -> list[Medicine]:
        """All of them, by id."""
        return [self.medicine(name) for name in sorted({Path(file).stem for file in self._index.values()})]

    def shelf(self, medicine: Medicine, asked: Asked) -> Shelf:
        """The regimens that an order asking so could mean; built once for each way of asking."""
        key = (medicine.id, asked)
        if key not in self._shelves:
            self._shelves[key] = build(medicine, asked)
        return self._shelves[key]

    def near(self, name: str) -> list[str]:
        """Names that look like `name`: shown as a question, never used."""
        from difflib import get_close_matches

        return get_close_matches(name.lower(), self.names, n=3, cutoff=0.75)

    def source(self, text: str) -> str:
        """A regimen's "id, place" with the source written out: title, organisation, year, place."""
        if text not in self._source_texts:
            if self._sources is None:
                self._sources = parse("sources.toml", self._files["sources.toml"])
            known = self._sources.get(text.partition(", ")[0], {})
            head = ", ".join(str(known[key]) for key in ("title", "organisation", "year") if key in known)
            self._source_texts[text] = f"{head}, {text.partition(', ')[2]}" if text else ""
        return self._source_texts[text]

    def source_address(self, text: str) -> str:
        self.source(text)
        return (self._sources or {}).get(text.partition(", ")[0], {}).get("address", "")

    def about(self, medicine: Medicine | None = None) -> dict[str, str]:
        """What every answer says of its formulary."""
        return {
            "name": str(self.folder),
            "found": self.found,
            "status": medicine.status if medicine else "",
            "fingerprint": self.fingerprint,
        }

    def review_overdue(self, on: date | None) -> str:
        """The policy's review date, when it has passed."""
        due = self.policy.get("review_by", {}).get("value")
        return str(due) if due and on and on > due else ""


def _stamp_path(print_: str) -> Path:
    from platformdirs import user_cache_path

    return user_cache_path("dosecheck") / f"linted-{VERSION}-{print_}.json"


def _read_stamp(path: Path) -> dict[str, str] | None:
    try:
        index = json.loads(path.read_text("utf-8"))
    except (OSError, ValueError):
        return None
    return index if isinstance(index, dict) and all(isinstance(file, str) for file in index.values()) else None


def _write_stamp(path: Path, index: dict[str, str]) -> None:
    """Beside, then replaced; a cache that cannot be written is no fault."""
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        beside = path.with_suffix(f".{os.getpid()}")
        beside.write_text(json.dumps(index, sort_keys=True), "utf-8")
        beside.replace(path)
    except OSError:
        pass
